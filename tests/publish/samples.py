"""Invented messages for the tests."""

from __future__ import annotations

from typing import Any

from logger.core.ports import MessageKind, OutboxItem
from logger.core.record import RECORD_SCHEMA, Record
from logger.core.record_assessment import (
    RecordAssessment,
    RecordBudget,
    RecordComponent,
    RecordCorrection,
    RecordDecision,
    RecordNotIncluded,
)
from logger.core.record_parts import (
    RecordDeviation,
    RecordDisplays,
    RecordEndpoint,
    RecordFitness,
    RecordJournal,
    RecordLimits,
    RecordMethod,
    RecordResult,
    RecordSample,
    RecordSieve,
    RecordTimes,
    RecordWeighing,
)

MADE = "2026-03-02T08:00:00.000Z"
SENT = "2026-03-02T08:00:01.000Z"

EVENT = {"run_id": "r1", "kind": "noted", "utc": MADE, "data": {"text": "a note"}}
LIVE = {"utc": MADE, "state": "sieving", "run_id": "r1", "mass_g": 12.34, "dp_pa": 2500.0}
READINGS = {
    "run_id": "r1",
    "started_utc": MADE,
    "t_s": [0.0, 0.1, 0.1],
    "mass_g": [10.0, None, 9.9],
    "dp_pa": [None, 2500.0, 2501.0],
    "stable": [True, None, False],
}
STATUS = {
    "state": "online",
    "cause": "running",
    "since": MADE,
    "last_seq": 7,
    "waiting": 0,
    "set_aside": 0,
    "insecure": True,
}


def assessment() -> RecordAssessment:
    """12.3 % as weighed, 12.9 % corrected."""
    return RecordAssessment(
        determinations=1,
        raw_residue_pct=12.3,
        residue_pct=12.9,
        passing_pct=87.1,
        budget=RecordBudget(
            components=(
                RecordComponent(
                    name="endpoint",
                    u=0.05,
                    unit="%",
                    sensitivity=1.0,
                    contribution_pct=0.05,
                    dof=None,
                    basis="still passing 0.2 %/min when stopped",
                ),
            ),
            not_included=(RecordNotIncluded(name="aperture", reason="no slope"),),
            u_pct=0.05,
            dof=None,
            coverage=0.95,
            k=1.96,
            expanded_u_pct=0.098,
        ),
        corrected=RecordCorrection(
            sieve_id="S-45-01",
            raw_residue_pct=12.3,
            raw_residue_u_pct=0.05,
            residue_pct=12.9,
            residue_u_pct=0.05,
            factor=12.9 / 12.3,
            factor_u=0.001,
            certified_pct=12.9,
            certified_u_pct=0.01,
            found_pct=12.3,
            found_u_pct=0.01,
            checked_on="2026-01-12",
            certificate="RP-7",
        ),
        uncorrected="",
        decision=RecordDecision(
            outcome="accept",
            rule="simple",
            guard_pct=0.0,
            low_pct=None,
            high_pct=15.0,
            probability=1.0,
            text="accept",
        ),
        undecided="",
        twice_as_long_loss_pct=0.9,
        residue_text="12.9",
        passing_text="87.1",
        expanded_u_text="0.098",
        rounding_text="to 0.1",
        statement="residue 12.9 %",
    )


def record() -> Record:
    return Record(
        schema=RECORD_SCHEMA,
        run_id="00000000-0000-7000-8000-000000000001",
        revision=1,
        review="unreviewed",
        site="lab",
        bench="a1",
        arrangement="beside",
        simulated=True,
        insecure_broker=True,
        software="0.1.0",
        operator_id="op-1",
        cautions_acknowledged_by="op-1",
        sample=RecordSample(sample_id="s-1", lot="lot-1", point="mill 2", sampled_at=MADE),
        method=RecordMethod(
            id="cement-45",
            title="Cement on 45 µm",
            revision=3,
            source="bench",
            mode="interval",
            rule="loss-rate",
            sha256="0" * 64,
            frozen={"method": {"id": "cement-45"}},
        ),
        aperture_um=45.0,
        bench_sha256="1" * 64,
        rig_sha256=None,
        sieve=RecordSieve(
            id="S-45-01",
            registered=True,
            frame_mm=200.0,
            standard="ISO 3310-1:2016",
            certificate="",
            certified_on="",
            mean_aperture_um=None,
            mean_aperture_u_um=None,
            runs_before=12,
            last_tare_g=412.021,
            last_tare_at=MADE,
        ),
        fitness=(RecordFitness(what="balance", standing="fit", text="checked 2 h ago"),),
        register_head="3:" + "4" * 64,
        started_at=MADE,
        tested_at=MADE,
        outcome="endpoint",
        reason="loss rate below its limit",
        endpoint=RecordEndpoint(value=0.2, value_u=0.01, limit=0.4, unit="%/min", text="0.20 of 0.40 %/min"),
        times=RecordTimes(
            effective_s=300.0, decision_s=310.0, suction_off_s=314.0, out_of_band_s=2.0, unread_s=0.0
        ),
        displays=RecordDisplays(mass_digit_g=0.001, dp_digit_pa=0.1),
        tare_g=412.02,
        weighings=(
            RecordWeighing(effective_s=0.0, gross_g=422.02, load_g=10.0, load_pct=100.0, typed=False),
        ),
        result=RecordResult(
            charge_g=10.0,
            residue_g=1.23,
            residue_pct=12.3,
            passing_pct=87.7,
            residue_u_weighing_pct=0.02,
            below_minimum_weight=False,
            live_difference_pct=None,
            warnings=(),
        ),
        assessment=assessment(),
        limits=RecordLimits(residue_max_pct=15.0, residue_min_pct=None),
        deviations=(RecordDeviation(key="late-suction-off", text="suction off 20 s after the decision"),),
        journal=RecordJournal(events=9, head_batch=4, head_sha256="2" * 64),
        operator_name="Operator One",
    )


def item(kind: MessageKind, body: dict[str, Any], *, seq: int = 7, created_at: str = MADE) -> OutboxItem:
    return OutboxItem(
        seq=seq, message_id=f"id-{seq}", kind=kind, created_at=created_at, body=body, attempts=0
    )
