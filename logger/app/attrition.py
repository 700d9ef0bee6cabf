"""`lastgrain method attrition`: does the loss of a long run ever cease?"""

from __future__ import annotations

import math
from dataclasses import asdict, replace
from pathlib import Path
from typing import Any

import numpy as np

from logger.app.paths import DataFolder
from logger.app.replay import read_trace
from logger.app.stored_runs import is_run_number, stored_run
from logger.core.attrition import AttritionCheck, check_attrition
from logger.core.endpoint.feasibility import drift_u_pct_per_min, weighing_u_g
from logger.core.method import Method
from logger.core.replay import LoadTrack, charge_of, is_interval_trace, live_twin, replay_live
from logger.core.rig import Rig
from logger.core.trace import Trace, TraceError
from logger.settings import ConfigError, load_method, load_rig

USUAL_LIMIT = 0.1
SHORTEST_S = 240.0
"""Effective time below which a quarter of the run is still bulk passing."""
FEWEST = 4


def attrition(
    which: str, data: DataFolder, method_path: Path | None, rig_path: Path | None
) -> tuple[AttritionCheck, dict[str, Any]]:
    """The check of a kept run (by number) or of a trace file, and the same as plain data with its loads.

    Raises ConfigError, StoreError and TraceError with the sentence for the person.
    """
    trace, method, rig = _source(which, data, method_path, rig_path)
    charge = charge_of(trace, method, None)
    used = rig or Rig(readability_g=trace.readability_g())
    if is_interval_trace(trace, method):
        track, drift_u = _weighed(trace, charge), 0.0
    else:
        track = _followed(trace, method, used, charge)
        limit = method.endpoint.limit_pct_per_min or USUAL_LIMIT
        drift_u = drift_u_pct_per_min(used, charge, limit, trace.rest_s)
    return _check(trace, method, track, 100.0 * weighing_u_g(used) / charge, drift_u)


def _source(
    which: str, data: DataFolder, method_path: Path | None, rig_path: Path | None
) -> tuple[Trace, Method, Rig | None]:
    method = None if method_path is None else load_method(method_path)
    rig = None if rig_path is None else load_rig(rig_path)
    if is_run_number(which):
        stored = stored_run(data, which)
        return stored.trace, method or stored.method, rig or stored.rig
    if method is None:
        raise ConfigError(Path(which), "a trace file needs its method: give it with --method FILE")
    return read_trace(which), method, rig


def _weighed(trace: Trace, charge_g: float) -> LoadTrack:
    rows = [(t, mass) for t, mass, _, _ in trace.rows() if mass is not None and t > 0]
    t = tuple(at for at, _ in rows)
    return LoadTrack(t, t, tuple(100.0 * mass / charge_g for _, mass in rows))


def _followed(trace: Trace, method: Method, rig: Rig, charge_g: float) -> LoadTrack:
    whole = replace(method.endpoint, max_time_s=max(method.endpoint.max_time_s, float(trace.t_s[-1]) + 1.0))
    return replay_live(trace, live_twin(replace(method, endpoint=whole)), rig, charge_g)[1]


def _first(track: LoadTrack) -> str:
    return f" (the first at {track.effective_s[0]:.0f} s)" if track.effective_s else ""


def _check(
    trace: Trace, method: Method, track: LoadTrack, load_u_pct: float, drift_u: float
) -> tuple[AttritionCheck, dict[str, Any]]:
    total = track.effective_s[-1] if track.effective_s else 0.0
    if total < SHORTEST_S or len(track.effective_s) < FEWEST or track.effective_s[0] > 0.26 * total:
        raise TraceError(
            trace.name,
            None,
            f"{total:.0f} s of effective sieving with {len(track.effective_s)} loads{_first(track)} are too little;"
            f" sieve {SHORTEST_S:.0f} s or more, with {FEWEST} loads or more, the first within a quarter of the time",
        )
    # Between two weighings a tail falls nearly in proportion to the logarithm of time.
    at = np.log(np.array([0.25, 0.5, 1.0]) * total)
    quarter, half, end = np.interp(at, np.log(track.effective_s), track.load_pct).tolist()
    limit = method.endpoint.limit_pct_per_min or USUAL_LIMIT
    found = check_attrition(total, quarter, half, end, load_u_pct, limit, drift_u)
    loads = {"total_s": total, "load_quarter_pct": quarter, "load_half_pct": half, "load_end_pct": end}
    plain = {"trace": trace.name, **asdict(found), **loads, "limit_pct_per_min": limit}
    return found, {
        k: round(v, 6) if isinstance(v, float) and math.isfinite(v) else v for k, v in plain.items()
    }
