"""The last runs of the same method, to lie behind the run of now, and whether it is like them."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

from logger.console.curve import Curve, Point
from logger.core.envelope import Beside, beside_earlier
from logger.core.snapshot import RunView, Snapshot
from logger.service.client import ServiceClient

SHOWN = 5
LOOKED_AT = 30
"""Of the method's newest runs so many are looked through for some that came to a result."""
POINTS = 150
LASTS_S = 10.0
"""A live load must have been outside for this long of effective time before a word is said."""


@dataclass(frozen=True, slots=True)
class EarlierRun:
    """Load in % of the charge over elapsed s (live, the pressure's share taken off) or over effective s
    (interval, one point a weighing); pressure in Pa over elapsed s."""

    load: tuple[Point, ...]
    dp: tuple[Point, ...] = ()


@dataclass(slots=True)
class Earlier:
    """The earlier runs of run `run_id`'s method. `remark` is empty while the run is like them."""

    run_id: str = ""
    runs: tuple[EarlierRun, ...] = ()
    remark: str = ""
    _since_s: float | None = field(default=None)

    def judge(self, snapshot: Snapshot, live: Curve) -> None:
        """Compares the newest load with those of the earlier runs at the same time."""
        run = snapshot.run
        newest = None if run is None or run.run_id != self.run_id else _newest_load(snapshot, run, live)
        if run is None or newest is None or run.result is not None:
            self.remark = ""
            return
        found = beside_earlier(*newest, [each.load for each in self.runs])
        if found is None or found.word == "like":
            self.remark, self._since_s = "", None
            return
        self._since_s = run.effective_s if self._since_s is None else self._since_s
        if run.mode == "interval" or run.effective_s - self._since_s >= LASTS_S:
            self.remark = _remark(found)


def _newest_load(snapshot: Snapshot, run: RunView, live: Curve) -> Point | None:
    """The last weighing; or the live reading while the pressure is in its band, as its share is in all runs."""
    if run.mode == "interval":
        return (run.weighings[-1].effective_s, run.weighings[-1].load_pct) if run.weighings else None
    if snapshot.state != "sieving" or not snapshot.pressure.in_band or not live.t_s:
        return None
    return live.t_s[-1], (live.low[-1] + live.high[-1]) / 2


def _remark(found: Beside) -> str:
    return (
        f"{found.word} than the last {found.count} runs of this method: load {found.load_pct:.1f} %,"
        f" theirs {found.low_pct:.1f} to {found.high_pct:.1f} % after this time"
    )


async def ask_earlier(client: ServiceClient, run: RunView) -> tuple[EarlierRun, ...]:
    """The last runs of the run's method that came to a result; none when the service cannot say."""
    reply = await client.query("runs", method_id=run.method_id, limit=LOOKED_AT)
    found: list[EarlierRun] = []
    for row in _list(_dict(reply.data).get("runs")):
        if len(found) == SHOWN:
            break
        if _is_like(_dict(row), run):
            earlier = await client.query("run", which=str(row.get("run_id", "")), parts=["record", "curves"])
            found += filter(None, [_earlier_run(_dict(earlier.data), run)])
    return tuple(found)


def _is_like(row: dict[str, Any], run: RunView) -> bool:
    """The same revision of the method, sieved to its end."""
    return (
        row.get("outcome") in ("endpoint", "time-limit")
        and row.get("method_revision") == run.method_revision
        and row.get("run_id") != run.run_id
    )


def _earlier_run(data: dict[str, Any], run: RunView) -> EarlierRun | None:
    """An answer to the question `run`; None when it cannot lie behind this run."""
    record, curves = _dict(data.get("record")), _dict(data.get("curves"))
    if record.get("aperture_um") != run.aperture_um:
        return None
    if run.mode == "interval":
        weighed = [_dict(each) for each in _list(record.get("weighings"))]
        load = _points([[each.get("effective_s"), each.get("load_pct")] for each in weighed])
    else:
        load = _points([pair for piece in _list(curves.get("loads")) for pair in _list(piece)])
    pressures = _points([pair for piece in _list(curves.get("pressures")) for pair in _list(piece)])
    return EarlierRun(load, pressures) if load else None


def _points(pairs: list[Any]) -> tuple[Point, ...]:
    """Pairs of numbers in order of time, no more than a chart can show; anything else is left out."""
    good = [
        (float(pair[0]), float(pair[1]))
        for pair in pairs
        if isinstance(pair, list | tuple) and len(pair) == 2 and all(isinstance(v, int | float) for v in pair)
    ]
    return tuple(sorted(good[:: 1 + len(good) // POINTS], key=lambda point: point[0]))


def _dict(value: Any) -> dict[str, Any]:
    return value if isinstance(value, dict) else {}


def _list(value: Any) -> list[Any]:
    return value if isinstance(value, list) else []
