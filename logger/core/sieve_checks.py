"""Is this test sieve fit for the run? Frame, tare against its last tare, due by runs and by date."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Literal

from logger.core.refusal import require, require_finite, require_not_negative
from logger.core.weighing import BalanceSpec

TareVerdict = Literal["as before", "heavier", "lighter", "another sieve"]

_SURE = 3.0
"""A tare has changed when the change is beyond this many standard uncertainties of a net mass."""

LEAST_SIEVE_G = 50.0
"""A 200 mm test sieve weighs several hundred grams; less on the pan is not a sieve."""

_ANOTHER_SIEVE_G = 5.0
"""No clogging or tear changes a clean 200 mm sieve by this much (common practice)."""

_ADVICE = {
    "heavier": "meshes may be clogged or the sieve is not clean or not dry: clean it and tare again",
    "lighter": "mesh may be torn or a part missing: hold it against the light before using it",
    "another sieve": "this looks like another sieve: read its number again",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class TareJudgement:
    """Change of the clean sieve's mass since its last tare, g; `limit_g` is what may be chance."""

    change_g: float
    limit_g: float
    verdict: TareVerdict
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Due:
    """Whether a check is due. What is left is None where nothing limits it, below zero when overdue."""

    due: bool
    runs_left: int | None
    days_left: int | None
    text: str


def judge_tare(tare_g: float, last_tare_g: float, spec: BalanceSpec, allowed_g: float = 0.0) -> TareJudgement:
    """Judge a sieve's tare against its last tare after cleaning.

    A change is chance up to three standard uncertainties of the difference, or up to `allowed_g`
    (handling, a remaining film, wear) where that is more.
    """
    require_finite(tare_g=tare_g, last_tare_g=last_tare_g)
    change_g, limit_g = tare_g - last_tare_g, max(_SURE * spec.net_u_g, allowed_g)
    verdict = _tare_verdict(change_g, limit_g)
    text = f"tare {tare_g:.{spec.decimals}f} g, {change_g:+.{spec.decimals}f} g since the last one"
    if verdict != "as before":
        text += f" (chance explains {limit_g:.2g} g): {_ADVICE[verdict]}"
    return TareJudgement(change_g=change_g, limit_g=limit_g, verdict=verdict, text=text)


def _tare_verdict(change_g: float, limit_g: float) -> TareVerdict:
    if abs(change_g) <= limit_g:
        return "as before"
    if abs(change_g) > max(_ANOTHER_SIEVE_G, limit_g):
        return "another sieve"
    return "heavier" if change_g > 0 else "lighter"


def frame_mismatch(sieve_frame_mm: float, method_frame_mm: float) -> str | None:
    """Sentence when the frames differ; 200 mm and 203 mm (8 in) neither nest nor seal with each other."""
    if abs(sieve_frame_mm - method_frame_mm) < 0.5:
        return None
    text = f"the sieve's frame is {sieve_frame_mm:g} mm, the method asks for {method_frame_mm:g} mm"
    if {round(sieve_frame_mm), round(method_frame_mm)} == {200, 203}:
        text += "; 200 mm and 203 mm (8 in) frames do not seal with each other"
    return text + ": take a sieve with the right frame"


def aperture_mismatch(sieve_aperture_um: float, method_apertures_um: tuple[float, ...]) -> str | None:
    """Sentence when the sieve is none of those that the method asks for."""
    if any(abs(sieve_aperture_um - wanted) < 1e-9 for wanted in method_apertures_um):
        return None
    wanted = ", ".join(f"{w:g}" for w in method_apertures_um)
    return f"the sieve's aperture is {sieve_aperture_um:g} µm, the method asks for {wanted} µm"


def check_due(
    last_check: date | None,
    runs_since: int,
    today: date,
    every_runs: int | None = None,
    every_days: int | None = None,
) -> Due:
    """Whether a check is due by runs or by date. One that was never made is due at once.

    A check every 100 runs is the usual figure for cement sieves (EN 196-6, read second-hand).
    """
    require_not_negative(runs_since=runs_since)
    if last_check is None:
        return Due(due=True, runs_left=None, days_left=None, text="never checked: check it before use")
    require(last_check <= today, f"the last check is dated {last_check}, after today ({today}): correct it")
    runs_left = None if every_runs is None else every_runs - runs_since
    days_left = None if every_days is None else every_days - (today - last_check).days
    over = [left for left in (runs_left, days_left) if left is not None and left <= 0]
    return Due(
        due=bool(over),
        runs_left=runs_left,
        days_left=days_left,
        text=_due_text(last_check, runs_since, runs_left, days_left),
    )


def _due_text(last_check: date, runs_since: int, runs_left: int | None, days_left: int | None) -> str:
    left = [
        f"{count} {unit if count != 1 else unit[:-1]} left" if count > 0 else f"due by {unit}"
        for count, unit in ((runs_left, "runs"), (days_left, "days"))
        if count is not None
    ]
    text = f"checked on {last_check}, {runs_since} run{'' if runs_since == 1 else 's'} since then"
    return f"{text}: {', '.join(left)}" if left else text
