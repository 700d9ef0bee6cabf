"""Runs of one sample joined to a result: which belong together, which are left out, and what follows."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import groupby

from logger.core.assessment import Assessment, assess
from logger.core.determinations import Verdict, judge
from logger.core.method import Method
from logger.core.refusal import ResultError, require
from logger.core.register.planned import PlannedSieve
from logger.core.residue import Residue
from logger.core.uncertainty import Component, NotIncluded
from logger.core.weighing import BalanceSpec


@dataclass(frozen=True, slots=True, kw_only=True)
class Belonging:
    """What two determinations must share to be joined."""

    sample_id: str
    lot: str
    method_id: str
    revision: int
    method_sha256: str
    aperture_um: float
    sieve_id: str
    simulated: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class KeptRun:
    """One run as kept: how it ended and, where it has a result, what it weighed. `found` is raw."""

    number: int
    run_id: str
    started_at: str
    outcome: str
    review: str
    reason: str
    belongs: Belonging
    method: Method
    spec: BalanceSpec
    planned: PlannedSieve | None
    found: Residue | None
    term: Component | NotIncluded | None


@dataclass(frozen=True, slots=True, kw_only=True)
class LeftOutRun:
    """A run that cannot count, and why."""

    number: int
    reason: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Joined:
    """One sample on one sieve by one method. `assessment` is None until it is final; `text` says what is next.

    `problem` is a sentence where the figures cannot be stood behind.
    """

    belongs: Belonging
    runs: tuple[KeptRun, ...]
    left_out: tuple[LeftOutRun, ...]
    verdict: Verdict | None
    assessment: Assessment | None
    text: str
    problem: str


def why_left_out(run: KeptRun) -> str:
    """Why a run is no determination; empty when it is one."""
    if run.outcome != "endpoint" or run.found is None:
        return f"{run.outcome or 'open'}: {run.reason or 'no result yet'}"
    return "rejected at its review" if run.review == "rejected" else ""


def join(runs: Sequence[KeptRun], slope_pct_per_um: float | None = None) -> tuple[Joined, ...]:
    """The sample's results, one for each method revision, aperture and sieve, in order of the first run."""
    ordered = sorted(runs, key=lambda run: (_key(run.belongs), run.number))
    groups = [
        _join(belongs, list(members), slope_pct_per_um)
        for belongs, members in groupby(ordered, key=lambda run: run.belongs)
    ]
    return tuple(sorted(groups, key=_first))


def _key(belongs: Belonging) -> tuple[str, ...]:
    return tuple(str(getattr(belongs, name)) for name in Belonging.__dataclass_fields__)


def _first(joined: Joined) -> int:
    return min([run.number for run in joined.runs] + [run.number for run in joined.left_out])


def _join(belongs: Belonging, runs: Sequence[KeptRun], slope: float | None) -> Joined:
    reasons = {run.number: why_left_out(run) for run in runs}
    counted = [run for run in runs if not reasons[run.number]]
    left_out = tuple(LeftOutRun(number=n, reason=reason) for n, reason in reasons.items() if reason)
    verdict: Verdict | None = None
    found: Assessment | None = None
    text, problem = "no determination yet: do one on a fresh test portion", ""
    try:
        if counted:
            verdict = judge([_residue(run).residue_pct for run in counted], counted[0].method.determinations)
            text = verdict.text
        if verdict is not None and verdict.status == "final":
            found = _assess(counted, slope)
    except ResultError as refusal:
        problem = str(refusal)
    return Joined(
        belongs=belongs,
        runs=tuple(counted),
        left_out=left_out,
        verdict=verdict,
        assessment=found,
        text=text,
        problem=problem,
    )


def _residue(run: KeptRun) -> Residue:
    if run.found is None:
        raise ResultError(f"run {run.number} has no result")
    return run.found


def _assess(runs: Sequence[KeptRun], slope: float | None) -> Assessment:
    worst = max(runs, key=lambda run: _residue(run).residue_u_pct)
    method = runs[0].method
    factors = {run.planned.factor if run.planned else None for run in runs}
    require(
        method.sieve.correction == "none" or len(factors) == 1,
        "the sieve's correction factor changed between these runs: repeat the older ones, or judge each alone",
    )
    found = assess(
        [_residue(run) for run in runs],
        [run.term or NotIncluded(name="endpoint", reason="not recorded") for run in runs],
        method,
        worst.spec,
        worst.planned.sieve if worst.planned else None,
        worst.planned.factor if worst.planned else None,
        slope,
    )
    limits = method.result.residue_max_pct is not None or method.result.residue_min_pct is not None
    return found if limits else replace(found, undecided="the method sets no limits")
