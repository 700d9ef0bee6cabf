"""Small words of the reports that several sections share: times, lengths of time, names, recorded texts."""

from __future__ import annotations

import math
from collections.abc import Mapping
from datetime import UTC, datetime
from typing import Any

from logger.core.rounding import rounded_u_text
from logger.core.text import printable
from logger.report.texts import MINUS, Texts

NONE = "–"


def said(text: object) -> str:
    """What a person or the program recorded, as it was, with nothing hidden in it; a dash for nothing."""
    return printable(str(text)).strip() or NONE if text is not None else NONE


def told(text: object, t: Texts) -> str:
    """A sentence that the program recorded, in the language of the report where that knows it."""
    return t.recorded(said(text))


def utc(text: str | None) -> str:
    """A recorded time, to the second, with its zone named; any other text as it is."""
    if not text:
        return NONE
    try:
        moment = datetime.fromisoformat(text)
    except ValueError:
        return said(text)
    if moment.tzinfo is None:
        return said(text)
    return f"{moment.astimezone(UTC):%Y-%m-%d %H:%M:%S} UTC"


def typed_time(text: str, t: Texts) -> str:
    """A time that a person typed: as typed, and in UTC where its zone is known."""
    if not text:
        return NONE
    try:
        moment = datetime.fromisoformat(text)
    except ValueError:
        return said(text)
    if moment.tzinfo is None:
        return t("common.zone_unknown", time=said(text))
    in_utc = utc(text)
    return in_utc if moment.utcoffset() == UTC.utcoffset(None) else f"{said(text)} ({in_utc})"


def since_text(value_s: float) -> str:
    """Minutes and seconds since suction was first seen on, as marked on the chart."""
    minutes, rest = divmod(abs(round(value_s)), 60)
    return f"{MINUS if round(value_s) < 0 else ''}{minutes}:{rest:02d}"


def clock_time(text: str) -> str:
    """Hours, minutes and seconds of a recorded time (UTC)."""
    return text[11:19] if len(text) >= 19 and text[10] == "T" else said(text)


def seconds(value: float | None, t: Texts) -> str:
    """A length of time in s, and in minutes and seconds where it is long."""
    if value is None:
        return NONE
    short = f"{t.short(round(value, 1))} s"
    minutes, rest = divmod(round(value), 60)
    if minutes < 2:
        return short
    return f"{short} ({minutes} min {rest:02d} s)" if rest else f"{short} ({minutes} min)"


def grams(value: float | None, digit_g: float | None, t: Texts) -> str:
    """A mass with the digits of its display."""
    if value is None:
        return NONE
    return f"{t.fixed(value, decimals_of(digit_g))} g"


def decimals_of(digit: float | None) -> int:
    """Digits behind the decimal sign of a display whose last digit moves by `digit`; 4 where not known."""
    if not digit or digit <= 0:
        return 4
    return max(0, min(6, math.ceil(-math.log10(digit) - 1e-6)))


def micrometres(value: float | None, t: Texts) -> str:
    """An aperture."""
    return NONE if value is None else f"{t.short(value)} µm"


def uncertainty(value: float, t: Texts, digits: int = 2) -> str:
    """An uncertainty, rounded up to so many significant digits."""
    return t.figure(rounded_u_text(value, digits))


def percent_probability(probability: float, t: Texts) -> str:
    """A probability in %, never rounded to a certainty that no weighing gives."""
    if probability < 0.001:
        return t("decision.probability_below", value=t.fixed(0.1, 1))
    if probability > 0.999:
        return t("decision.probability_above", value=t.fixed(99.9, 1))
    return f"{t.fixed(100 * probability, 1)} %"


def limits_text(limits: Mapping[str, Any], t: Texts) -> str:
    """The specification in words."""
    parts = [
        t(f"decision.{word}", value=t.short(limits[name]))
        for name, word in (("residue_min_pct", "at_least"), ("residue_max_pct", "at_most"))
        if limits[name] is not None
    ]
    return t("decision.and").join(parts) or t("decision.no_limits")


def person(name: str | None, person_id: str | None) -> str:
    """A person by name and id."""
    if name and person_id and name != person_id:
        return f"{said(name)} ({said(person_id)})"
    return said(name or person_id or "")
