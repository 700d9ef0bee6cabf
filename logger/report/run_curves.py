"""The curves of one run for its chart: load, loss rate and pressure against the time since suction was seen on.

In interval mode loads are the weighings and the rate is that between two of them. In live mode the load is
what the balance showed while the jet ran, less the pressure's known share, and the rate is the slope of that
over windows that grow with time: evidence beside the estimator's own figure, which made the decision.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from logger.core.readings import Channel, Quality, Reading
from logger.core.run.events import Event, EventKind
from logger.core.run.facts import RunFacts, Weighed

Array = NDArray[np.float64]
Point = tuple[float, float]

MOST_POINTS = 400
"""A printed chart shows no more."""
_RATE_POINTS = 90
_LEAST_WINDOW_S, _WINDOW_SHARE = 10.0, 0.15
"""Half-width of a slope's window: at least so long, and this share of the time."""
_LEAST_IN_WINDOW = 8


@dataclass(frozen=True, slots=True)
class Rate:
    """Loss rate in % of the charge per minute from one time to another (both alike for a point)."""

    from_s: float
    to_s: float
    pct_per_min: float


@dataclass(frozen=True, slots=True, kw_only=True)
class RunCurves:
    """Times in s since suction was first seen on, loads in % of the charge, pressures in Pa.

    `loads` and `pressures` are pieces: a gap in the readings parts them.
    """

    live: bool
    end_s: float
    weighings: tuple[Point, ...]
    loads: tuple[tuple[Point, ...], ...]
    rates: tuple[Rate, ...]
    pressures: tuple[tuple[Point, ...], ...]


def run_curves(facts: RunFacts, events: Sequence[Event], readings: Iterable[Reading]) -> RunCurves | None:
    """The curves of a run; None when suction was never seen on."""
    start_ns = facts.suction_start_ns
    if start_ns is None or not facts.weighings:
        return None
    charge_g, live = facts.weighings[0].load_g, facts.plan["method"]["weighing"]["mode"] == "live"
    if charge_g <= 0:
        return None
    columns = _columns(readings, start_ns)
    weighings = _weighings(facts.weighings, start_ns, charge_g)
    jets = _jets(events, start_ns)
    # A run that was ended with the suction still on is shown up to its end.
    last_s = (max(event.at_ns for event in events) - start_ns) / 1e9
    end_s = max([weighings[-1][0], *(off if math.isfinite(off) else last_s for _, off in jets)])
    times, dp_pa = columns[Channel.PRESSURE]
    shown = (times >= 0) & (times <= end_s)
    loads: tuple[Array, Array] = (np.array([]), np.array([]))
    if live:
        loads = _live_loads(facts, columns, jets, charge_g)
    return RunCurves(
        live=live,
        end_s=end_s,
        weighings=weighings,
        loads=_pieces(*loads),
        rates=_slopes(*loads) if live else _between(facts.weighings, start_ns, charge_g),
        pressures=_pieces(times[shown], dp_pa[shown]),
    )


def _columns(readings: Iterable[Reading], start_ns: int) -> dict[Channel, tuple[Array, Array]]:
    rows: dict[Channel, list[tuple[float, float]]] = {channel: [] for channel in Channel}
    for reading in readings:
        good = reading.quality is Quality.OK and reading.value is not None
        value = reading.value if good and reading.value is not None else math.nan
        rows[reading.channel].append(((reading.at_ns - start_ns) / 1e9, value))
    return {
        channel: (np.array([t for t, _ in found]), np.array([v for _, v in found]))
        for channel, found in rows.items()
    }


def _weighings(weighed: Sequence[Weighed], start_ns: int, charge_g: float) -> tuple[Point, ...]:
    """The charge stands at 0 s, wherever it was weighed."""
    later = [((w.at_ns - start_ns) / 1e9, 100 * w.load_g / charge_g) for w in weighed[1:]]
    return ((0.0, 100.0), *later)


def _jets(events: Sequence[Event], start_ns: int) -> list[tuple[float, float]]:
    """From when to when the suction was on."""
    jets: list[tuple[float, float]] = []
    for event in events:
        at_s = (event.at_ns - start_ns) / 1e9
        if event.kind is EventKind.SUCTION_SEEN_ON and (not jets or math.isfinite(jets[-1][1])):
            jets.append((at_s, math.inf))
        elif event.kind is EventKind.SUCTION_SEEN_OFF and jets and math.isinf(jets[-1][1]):
            jets[-1] = (jets[-1][0], at_s)
    return jets


def _live_loads(
    facts: RunFacts,
    columns: Mapping[Channel, tuple[Array, Array]],
    jets: Sequence[tuple[float, float]],
    charge_g: float,
) -> tuple[Array, Array]:
    """Load in % while the jet ran and the pressure was in its band; the coupling's share taken off where known."""
    times, mass_g = columns[Channel.MASS]
    dp_times, dp_pa = columns[Channel.PRESSURE]
    suction, rig = facts.plan["method"]["suction"], facts.plan.get("rig") or {}
    if times.size == 0 or dp_times.size == 0:
        return np.array([]), np.array([])
    place = np.clip(np.searchsorted(dp_times, times, side="right") - 1, 0, dp_times.size - 1)
    beside_pa = dp_pa[place]
    on = np.any([(times >= on_s) & (times <= off_s) for on_s, off_s in jets], axis=0)
    good = on & (np.abs(beside_pa - suction["dp_pa"]) <= suction["band_pa"]) & np.isfinite(mass_g)
    force_g = _force_g(rig, beside_pa[good])
    return times[good], 100 * (mass_g[good] - (facts.tare_g or 0.0) - force_g) / charge_g


def _force_g(rig: Mapping[str, Any], dp_pa: Array) -> Array:
    kpa = dp_pa / 1000
    coupling, curvature = rig.get("coupling_g_per_kpa") or 0.0, rig.get("coupling2_g_per_kpa2") or 0.0
    force: Array = coupling * kpa + curvature * kpa**2
    return force


def _between(weighed: Sequence[Weighed], start_ns: int, charge_g: float) -> tuple[Rate, ...]:
    """The rate between neighbouring weighings, in minutes sieved."""
    rates = []
    for before, after in itertools.pairwise(weighed):
        minutes = (after.effective_s - before.effective_s) / 60
        if minutes > 0:
            from_s = max(0.0, (before.at_ns - start_ns) / 1e9)
            lost_pct = 100 * (before.load_g - after.load_g) / charge_g
            rates.append(Rate(from_s, (after.at_ns - start_ns) / 1e9, lost_pct / minutes))
    return tuple(rates)


def _slopes(times: Array, load_pct: Array) -> tuple[Rate, ...]:
    """Straight lines through windows around times that lie closer together early on."""
    if times.size < _LEAST_IN_WINDOW or times[-1] <= _LEAST_WINDOW_S:
        return ()
    rates = []
    for at_s in np.geomspace(_LEAST_WINDOW_S, times[-1], _RATE_POINTS).tolist():
        half_s = max(_LEAST_WINDOW_S, _WINDOW_SHARE * at_s)
        first, last = np.searchsorted(times, [at_s - half_s, at_s + half_s])
        t, y = times[first:last], load_pct[first:last]
        if t.size >= _LEAST_IN_WINDOW and t[-1] - t[0] > half_s:
            away = t - t.mean()
            slope = float(np.dot(away, y) / np.dot(away, away))
            rates.append(Rate(at_s, at_s, -60 * slope))
    return tuple(rates)


def _pieces(times: Array, values: Array) -> tuple[tuple[Point, ...], ...]:
    """Thinned and cut where there was no reading for long."""
    if times.size == 0:
        return ()
    thin_t, thin_v = thinned(times, values)
    usual_s = float(np.median(np.diff(thin_t))) if thin_t.size > 1 else 0.0
    pieces: list[list[Point]] = [[]]
    before_s = thin_t[0]
    for t, value in zip(thin_t.tolist(), thin_v.tolist(), strict=True):
        if pieces[-1] and (math.isnan(value) or t - before_s > max(5.0, 4 * usual_s)):
            pieces.append([])
        if not math.isnan(value):
            pieces[-1].append((t, value))
            before_s = t
    return tuple(tuple(piece) for piece in pieces if piece)


def thinned(times: Array, values: Array, most: int = MOST_POINTS) -> tuple[Array, Array]:
    """At most `most` points that keep every peak: lowest and highest of each stretch. A gap stays a nan."""
    if times.size <= most:
        return times, values
    edges = np.linspace(0, times.size, most // 2 + 1).astype(int)
    keep: list[int] = []
    for first, last in itertools.pairwise(edges):
        part = values[first:last]
        if np.isnan(part).all():
            keep.append(int(first))
        else:
            keep += sorted({int(first + np.nanargmin(part)), int(first + np.nanargmax(part))})
    return times[keep], values[keep]
