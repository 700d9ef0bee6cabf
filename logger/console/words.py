"""Figures and states in the operator's words, used by the drawn console and the line mode alike."""

from __future__ import annotations

import math

from logger.console.literal import literal
from logger.core.snapshot import (
    BrokerView,
    Level,
    LinkView,
    MassView,
    PressureView,
    RateView,
    ResultView,
    Snapshot,
)

NOTHING = "–"
OFF_SHARE = 0.05
"""Below this share of the band the suction is as good as off, which is no fault."""
LEVEL_MARKS: dict[Level, str] = {"info": "·", "notice": "◆", "warning": "▲", "alarm": "■"}
LEVEL_WORDS: dict[Level, str] = {"info": "", "notice": "", "warning": "WARNING", "alarm": "ALARM"}
LINK_MARKS = {"up": "●", "silent": "▲", "lost": "■", "absent": "○", "wrong-instrument": "■"}
CHANNEL_WORDS = {"mass": "balance", "pressure": "pressure", "permit": "permit"}
BROKER_MARKS = {"off": "○", "connecting": "◌", "up": "●", "down": "▲", "refused": "■"}


def duration(seconds: float | None) -> str:
    """Minutes and seconds, hours when there are some: 3:04, 1:02:03. Before zero with a minus."""
    if seconds is None:
        return NOTHING
    whole = round(abs(seconds))
    sign = "-" if seconds < 0 and whole else ""
    minutes, second = divmod(whole, 60)
    hours, minute = divmod(minutes, 60)
    return f"{sign}{hours}:{minute:02d}:{second:02d}" if hours else f"{sign}{minute}:{second:02d}"


def age(seconds: float | None) -> str:
    """How long ago: 0.3 s, 12 s, 5 min, 2 h."""
    if seconds is None:
        return "never"
    if seconds < 9.95:
        return f"{seconds:.1f} s"
    if seconds < 120:
        return f"{seconds:.0f} s"
    return f"{seconds / 60:.0f} min" if seconds < 7200 else f"{seconds / 3600:.0f} h"


def state_words(state: str) -> str:
    """The state's name for people."""
    return literal(state.replace("_", " "), 30)


def clock(utc: str) -> str:
    """The time of day of an ISO 8601 text, to the second; the text itself when it is none."""
    date, letter, rest = utc.partition("T")
    return literal(rest[:8] if letter and len(date) == 10 else utc, 12)


def mass_figure(mass: MassView) -> str:
    """The balance's number without its unit, or why there is none."""
    if mass.value_g is None:
        return NOTHING
    return f"{mass.value_g:z.{max(0, min(mass.decimals, 6))}f}"


def mass_mark(mass: MassView) -> str:
    """Stable or moving, as a shape and a word; or why there is no number."""
    if mass.value_g is None or mass.quality != "ok":
        return _no_reading(mass.quality)
    return "● STABLE" if mass.stable else "~ moving"


def _no_reading(quality: str) -> str:
    return "■ NO READING" if quality == "ok" else f"■ {literal(quality.upper(), 24)}"


def mass_line(mass: MassView) -> str:
    """Number, unit and mark in one line."""
    figure = "" if mass.value_g is None else f"{mass_figure(mass)} g "
    return f"{figure}{mass_mark(mass)}"


def pressure_figure(pressure: PressureView) -> str:
    """The differential pressure with its unit."""
    return NOTHING if pressure.dp_pa is None else f"{pressure.dp_pa:z.0f} Pa"


def pressure_word(pressure: PressureView) -> str:
    """Where the pressure is with regard to the method's band; empty without a band."""
    if pressure.dp_pa is None or pressure.quality != "ok":
        return _no_reading(pressure.quality)
    if pressure.low_pa is None or pressure.high_pa is None:
        return ""
    if pressure.in_band:
        return "● IN BAND"
    if pressure.dp_pa < OFF_SHARE * pressure.low_pa:
        return "○ OFF"
    if pressure.dp_pa < pressure.low_pa:
        return "▼ LOW"
    return "▲ HIGH" if pressure.dp_pa > pressure.high_pa else "◌ SETTLING"


def band(pressure: PressureView) -> str:
    """The band's edges in words."""
    if pressure.low_pa is None or pressure.high_pa is None:
        return "no band without a method"
    return f"band {pressure.low_pa:.0f} to {pressure.high_pa:.0f} Pa"


def decimals_for(uncertainty: float | None, most: int = 4) -> int:
    """Decimals that leave two significant digits of the uncertainty; two when there is none."""
    if uncertainty is None or not uncertainty > 0:
        return 2
    return max(0, min(most, 1 - math.floor(math.log10(uncertainty))))


def with_uncertainty(value: float | None, uncertainty: float | None) -> str:
    """Value ± standard uncertainty (k = 1), both to the same decimals."""
    if value is None:
        return NOTHING
    places = decimals_for(uncertainty)
    tail = "" if uncertainty is None else f" ± {uncertainty:.{places}f}"
    return f"{value:.{places}f}{tail}"


def rate_word(rate: RateView) -> str:
    """Above or below the limit, with a shape; empty when not known."""
    if rate.rate_pct_per_min is None or rate.limit_pct_per_min is None:
        return ""
    return "▲ ABOVE LIMIT" if rate.rate_pct_per_min > rate.limit_pct_per_min else "▼ BELOW LIMIT"


def rate_line(rate: RateView) -> str:
    """Rate with uncertainty, limit, and on which side it is."""
    if rate.rate_pct_per_min is None:
        return "no loss rate yet"
    figure = f"{with_uncertainty(rate.rate_pct_per_min, rate.rate_u_pct_per_min)} %/min"
    limit = "" if rate.limit_pct_per_min is None else f", limit {rate.limit_pct_per_min:g}, {rate_word(rate)}"
    return figure + limit


def forecast(rate: RateView) -> str:
    """When the endpoint is expected, with its range; empty when there is no forecast."""
    if rate.forecast_s is None:
        return ""
    text = f"end expected at {duration(rate.forecast_s)}"
    if rate.forecast_low_s is None and rate.forecast_high_s is None:
        return text
    high = "later" if rate.forecast_high_s is None else duration(rate.forecast_high_s)
    return f"{text} ({duration(rate.forecast_low_s)} to {high})"


DECISION_WORDS = {"accept": "in spec", "inconclusive": "not decided", "reject": "out of spec"}
"""What the rule said of the figure, against the specification; accepted and rejected are words of the review."""


def result_line(result: ResultView) -> str:
    """Outcome, residue with uncertainty, passing."""
    residue = with_uncertainty(result.residue_pct, result.residue_u_pct)
    places = decimals_for(result.residue_u_pct)
    passing = NOTHING if result.passing_pct is None else f"{result.passing_pct:.{places}f}"
    outcome = literal(result.outcome.replace("_", " ").replace("-", " "), 40)
    decision = DECISION_WORDS.get(result.decision, "no decision")
    decided = f", {decision} ({literal(result.decided, 60)})" if result.decided else ""
    return f"{outcome}: residue {residue} % (k = 1), passing {passing} %{decided}"


def link_line(link: LinkView) -> str:
    """Shape, instrument, state and age of its last reading."""
    state = "" if link.state == "up" else f" {link.state.upper()}"
    return f"{LINK_MARKS[link.state]} {CHANNEL_WORDS[link.channel]}{state} {age(link.age_s)}"


def broker_line(broker: BrokerView) -> str:
    """Shape, state, backlog and last acknowledgement of the way to the plant."""
    parts = [f"{BROKER_MARKS[broker.state]} plant {broker.state}"]
    if broker.waiting:
        parts.append(f"{broker.waiting} waiting")
    if broker.set_aside:
        parts.append(f"{broker.set_aside} set aside")
    if broker.state not in ("up", "off"):
        parts.append(f"last answer {age(broker.last_ack_age_s)}")
    if broker.insecure and broker.state != "off":
        parts.append("unencrypted")
    return ", ".join(parts)


def controls_line(snapshot: Snapshot) -> str:
    """Who holds the controls."""
    holder = literal(snapshot.controls_held_by, 24)
    if snapshot.you_hold_controls:
        return "controls: you"
    return f"controls: {holder}" if holder else "nobody holds the controls"


def place(snapshot: Snapshot) -> str:
    """Site, bench, and whether this is a simulated rig."""
    speed = "" if snapshot.speed == 1 else f" ×{snapshot.speed:g}"
    simulated = f" SIMULATED{speed}" if snapshot.simulated else speed
    return f"{literal(snapshot.site, 16)}/{literal(snapshot.bench, 16)}{simulated}"
