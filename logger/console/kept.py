"""One kept run as the service answers it, read for screens: figures, curves, events, revisions."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from logger.console.answers import dict_of, dicts_of, list_of, number_of, points_of, text_of
from logger.console.curve import Curve, Point
from logger.console.marks import LETTERS
from logger.console.run_rows import RunRow, row_of


@dataclass(frozen=True, slots=True)
class Curves:
    """Times in s since the suction was seen on; loads in % of the charge, rates in %/min, pressures in Pa.

    `loads` holds the weighings of an interval run. `steps`: a rate is that between two weighings.
    """

    end_s: float
    steps: bool
    loads: tuple[Point, ...] = ()
    weighings: tuple[Point, ...] = ()
    load: Curve = field(default_factory=Curve)
    rate: Curve = field(default_factory=Curve)
    rates: tuple[Point, ...] = ()
    dp: Curve = field(default_factory=Curve)


@dataclass(frozen=True, slots=True)
class KeptRun:
    """An answer to the question `run`; `record` and `curves` are empty where the run has none."""

    row: RunRow
    record: Mapping[str, Any]
    curves: Curves | None
    events: tuple[Mapping[str, Any], ...]
    left_out: int
    revisions: tuple[Mapping[str, Any], ...]

    @property
    def method(self) -> Mapping[str, Any]:
        """The method as frozen at the start."""
        return dict_of(dict_of(self.record.get("method")).get("frozen"))

    @property
    def limit(self) -> float | None:
        """The loss rate's limit, %/min, where the method has one."""
        return number_of(dict_of(self.method.get("endpoint")).get("limit_pct_per_min"))

    @property
    def band_pa(self) -> tuple[float, float] | None:
        """Edges of the pressure's band."""
        suction = dict_of(self.method.get("suction"))
        nominal, half = number_of(suction.get("dp_pa")), number_of(suction.get("band_pa"))
        return None if nominal is None or half is None else (nominal - half, nominal + half)

    @property
    def marks(self) -> tuple[tuple[float, str], ...]:
        """Events of the chart by their letters, at elapsed s."""
        found = []
        for event in self.events:
            letter, at_s = LETTERS.get(event.get("mark") or ""), number_of(event.get("elapsed_s"))
            if letter is not None and at_s is not None:
                found.append((at_s, letter))
        return tuple(found)


def kept_run(data: Any) -> KeptRun:
    """Reads an answer, whatever it holds."""
    answer = dict_of(data)
    left_out = number_of(answer.get("events_left_out")) or 0
    return KeptRun(
        row=row_of(dict_of(answer.get("run"))),
        record=dict_of(answer.get("record")),
        curves=_curves(answer.get("curves")),
        events=tuple(dicts_of(answer.get("events"))),
        left_out=int(left_out),
        revisions=tuple(dicts_of(answer.get("revisions"))),
    )


def _curves(data: Any) -> Curves | None:
    if not isinstance(data, dict):
        return None
    weighings = points_of(data.get("weighings"))
    steps = data.get("live") is not True
    loads = (
        weighings if steps else [point for piece in list_of(data.get("loads")) for point in points_of(piece)]
    )
    rates = _rates(dicts_of(data.get("rates")))
    return Curves(
        end_s=max([60.0, number_of(data.get("end_s")) or 0.0]),
        steps=steps,
        loads=tuple(loads),
        weighings=tuple(weighings),
        load=Curve.of(loads) if steps else _in_pieces(data.get("loads")),
        rate=_apart(rates) if steps else Curve.of(rates),
        rates=tuple(rates),
        dp=_in_pieces(data.get("pressures")),
    )


def _rates(rates: list[dict[str, Any]]) -> list[Point]:
    """A point, or both ends of a step; rates that are not above zero have no place on a log axis."""
    found = []
    for each in rates:
        rate, from_s, to_s = (number_of(each.get(name)) for name in ("pct_per_min", "from_s", "to_s"))
        if rate is not None and rate > 0 and from_s is not None and to_s is not None:
            found += [(from_s, rate)] if from_s == to_s else [(from_s, rate), (to_s, rate)]
    return sorted(found, key=lambda point: point[0])


def _apart(ends: list[Point]) -> Curve:
    """Both ends of each step, and nothing between one step and the next."""
    curve = Curve()
    for at, (t_s, rate) in enumerate(ends):
        curve.add(t_s, rate)
        if at % 2:
            curve.add(t_s, None)
    return curve


def _in_pieces(pieces: Any) -> Curve:
    curve = Curve()
    for piece in list_of(pieces):
        points = points_of(piece)
        for at_s, value in points:
            curve.add(at_s, value)
        if points:
            curve.add(points[-1][0], None)
    return curve


def residue_words(run: KeptRun) -> str:
    """The residue as reported, with its expanded uncertainty; why there is none else."""
    assessed = dict_of(run.record.get("assessment"))
    if not assessed:
        return f"no result: {run.row.outcome}"
    return f"{text_of(assessed.get('residue_text'), 20)} % ± {text_of(assessed.get('expanded_u_text'), 20)} %"
