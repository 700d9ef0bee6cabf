"""The usual cautions of the trade, shown before a run and acknowledged by name."""

from __future__ import annotations

CAUTIONS: tuple[str, ...] = (
    "Combustible dust: many powders can burn or explode in rig, hose and extractor. Follow your site's assessment.",
    "Static: bond and earth sieve, lid ring, hose and yourself; very dry air makes it worse.",
    "Extractor: right dust class and a sound filter, suited to explosible dust where your assessment says so.",
    "Dust and health: silica dust and potent powders need capture at source or closed handling; no dry brushing.",
    "Noise: the jet and the extractor can need hearing protection.",
    "Lid under negative pressure: 2.5 kPa holds a 200 mm lid with about 79 N, a blocked line with far more. Never "
    "pry it open; use no cracked lid.",
    "Local codes and licensed practice come first. This tool is a logger, not a safety device; it never starts suction.",
)
