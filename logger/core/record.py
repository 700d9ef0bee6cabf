"""The record of a run: what is kept, published, printed and signed. Built from the run's facts alone.

Field names carry their unit. Uncertainties are standard uncertainties (k = 1). A record without a result
(aborted, interrupted, invalid) has `result` null and can never be read as one.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any, Literal

from logger.core.run.facts import RunFacts, Weighed
from logger.core.run.plan import sha256_json
from logger.core.run.states import RunState

RECORD_SCHEMA = "lastgrain/record/1"

Outcome = Literal["endpoint", "time-limit", "stopped", "aborted", "interrupted", "invalid"]


@dataclass(frozen=True, slots=True, kw_only=True)
class RecordSample:
    """What was tested. Texts as typed or scanned."""

    sample_id: str
    lot: str
    point: str
    sampled_at: str


@dataclass(frozen=True, slots=True, kw_only=True)
class RecordMethod:
    """The method as frozen at the start, with the hash of its canonical JSON."""

    id: str
    title: str
    revision: int
    source: str
    mode: Literal["live", "interval"]
    rule: Literal["loss-rate", "relative-change", "fixed-time"]
    sha256: str
    frozen: dict[str, Any]


@dataclass(frozen=True, slots=True, kw_only=True)
class RecordWeighing:
    """One weighing; the first is the charge at 0 s."""

    effective_s: float
    gross_g: float
    load_g: float
    load_pct: float
    typed: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class RecordEndpoint:
    """The decision with its numbers: a rate in %/min, a change in % or g, or a time in s (see `unit`)."""

    value: float | None
    value_u: float | None
    limit: float | None
    unit: str
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class RecordTimes:
    """Effective sieving time; decision and suction off as elapsed since the suction was first seen on."""

    effective_s: float
    decision_s: float | None
    suction_off_s: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class RecordResult:
    """Residue and passing of this determination, unrounded and not corrected for the sieve."""

    charge_g: float
    residue_g: float
    residue_pct: float
    passing_pct: float
    residue_u_weighing_pct: float
    below_minimum_weight: bool
    live_difference_pct: float | None
    """Live load less weighed residue, % of the charge; null in interval mode."""
    warnings: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class RecordLimits:
    """The specification, frozen before the result was known."""

    residue_max_pct: float | None
    residue_min_pct: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class RecordDeviation:
    """A departure from the method, as noticed."""

    key: str
    text: str


@dataclass(frozen=True, slots=True)
class ChainHead:
    """The newest batch of the journal's hash chain; written `BATCH:SHA256` where people keep it."""

    batch: int
    sha256: str

    def __str__(self) -> str:
        return f"{self.batch}:{self.sha256}"


@dataclass(frozen=True, slots=True, kw_only=True)
class RecordJournal:
    """Where the run's journal stands: number of events, and the chain's head after the last of them."""

    events: int
    head_batch: int
    head_sha256: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Record:
    """One run, whole."""

    schema: str
    run_id: str
    revision: int
    review: Literal["unreviewed", "accepted", "rejected"]
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
    started_at: str
    tested_at: str
    outcome: Outcome
    reason: str
    endpoint: RecordEndpoint | None
    times: RecordTimes
    tare_g: float | None
    weighings: tuple[RecordWeighing, ...]
    result: RecordResult | None
    limits: RecordLimits
    deviations: tuple[RecordDeviation, ...]
    journal: RecordJournal

    def body(self) -> dict[str, Any]:
        """As JSON values, with the SHA-256 of everything else in `record_sha256`."""
        plain: dict[str, Any] = asdict(self)
        plain["weighings"] = list(plain["weighings"])
        plain["deviations"] = list(plain["deviations"])
        if plain["result"] is not None:
            plain["result"]["warnings"] = list(plain["result"]["warnings"])
        return plain | {"record_sha256": sha256_json(plain)}


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
        started_at=facts.started_utc,
        tested_at=facts.ended_utc,
        outcome=_outcome(facts),
        reason=facts.ended_reason,
        endpoint=_endpoint(facts),
        times=_times(facts),
        tare_g=facts.tare_g,
        weighings=tuple(_weighing(weighed, facts.charge_g) for weighed in facts.weighings),
        result=_result(facts),
        limits=_limits(plan),
        deviations=tuple(RecordDeviation(**entry) for entry in facts.deviations),
        journal=RecordJournal(events=facts.events, head_batch=head.batch, head_sha256=head.sha256),
    )


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


def _weighing(weighed: Weighed, charge_g: float | None) -> RecordWeighing:
    return RecordWeighing(
        effective_s=weighed.effective_s,
        gross_g=weighed.gross_g,
        load_g=weighed.load_g,
        load_pct=100 * weighed.load_g / (charge_g or weighed.load_g or 1.0),
        typed=weighed.typed,
    )


def _endpoint(facts: RunFacts) -> RecordEndpoint | None:
    decision = facts.decision
    if not decision:
        return None
    return RecordEndpoint(**{key: decision[key] for key in ("value", "value_u", "limit", "unit", "text")})


def _times(facts: RunFacts) -> RecordTimes:
    effective_s = facts.weighings[-1].effective_s if facts.weighings else 0.0
    decision_s = None if facts.decision_s is None else round(facts.decision_s, 3)
    return RecordTimes(effective_s=effective_s, decision_s=decision_s, suction_off_s=facts.suction_off_s)


def _result(facts: RunFacts) -> RecordResult | None:
    if facts.state not in (RunState.AWAITING_REVIEW, RunState.CLOSED):
        return None
    return RecordResult(**(facts.result | {"warnings": tuple(facts.result["warnings"])}))


def _limits(plan: dict[str, Any]) -> RecordLimits:
    rules = plan["method"]["result"]
    return RecordLimits(residue_max_pct=rules["residue_max_pct"], residue_min_pct=rules["residue_min_pct"])
