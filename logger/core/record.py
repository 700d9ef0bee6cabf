"""The record of a run: what is kept, published, printed and signed. Built from the run's facts alone.

Field names carry their unit. Uncertainties are standard uncertainties (k = 1) unless named expanded. A record
without a result (aborted, interrupted, invalid) has `result` null and can never be read as one.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any, Literal

from logger.core.record_assessment import RecordAssessment, read_assessment
from logger.core.record_parts import (
    Outcome,
    RecordApproval,
    RecordCare,
    RecordConditions,
    RecordDeviation,
    RecordDisplays,
    RecordEarlier,
    RecordEndpoint,
    RecordFitness,
    RecordJournal,
    RecordLimits,
    RecordMethod,
    RecordPortion,
    RecordRepeat,
    RecordResult,
    RecordSample,
    RecordSieve,
    RecordTimes,
    RecordWeighing,
)
from logger.core.review import Correction, Invalidation, ReviewState, Signature
from logger.core.run.facts import RunFacts, Weighed
from logger.core.run.plan import sha256_json
from logger.core.run.states import RunState

RECORD_SCHEMA = "lastgrain/record/1"


@dataclass(frozen=True, slots=True)
class ChainHead:
    """The newest batch of the journal's hash chain; written `BATCH:SHA256` where people keep it."""

    batch: int
    sha256: str

    def __str__(self) -> str:
        return f"{self.batch}:{self.sha256}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Record:
    """One run, whole."""

    schema: str
    run_id: str
    revision: int
    review: ReviewState
    """Accepted or rejected by the last of `signatures`; a correction makes it unreviewed again."""
    site: str
    bench: str
    arrangement: Literal["beside", "under"]
    simulated: bool
    insecure_broker: bool
    software: str
    operator_id: str
    cautions_acknowledged_by: str
    sample: RecordSample
    method: RecordMethod
    aperture_um: float
    bench_sha256: str
    rig_sha256: str | None
    sieve: RecordSieve | None
    fitness: tuple[RecordFitness, ...]
    register_head: str
    """Newest entry of the register at the start, NUMBER:SHA256; empty without one."""
    started_at: str
    tested_at: str
    outcome: Outcome
    reason: str
    endpoint: RecordEndpoint | None
    times: RecordTimes
    displays: RecordDisplays
    tare_g: float | None
    weighings: tuple[RecordWeighing, ...]
    result: RecordResult | None
    assessment: RecordAssessment | None
    limits: RecordLimits
    deviations: tuple[RecordDeviation, ...]
    journal: RecordJournal
    operator_name: str | None = None
    """The operator's name by the register of people; null where `operator_id` was typed."""
    approval: RecordApproval | None = None
    repeat: RecordRepeat | None = None
    signatures: tuple[Signature, ...] = ()
    """Oldest first. Each names the revision it was given over."""
    corrections: tuple[Correction, ...] = ()
    invalidation: Invalidation | None = None
    """Where it is there, `outcome` is invalid, and there is no result; the revision before has the figures."""
    conditions: RecordConditions | None = None
    portion: RecordPortion | None = None
    """Null for a fresh test portion."""
    sieve_care: tuple[RecordCare, ...] = ()

    def body(self) -> dict[str, Any]:
        """As JSON values, with the SHA-256 of everything else in `record_sha256`."""
        plain: dict[str, Any] = _listed(asdict(self))
        return plain | {"record_sha256": sha256_json(plain)}


def _listed(value: Any) -> Any:
    """Tuples as lists, as they come back from JSON."""
    if isinstance(value, dict):
        return {name: _listed(item) for name, item in value.items()}
    return [_listed(item) for item in value] if isinstance(value, list | tuple) else value


def build_record(run_id: str, facts: RunFacts, head: ChainHead) -> Record:
    """The first revision of the record of an ended run. Raises ValueError while the run is open."""
    plan = facts.plan
    sample, bench = plan["sample"], plan["bench"]
    return Record(
        schema=RECORD_SCHEMA,
        run_id=run_id,
        revision=1,
        review="unreviewed",
        site=bench["site"],
        bench=bench["bench"],
        arrangement=bench["arrangement"],
        simulated=plan["simulated"],
        insecure_broker=bench["insecure_broker"],
        software=plan["software"],
        operator_id=sample["operator_id"],
        cautions_acknowledged_by=facts.cautions_by,
        sample=RecordSample(**{key: sample[key] for key in ("sample_id", "lot", "point", "sampled_at")}),
        method=_method(plan),
        aperture_um=plan["aperture_um"],
        bench_sha256=plan["bench_sha256"],
        rig_sha256=plan["rig_sha256"],
        sieve=_sieve(plan),
        fitness=tuple(RecordFitness(**entry) for entry in plan.get("fitness", ())),
        register_head=plan.get("register_head", ""),
        started_at=facts.started_utc,
        tested_at=facts.ended_utc,
        outcome=_outcome(facts),
        reason=facts.ended_reason,
        endpoint=record_endpoint(facts),
        times=_times(facts),
        displays=RecordDisplays(mass_digit_g=facts.mass_digit_g, dp_digit_pa=facts.dp_digit_pa),
        tare_g=facts.tare_g,
        weighings=tuple(record_weighing(weighed, facts.charge_g) for weighed in facts.weighings),
        result=_result(facts),
        assessment=read_assessment(facts.result.get("assessment")) if _has_result(facts) else None,
        limits=_limits(plan),
        deviations=tuple(RecordDeviation(**entry) for entry in facts.deviations),
        journal=RecordJournal(events=facts.events, head_batch=head.batch, head_sha256=head.sha256),
        operator_name=plan.get("operator_name"),
        approval=_approval(plan.get("approval")),
        repeat=_repeat(plan.get("repeat")),
        conditions=RecordConditions(**plan["conditions"]) if plan.get("conditions") else None,
        portion=RecordPortion(**plan["portion"]) if plan.get("portion") else None,
        sieve_care=record_care(facts),
    )


def record_care(facts: RunFacts) -> tuple[RecordCare, ...]:
    """What is known of the sieve's care so far, oldest first."""
    names = ("when", "in_order", "note", "text", "by")
    return tuple(RecordCare(**{name: entry[name] for name in names}, at=entry["utc"]) for entry in facts.care)


_BY_STATE: dict[RunState, Outcome] = {
    RunState.ABORTED: "aborted",
    RunState.INTERRUPTED: "interrupted",
    RunState.INVALID: "invalid",
}


def _outcome(facts: RunFacts) -> Outcome:
    if facts.state in _BY_STATE:
        return _BY_STATE[facts.state]
    if facts.state in (RunState.AWAITING_REVIEW, RunState.CLOSED) and facts.outcome:
        return facts.outcome
    raise ValueError(f"the run is {facts.state.value}: it has no record yet")


def _method(plan: dict[str, Any]) -> RecordMethod:
    method = plan["method"]
    head = method["method"]
    return RecordMethod(
        id=head["id"],
        title=head["title"],
        revision=head["revision"],
        source=head["source"],
        mode=method["weighing"]["mode"],
        rule=method["endpoint"]["rule"],
        sha256=plan["method_sha256"],
        frozen=method,
    )


def record_weighing(weighed: Weighed, charge_g: float | None) -> RecordWeighing:
    """A weighing as the record has it."""
    return RecordWeighing(
        effective_s=weighed.effective_s,
        gross_g=weighed.gross_g,
        load_g=weighed.load_g,
        load_pct=100 * weighed.load_g / (charge_g or weighed.load_g or 1.0),
        typed=weighed.typed,
    )


def record_endpoint(facts: RunFacts) -> RecordEndpoint | None:
    """The decision as the record has it; None before the first."""
    decision = facts.decision
    if not decision:
        return None
    return RecordEndpoint(**{key: decision[key] for key in ("value", "value_u", "limit", "unit", "text")})


def _times(facts: RunFacts) -> RecordTimes:
    effective_s = facts.weighings[-1].effective_s if facts.weighings else 0.0
    decision_s = None if facts.decision_s is None else round(facts.decision_s, 3)
    return RecordTimes(
        effective_s=effective_s,
        decision_s=decision_s,
        suction_off_s=facts.suction_off_s,
        out_of_band_s=facts.out_of_band_s,
        unread_s=facts.unread_s,
    )


def _result(facts: RunFacts) -> RecordResult | None:
    if not _has_result(facts):
        return None
    kept = {name: facts.result[name] for name in RecordResult.__dataclass_fields__}
    return RecordResult(**(kept | {"warnings": tuple(kept["warnings"])}))


def _has_result(facts: RunFacts) -> bool:
    return facts.state in (RunState.AWAITING_REVIEW, RunState.CLOSED)


def _sieve(plan: dict[str, Any]) -> RecordSieve | None:
    """The sieve of the plan; None when none was named, and in plans of a version that knew no sieves."""
    sieve_id, planned = plan.get("sieve_id", ""), plan.get("sieve")
    if not sieve_id:
        return None
    known = {} if planned is None else planned["sieve"]
    names = ("frame_mm", "standard", "certificate", "certified_on", "mean_aperture_um", "mean_aperture_u_um")
    return RecordSieve(
        id=sieve_id,
        registered=planned is not None,
        **{name: known.get(name) for name in names},
        runs_before=None if planned is None else planned["runs_before"],
        last_tare_g=None if planned is None else planned["last_tare_g"],
        last_tare_at=None if planned is None else planned["last_tare_utc"] or None,
    )


def _approval(planned: dict[str, Any] | None) -> RecordApproval | None:
    if planned is None:
        return None
    return RecordApproval(
        approved_by=planned["approved_by"],
        name=planned["name"],
        effective_from=planned["effective_from"],
        approved_at=planned["approved_utc"],
    )


def _repeat(planned: dict[str, Any] | None) -> RecordRepeat | None:
    if planned is None:
        return None
    names = RecordEarlier.__dataclass_fields__
    earlier = [RecordEarlier(**{name: each[name] for name in names}) for each in planned["earlier"]]
    return RecordRepeat(reason=planned["reason"], earlier=tuple(earlier))


def _limits(plan: dict[str, Any]) -> RecordLimits:
    rules = plan["method"]["result"]
    return RecordLimits(residue_max_pct=rules["residue_max_pct"], residue_min_pct=rules["residue_min_pct"])


def listed_residue_pct(body: dict[str, Any]) -> float | None:
    """The residue that lists and summaries show: corrected where the method corrects, else as weighed."""
    part = body.get("assessment") or body["result"]
    return None if part is None else float(part["residue_pct"])
