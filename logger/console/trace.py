"""The run so far in columns for the chart: bounded, thinned as the run grows longer."""

from __future__ import annotations

from dataclasses import dataclass, field

from logger.core.snapshot import RunView, Snapshot
from logger.service.client import History

MOST_POINTS = 2400
"""A chart is at most a few hundred cells wide; beyond this every second point goes."""


@dataclass(slots=True)
class Trace:
    """Points of one run: elapsed s, load in % of the charge, pressure in Pa."""

    run_id: str = ""
    t_s: list[float] = field(default_factory=list)
    load_pct: list[float | None] = field(default_factory=list)
    dp_pa: list[float | None] = field(default_factory=list)
    _history: History = field(default_factory=History)
    _gap_s: float = 0.0

    def take(self, snapshot: Snapshot, history: History) -> None:
        """Adds what the snapshot says; starts anew with another run or another greeting."""
        run = snapshot.run
        if run is None:
            self._clear("")
            return
        if history is not self._history or run.run_id != self.run_id:
            self._restart(run, history)
        if run.elapsed_s is None or not self._later(run.elapsed_s):
            return
        self._add(run.elapsed_s, run.load_pct, snapshot.pressure.dp_pa)

    def _restart(self, run: RunView, history: History) -> None:
        """The greeting's history belongs to the first run seen after it, not to later ones."""
        fresh = history is not self._history
        self._clear(run.run_id)
        self._history = history
        if not fresh:
            return
        for t_s, mass_g, dp_pa in zip(history.t_s, history.mass_g, history.dp_pa, strict=True):
            self._add(t_s, _share_pct(mass_g, run.charge_g), dp_pa)

    def _later(self, t_s: float) -> bool:
        return not self.t_s or (t_s > self.t_s[-1] and t_s >= self.t_s[-1] + self._gap_s)

    def _clear(self, run_id: str) -> None:
        self.run_id = run_id
        self.t_s, self.load_pct, self.dp_pa = [], [], []
        self._gap_s = 0.0

    def _add(self, t_s: float, load_pct: float | None, dp_pa: float | None) -> None:
        self.t_s.append(t_s)
        self.load_pct.append(load_pct)
        self.dp_pa.append(dp_pa)
        if len(self.t_s) > MOST_POINTS:
            del self.t_s[1::2], self.load_pct[1::2], self.dp_pa[1::2]
            self._gap_s = (self.t_s[-1] - self.t_s[0]) / MOST_POINTS


def _share_pct(mass_g: float | None, charge_g: float | None) -> float | None:
    return None if mass_g is None or not charge_g else 100 * mass_g / charge_g
