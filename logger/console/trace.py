"""The run so far as curves for the charts: bounded, of one run only."""

from __future__ import annotations

from dataclasses import dataclass, field

from logger.console.curve import Curve
from logger.core.snapshot import EventView, RunView, Snapshot
from logger.service.client import History

MARKS_MOST = 200
"""Marks of a run that are kept; an instrument that fills the log must not fill the memory."""


@dataclass(slots=True)
class Trace:
    """Curves over elapsed s: the load of live mode (% of the charge), loss rate, pressure (Pa).

    `band` is the loss rate one standard uncertainty down and up. `marks` are the events a chart shows, by
    their number in the log.
    """

    run_id: str = ""
    load: Curve = field(default_factory=Curve)
    rate: Curve = field(default_factory=Curve)
    band: Curve = field(default_factory=Curve)
    dp: Curve = field(default_factory=Curve)
    marks: dict[int, EventView] = field(default_factory=dict)
    _history: History = field(default_factory=History)
    _last_s: float = -1.0

    def take(self, snapshot: Snapshot, history: History) -> None:
        """Adds what the snapshot says; starts anew with another run or another greeting."""
        run = snapshot.run
        if run is None:
            self._clear("")
            return
        if history is not self._history or run.run_id != self.run_id:
            self._restart(run, history)
        for event in snapshot.events:
            if event.mark and event.seq not in self.marks and len(self.marks) < MARKS_MOST:
                self.marks[event.seq] = event
        if run.elapsed_s is not None and run.elapsed_s > self._last_s and run.result is None:
            self._add(run.elapsed_s, snapshot.pressure.dp_pa, *_estimates(run))

    def _restart(self, run: RunView, history: History) -> None:
        """The greeting's history belongs to the first run seen after it, not to later ones."""
        fresh = history is not self._history
        self._clear(run.run_id)
        self._history = history
        if not fresh:
            return
        columns = (history.t_s, history.dp_pa, history.load_g, history.rate, history.rate_u)
        for t_s, dp_pa, load_g, rate, rate_u in zip(*columns, strict=True):
            if t_s >= 0:
                self._add(t_s, dp_pa, _share_pct(load_g, run.charge_g), rate, rate_u)

    def _clear(self, run_id: str) -> None:
        self.run_id, self._last_s = run_id, -1.0
        self.load, self.rate, self.band, self.dp = Curve(), Curve(), Curve(), Curve()
        self.marks = {}

    def _add(
        self,
        t_s: float,
        dp_pa: float | None,
        load_pct: float | None,
        rate: float | None,
        rate_u: float | None,
    ) -> None:
        self._last_s = t_s
        self.dp.add(t_s, dp_pa)
        self.load.add(t_s, load_pct)
        self.rate.add(t_s, rate)
        if rate is None or rate_u is None:
            self.band.add(t_s, None)
        else:
            self.band.add(t_s, rate - rate_u, rate + rate_u)


def _estimates(run: RunView) -> tuple[float | None, float | None, float | None]:
    """Load, rate and its uncertainty of live mode; those of interval mode are made of its weighings."""
    if run.mode == "interval":
        return None, None, None
    return run.load_pct, run.rate.rate_pct_per_min, run.rate.rate_u_pct_per_min


def _share_pct(mass_g: float | None, charge_g: float | None) -> float | None:
    return None if mass_g is None or not charge_g else 100 * mass_g / charge_g
