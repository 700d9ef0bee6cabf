"""Runs told by their events alone, without bench or clock: quick to make, ended by the real computing step."""

from __future__ import annotations

import dataclasses
from datetime import date

from logger.core.correction import CorrectionFactor
from logger.core.method import Method, ResultRules
from logger.core.record import ChainHead, Record, build_record
from logger.core.register.planned import PlannedSieve
from logger.core.run.engine import RunEngine
from logger.core.run.events import EventKind as E
from logger.core.run.plan import RunPlan, Sample
from logger.core.run.run import Run
from logger.core.run.states import RunState
from logger.core.run.weigh import compute
from logger.core.sieves import TestSieve
from tests.core.run.plans import bench_plan, interval_method

FACTOR = CorrectionFactor(
    sieve_id="S-45-01",
    certified_pct=4.9,
    certified_u_pct=0.05,
    found_pct=4.6,
    found_u_pct=0.05,
    checked_on=date(2026, 1, 12),
    certificate="RP-7",
)
PLANNED = PlannedSieve(
    sieve=TestSieve(id="S-45-01", aperture_um=45, frame_mm=200, standard="ISO 3310-1:2016"),
    factor=FACTOR,
    runs_before=3,
    last_tare_g=400.0,
    last_tare_utc="2026-01-10T06:00:00.000Z",
    tare_allowed_g=0.0,
)
UTC = "2026-02-01T06:00:00.000Z"
LIMITS = ResultRules(residue_max_pct=4.0)
SECOND = 1_000_000_000


def method(**changes: object) -> Method:
    """25 g by intervals, residue at most 4.0 %."""
    return dataclasses.replace(interval_method(), result=LIMITS, **changes)  # type: ignore[arg-type]


def live_method() -> Method:
    """The same, weighed while the jet runs."""
    chosen = interval_method()
    weighing = dataclasses.replace(chosen.weighing, mode="live", first_interval_s=None, interval_s=None)
    return dataclasses.replace(chosen, result=LIMITS, weighing=weighing)


def planned_engine(
    chosen: Method,
    sieve: PlannedSieve | None = None,
    *,
    run_id: str = "r",
    sample: str = "S-1",
    lot: str = "",
    aperture_um: float = 45.0,
    utc: str = UTC,
) -> RunEngine:
    """A run that is planned, on a registered sieve or a nameless one."""
    plan = RunPlan(
        run_id=run_id,
        sample=Sample(sample_id=sample, operator_id="op-7", lot=lot),
        method=chosen,
        aperture_um=aperture_um,
        bench=bench_plan(),
        rig=None,
        software="test",
        sieve_id="" if sieve is None else sieve.sieve.id,
        sieve=sieve,
    )
    return RunEngine(plan, 0, lambda: utc)


def planned(chosen: Method, sieve: PlannedSieve | None = None) -> Run:
    """The run itself."""
    return planned_engine(chosen, sieve).run


def end(
    run: Run,
    outcome: E = E.ENDPOINT_REACHED,
    after_s: float = 0.0,
    residue_g: float = 0.95,
    charge_g: float = 25.0,
) -> Record:
    """All but the residue and 0.05 g gone after 20 s, these after 20 s more; suction off `after_s` late."""
    run.emit(E.CAUTIONS_ACKNOWLEDGED, 0, name="op-7")
    run.emit(E.CHECKS_PASSED, 0, zero_dp_pa=0.0)
    run.emit(E.TARE_WEIGHED, 0, gross_g=400.0)
    run.emit(E.CHARGE_WEIGHED, 0, gross_g=400 + charge_g, load_g=charge_g, effective_s=0.0)
    steps = _live if run.live_mode else _intervals
    steps(run, outcome, after_s, residue_g)
    if run.state is RunState.WEIGHING:
        run.emit(E.RESULT_DUE, 95 * SECOND)
    compute(run, 100 * SECOND)
    return build_record("r", run.facts, ChainHead(1, "0" * 64))


def _live(run: Run, outcome: E, after_s: float, residue_g: float) -> None:
    run.emit(E.REST_BEGUN, 0, rest_s=60.0)
    run.emit(E.DRAW_DOWN_BEGUN, 0, interval_target_s=None)
    run.emit(E.SUCTION_SEEN_ON, 0, segment=1)
    run.emit(E.BAND_REACHED, 0, dp_pa=2500)
    run.emit(E.DECIDED, 60 * SECOND, value=0.1, value_u=0.01, limit=0.1, unit="%/min", text="0.10 %/min")
    run.emit(outcome, 60 * SECOND, elapsed_s=60.0, reason="0.10 %/min", by="op-7")
    run.emit(E.SUCTION_SEEN_OFF, 70 * SECOND, elapsed_s=60.0 + after_s, effective_s=40.0)
    run.emit(E.PRESSURE_RELEASED, 80 * SECOND, how="measured")
    run.emit(E.LOAD_WEIGHED, 90 * SECOND, gross_g=400 + residue_g, load_g=residue_g, effective_s=40.0)


def _intervals(run: Run, outcome: E, after_s: float, residue_g: float) -> None:
    run.emit(E.DRAW_DOWN_BEGUN, 0, interval_target_s=20.0)
    run.emit(E.SUCTION_SEEN_ON, 0, segment=1)
    for at_s, load_g in ((20, round(residue_g + 0.05, 6)), (40, residue_g)):
        at_ns = at_s * SECOND
        run.emit(E.BAND_REACHED, at_ns - SECOND, dp_pa=2500)
        run.emit(E.INTERVAL_OVER, at_ns, interval_s=20.0, effective_s=float(at_s))
        run.emit(E.SUCTION_SEEN_OFF, at_ns, elapsed_s=at_s + after_s, effective_s=float(at_s))
        run.emit(E.PRESSURE_RELEASED, at_ns, how="measured")
        run.emit(E.LOAD_WEIGHED, at_ns, gross_g=400 + load_g, load_g=load_g, effective_s=float(at_s))
        if at_s == 20:
            run.emit(E.DRAW_DOWN_BEGUN, at_ns, interval_target_s=20.0)
    run.emit(
        E.DECIDED,
        60 * SECOND,
        rule="loss-rate",
        stop=True,
        value=0.6,
        value_u=0.01,
        limit=0.1,
        unit="%/min",
        text="0.6 %/min",
    )
    run.emit(outcome, 60 * SECOND, elapsed_s=60.0, reason="0.6 %/min", by="op-7")
