"""Air, extractor, carried portion and care of the sieve of one record, as lines for a person."""

from __future__ import annotations

from typing import Any

from logger.core.shift.words import PART_WORDS
from logger.core.text import printable


def condition_lines(body: dict[str, Any]) -> list[str]:
    """What the record (JSON values) says of them; nothing where it says nothing."""
    lines = []
    found, portion = body.get("conditions") or {}, body.get("portion")
    if found.get("temperature_c") is not None:
        lines.append(
            f"Air        {found['temperature_c']:g} °C, {found['humidity_pct']:g} % relative humidity, read "
            f"{found['air_measured_at'][:16].replace('T', ' ')} by {printable(found['air_measured_by'])}"
        )
    if found.get("part") is not None:
        lines.append(
            f"Extractor  {PART_WORDS[found['part']]} of {found['part_changed_at'][:10]}, "
            f"{found['part_runs']} runs before this one"
        )
    if portion:
        lines.append(f"Portion    carried over from run {portion['from_run']}, {portion['mass_g']:g} g")
    lines += [f"Care       {printable(entry['text'])}" for entry in body.get("sieve_care") or ()]
    return lines
