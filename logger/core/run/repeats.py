"""A sample that was out of specification is tested again only with a reason, and every result is listed.

Testing until a figure pleases would hide the one that did not: a repeat is allowed, and it is seen.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from statistics import fmean, median
from typing import Any

from logger.core.method import Method
from logger.core.run.commands import Refused
from logger.core.text import clean_text

LONGEST_REASON = 200
NEEDS_REASON = "a repeat needs a reason"
"""Stands in the refusal, so that a screen can ask for it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class EarlierResult:
    """The newest revision of a run of the same sample by the same method. Residue in % of the charge, None
    where there is no result. `now` is the sample that the run was corrected to since; empty while it is this one."""

    number: int
    run_id: str
    revision: int
    outcome: str
    review: str
    aperture_um: float
    residue_pct: float | None
    decision: str | None
    now: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class PlannedRepeat:
    """Why the sample is tested again, and what was found before."""

    reason: str
    earlier: tuple[EarlierResult, ...]


def check_repeat(
    method: Method, aperture_um: float, found: Sequence[EarlierResult], reason: object
) -> PlannedRepeat | None:
    """None where no result on this sieve was out of specification. Raises Refused while the reason is missing."""
    earlier = [each for each in found if each.aperture_um == aperture_um and each.residue_pct is not None]
    words = out_of_specification(method, earlier)
    if not words:
        return None
    given = clean_text("reason of the repeat", reason or "", LONGEST_REASON)
    if not given:
        raise Refused(f"This sample is out of specification ({words}): {NEEDS_REASON}, which is kept.")
    return PlannedRepeat(reason=given, earlier=tuple(earlier))


def out_of_specification(method: Method, earlier: Sequence[EarlierResult]) -> str:
    """What makes the sample out of specification, half a sentence; empty when nothing does.

    A single run by its own decision; of a method with several determinations the joined figure, once there
    are as many as it asks for.
    """
    rejected = [each for each in earlier if each.decision == "reject"]
    if rejected:
        return ", ".join(f"run {each.number}: {each.residue_pct:.2f} %{_moved(each)}" for each in rejected)
    # A correction takes no result away from what was found of this sample, nor does it hide one among others.
    return _joined_outside(method, [each for each in earlier if not each.now]) or _joined_outside(
        method, earlier
    )


def _moved(each: EarlierResult) -> str:
    return f", corrected to {each.now} since" if each.now else ""


def _joined_outside(method: Method, earlier: Sequence[EarlierResult]) -> str:
    asked = method.determinations
    counted = [each for each in earlier if each.outcome == "endpoint" and each.review != "rejected"]
    values = [each.residue_pct for each in counted if each.residue_pct is not None]
    if asked.count < 2 or len(values) < asked.count:
        return ""
    joined = median(values) if asked.statistic == "median" else fmean(values)
    rules = method.result
    above = rules.residue_max_pct is not None and joined > rules.residue_max_pct
    below = rules.residue_min_pct is not None and joined < rules.residue_min_pct
    runs = ", ".join(f"{each.number}{_moved(each)}" for each in counted)
    return f"runs {runs} together: {joined:.2f} %" if above or below else ""


def corrected_repeat(
    method: Method, aperture_um: float, found: Sequence[EarlierResult], why: str
) -> PlannedRepeat | None:
    """A run that became one of this sample by a correction is a repeat of what was found of it before; `why` it was
    corrected, for good in the correction itself, is the reason."""
    return check_repeat(method, aperture_um, found, f"corrected: {why}"[:LONGEST_REASON])


_RECORDED = ("number", "run_id", "revision", "outcome", "residue_pct", "decision")


def recorded_repeat(repeat: PlannedRepeat) -> dict[str, Any]:
    """As a record has it, JSON values."""
    earlier = [{name: getattr(each, name) for name in _RECORDED} for each in repeat.earlier]
    return {"reason": repeat.reason, "earlier": earlier}


def repeat_note(repeat: PlannedRepeat | None) -> list[tuple[str, str]]:
    """The deviation that a repeat is."""
    if repeat is None:
        return []
    before = ", ".join(f"run {each.number} {each.residue_pct:.2f} %" for each in repeat.earlier)
    text = f"The sample was tested before ({before}) and was out of specification; repeated: {repeat.reason}."
    return [("out-of-specification-repeat", text)]
