"""Repeatability from the duplicates that a bench has made anyway: s_r = sqrt(sum d^2 / (2 k)).

The first two determinations of each sample count, whether they agreed or not: leaving out those that did not
would make the repeatability look better than it is.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from logger.core.determinations import repeatability_limit, sd_from_pairs
from logger.core.joining import Belonging, KeptRun, why_left_out
from logger.core.refusal import require

FEW = 8
"""With fewer pairs the figure itself is uncertain by more than a quarter."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Pair:
    """Two determinations of one sample and their difference, % of the charge."""

    sample_id: str
    runs: tuple[int, int]
    difference_pct: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Duplicates:
    """s_r and r from all pairs, % of the charge; `dof` is their number."""

    pairs: tuple[Pair, ...]
    s_r_pct: float
    r_pct: float
    dof: int
    text: str


def duplicates(runs: Iterable[KeptRun]) -> Duplicates:
    """Pairs of raw residues, each on one sieve by one method revision. `ResultError` when there is none."""
    groups: dict[Belonging, list[KeptRun]] = {}
    for run in sorted(runs, key=lambda run: run.number):
        if not why_left_out(run):
            groups.setdefault(run.belongs, []).append(run)
    pairs = tuple(_pair(members[0], members[1]) for members in groups.values() if len(members) > 1)
    require(bool(pairs), "no sample was determined twice: repeatability needs duplicates")
    s_r = sd_from_pairs([pair.difference_pct for pair in pairs])
    text = f"s_r = {s_r:.3f} %, r = {repeatability_limit(s_r):.2f} % from {len(pairs)} duplicates"
    if len(pairs) < FEW:
        text += f"; fewer than {FEW}, so take it as a first guess"
    return Duplicates(pairs=pairs, s_r_pct=s_r, r_pct=repeatability_limit(s_r), dof=len(pairs), text=text)


def _pair(first: KeptRun, second: KeptRun) -> Pair:
    values = [run.found.residue_pct if run.found else 0.0 for run in (first, second)]
    return Pair(
        sample_id=first.belongs.sample_id,
        runs=(first.number, second.number),
        difference_pct=values[1] - values[0],
    )
