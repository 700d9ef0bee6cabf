"""The last runs of the same method, to lie behind the run of now, and whether it is like them."""

from __future__ import annotations

import asyncio
from dataclasses import dataclass, field
from typing import Any

from logger.console.answers import dict_of, list_of
from logger.console.curve import Curve, Point
from logger.console.trace import Trace
from logger.core.envelope import Beside, beside_earlier
from logger.core.snapshot import RunView, Snapshot
from logger.service.client import History, ServiceClient

SLACK_S, SLACK_REAL_S = 5.0, 0.5
"""Live runs are compared at times that may differ by this much (bench s, and real s): a draw-down by hand is
not the same twice, and readings take their time on the line."""
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
        slack_s = 0.0 if run.mode == "interval" else max(SLACK_S, SLACK_REAL_S * snapshot.speed)
        found = beside_earlier(*newest, [each.load for each in self.runs], slack_s)
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


class Compared:
    """The curves of the run on the bench and the earlier ones, kept up to date from what a watcher sees."""

    def __init__(self, client: ServiceClient) -> None:
        self._client = client
        self.trace, self.earlier = Trace(), Earlier()
        self._asking: asyncio.Task[None] | None = None

    def take(self, snapshot: Snapshot, history: History) -> str:
        """Adds a picture; the earlier runs are asked for once a run. Gives the remark when it is new, else ""."""
        self.trace.take(snapshot, history)
        if snapshot.run is not None and snapshot.run.run_id != self.earlier.run_id:
            self.earlier = Earlier(snapshot.run.run_id)
            self._asking = asyncio.create_task(self._ask(snapshot.run, self.earlier), name="earlier runs")
        before = self.earlier.remark
        self.earlier.judge(snapshot, self.trace.load)
        return "" if before else self.earlier.remark

    async def _ask(self, run: RunView, earlier: Earlier) -> None:
        earlier.runs = await ask_earlier(self._client, run)

    def close(self) -> None:
        """Nothing more is asked."""
        if self._asking is not None:
            self._asking.cancel()


async def ask_earlier(client: ServiceClient, run: RunView) -> tuple[EarlierRun, ...]:
    """The last runs of the run's method that came to a result; none when the service cannot say."""
    reply = await client.query("runs", method_id=run.method_id, limit=LOOKED_AT)
    found: list[EarlierRun] = []
    for row in list_of(dict_of(reply.data).get("runs")):
        if len(found) == SHOWN:
            break
        if _is_like(dict_of(row), run):
            earlier = await client.query("run", which=str(row.get("run_id", "")), parts=["record", "curves"])
            found += filter(None, [_earlier_run(dict_of(earlier.data), run)])
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
    record, curves = dict_of(data.get("record")), dict_of(data.get("curves"))
    if record.get("aperture_um") != run.aperture_um:
        return None
    if run.mode == "interval":
        weighed = [dict_of(each) for each in list_of(record.get("weighings"))]
        load = _points([[each.get("effective_s"), each.get("load_pct")] for each in weighed])
    else:
        load = _points([pair for piece in list_of(curves.get("loads")) for pair in list_of(piece)])
    pressures = _points([pair for piece in list_of(curves.get("pressures")) for pair in list_of(piece)])
    return EarlierRun(load, pressures) if load else None


def _points(pairs: list[Any]) -> tuple[Point, ...]:
    """Pairs of numbers in order of time, no more than a chart can show; anything else is left out."""
    good = [
        (float(pair[0]), float(pair[1]))
        for pair in pairs
        if isinstance(pair, list | tuple) and len(pair) == 2 and all(isinstance(v, int | float) for v in pair)
    ]
    return tuple(sorted(good[:: 1 + len(good) // POINTS], key=lambda point: point[0]))
