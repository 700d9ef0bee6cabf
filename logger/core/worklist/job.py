"""What a sample still needs: one more determination, the next sieve, or nothing.

A method with several sieves asks for its determinations on each of them. With fresh portions each sieve is
judged by itself, finest first. One portion that is carried upwards goes over all sieves before the next
determination begins.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from logger.core.determinations import judge
from logger.core.method import Method
from logger.core.refusal import ResultError

Portion = Literal["fresh", "same"]


@dataclass(frozen=True, slots=True, kw_only=True)
class RunMade:
    """A run as kept, so far as a job asks: `outcome` is empty while it is open.

    Residue and charge as weighed, g and % of that charge; None without a result.
    """

    number: int
    run_id: str
    sample_id: str
    lot: str
    sampled_at: str
    method_id: str
    revision: int
    started_at: str
    outcome: str
    review: str
    aperture_um: float | None
    sieve_id: str
    residue_pct: float | None
    residue_g: float | None
    point: str = ""

    @property
    def counts(self) -> bool:
        """Whether it is a determination: it reached its endpoint and was not rejected."""
        return self.outcome == "endpoint" and self.review != "rejected" and self.residue_pct is not None


@dataclass(frozen=True, slots=True, kw_only=True)
class NextStep:
    """The run that a job asks for next. `carried_g` is the portion taken over from run `carried_from`."""

    aperture_um: float
    determination: int
    determinations: int
    portion: Portion
    carried_g: float | None
    carried_from: int | None
    text: str


def next_step(method: Method, runs: Sequence[RunMade], aperture_um: float | None = None) -> NextStep | None:
    """What follows after these runs of one sample by one method, oldest first; None when it is complete.

    With `aperture_um` only that sieve is asked for.
    """
    counted = [run for run in runs if run.counts]
    apertures = method.sieve.all_um if aperture_um is None else (aperture_um,)
    if method.sieve.portion == "same" and len(apertures) > 1:
        return _carried(method, counted, apertures)
    for place, wanted_um in enumerate(apertures):
        step = _on_sieve(method, counted, wanted_um, place, len(apertures))
        if step is not None:
            return step
    return None


def _on_sieve(
    method: Method, counted: Sequence[RunMade], aperture_um: float, place: int, sieves: int
) -> NextStep | None:
    values = [
        run.residue_pct for run in counted if run.aperture_um == aperture_um and run.residue_pct is not None
    ]
    wanted = method.determinations.count
    more = _one_more(method, values)
    if len(values) >= wanted and not more:
        return None
    words = [] if sieves == 1 else [f"sieve {place + 1} of {sieves}, {aperture_um:g} µm"]
    number = len(values) + 1
    if number > wanted:
        words.append(f"determination {number}: {more}")
    elif wanted > 1:
        words.append(f"determination {number} of {wanted}")
    return NextStep(
        aperture_um=aperture_um,
        determination=number,
        determinations=max(wanted, number),
        portion="fresh",
        carried_g=None,
        carried_from=None,
        text=f"{', '.join(words) or 'the first determination'}, on a fresh test portion",
    )


def _one_more(method: Method, values: Sequence[float]) -> str:
    """Why the determinations made are not enough; empty when they are, or cannot be judged."""
    try:
        verdict = judge(values, method.determinations) if values else None
    except ResultError:
        return ""
    if verdict is None or verdict.status != "one-more":
        return ""
    return f"{verdict.range_pct:.2f} % apart, {verdict.critical_range_pct or 0:.2f} % allowed"


def _carried(method: Method, counted: Sequence[RunMade], apertures: tuple[float, ...]) -> NextStep | None:
    """The newest portion goes to the next coarser sieve; the next determination begins on the finest."""
    wanted, finest = method.determinations.count, apertures[0]
    begun = sum(run.aperture_um == finest for run in counted)
    last = next((run for run in reversed(counted) if run.aperture_um in apertures), None)
    place = 0 if last is None or last.aperture_um is None else apertures.index(last.aperture_um) + 1
    fresh = place in (0, len(apertures))
    if fresh and begun >= wanted:
        return None
    number = begun + 1 if fresh else begun
    aperture_um = finest if fresh else apertures[place]
    words = [f"sieve {1 if fresh else place + 1} of {len(apertures)}, {aperture_um:g} µm"]
    if wanted > 1:
        words.append(f"determination {number} of {wanted}")
    portion = "a fresh test portion"
    if not fresh and last is not None:
        portion = f"the residue of run {last.number}"
    return NextStep(
        aperture_um=aperture_um,
        determination=number,
        determinations=wanted,
        portion="fresh" if fresh else "same",
        carried_g=None if fresh or last is None else last.residue_g,
        carried_from=None if fresh or last is None else last.number,
        text=f"{', '.join(words)}, on {portion}",
    )


def complete_text(method: Method, runs: Sequence[RunMade]) -> str:
    """What to do with a job that asks for nothing more; empty for a single determination."""
    numbers = [run.number for run in runs if run.counts]
    if len(method.sieve.all_um) > 1:
        return f"The distribution is complete: lastgrain distribution {' '.join(map(str, numbers))}"
    if len(numbers) > 1 and runs:
        return f"All determinations are made: lastgrain results --sample {runs[0].sample_id}"
    return ""
