"""What stands in each kind of message, beside the envelope. Units are part of the field names.

These models make the JSON Schemas and are checked against every message before it is sent. Consumers
must accept fields they do not know: a newer bench may say more.
"""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field, model_validator

UtcText = Annotated[
    str,
    Field(
        pattern=r"^\d{4}-\d{2}-\d{2}T\d{2}:\d{2}:\d{2}\.\d{3}Z$",
        json_schema_extra={"format": "date-time"},
        description="UTC, ISO 8601 with milliseconds and a Z",
    ),
]
Number = Annotated[float, Field(allow_inf_nan=False)]


class Body(BaseModel):
    """Open to further fields; a known field must have its type (no guessing between text and number)."""

    model_config = ConfigDict(extra="allow", strict=True, use_attribute_docstrings=True)


class StatusBody(Body):
    """Whether this bench is connected. Retained, and the last will."""

    state: Literal["online", "offline"]
    cause: Literal["running", "shut-down", "link-lost"]
    """`link-lost` is the will: the broker sent it because the bench fell silent."""
    since: UtcText
    """Online or shut down since then. In a will: when the connection that was lost had come up."""
    last_seq: int
    """Every seq up to here was handed out. In a will: at the time the lost connection came up."""
    waiting: int
    """Messages not yet acknowledged by the broker."""
    set_aside: int
    """Messages the broker will never take; their seq stay missing until a person sees to them."""
    insecure: bool
    """True when the bench talks to the broker without TLS."""


class LiveBody(Body):
    """The picture of the moment, once a second, QoS 0, never stored: not for results."""

    utc: UtcText
    state: str
    run_id: str | None = None
    mass_g: Number | None = None
    mass_quality: str = ""
    stable: bool | None = None
    dp_pa: Number | None = None
    dp_quality: str = ""
    elapsed_s: Number | None = None
    effective_s: Number | None = None
    load_g: Number | None = None
    load_pct: Number | None = None
    rate_pct_per_min: Number | None = None
    rate_u_pct_per_min: Number | None = None
    limit_pct_per_min: Number | None = None
    forecast_s: Number | None = None


class EventBody(Body):
    """Something that happened on the bench, once, in the past tense."""

    run_id: str | None = None
    kind: str
    """What happened, a stable name in snake_case; new names may come."""
    utc: UtcText
    """When it happened, wall time of the bench."""
    level: Literal["info", "notice", "warning", "alarm"] = "info"
    text: str = ""
    """The same for people."""
    data: dict[str, Any] = Field(default_factory=dict)
    """Figures of the event, units in the names."""


class ReadingsBody(Body):
    """About 10 s of readings as columns of equal length; null where there was no reading."""

    run_id: str
    started_utc: UtcText
    """Wall time at t_s = 0."""
    t_s: list[Number]
    """Bench time since suction start, never falling."""
    mass_g: list[Number | None]
    dp_pa: list[Number | None]
    stable: list[bool | None]

    @model_validator(mode="after")
    def _columns_agree(self) -> ReadingsBody:
        if len({len(self.t_s), len(self.mass_g), len(self.dp_pa), len(self.stable)}) > 1:
            raise ValueError("t_s, mass_g, dp_pa and stable differ in length")
        return self


class RecordBody(Body):
    """A run's record in one revision: what every version of it has.

    The whole of it is logger.core.record.Record, which makes the schema. A record that an older version
    left in the outbox must still go out, so only this much is checked before sending.
    """

    run_id: str
    revision: int
    review: str
    """`unreviewed` until a second person has signed."""
    outcome: str


class LatestBody(Body):
    """Summary of the newest run's record, flat. Masses in g, shares in % of the charge; null: none."""

    run_id: str
    revision: int
    review: str
    simulated: bool | None
    sample_id: str | None
    lot: str | None
    point: str | None
    sampled_at: str | None
    method_id: str | None
    method_revision: int | None
    aperture_um: Number | None
    tested_at: str | None
    outcome: str
    reason: str | None
    charge_g: Number | None
    residue_g: Number | None
    residue_pct: Number | None
    """Corrected for the sieve where the method corrects, unrounded."""
    raw_residue_pct: Number | None
    """As weighed."""
    passing_pct: Number | None
    expanded_u_pct: Number | None
    """Expanded uncertainty of residue and passing; coverage and budget are in the record."""
    decision: str | None
    """accept, inconclusive or reject; null without a decision."""
    residue_max_pct: Number | None
    residue_min_pct: Number | None
    deviations: int
    """How many departures from the method the record lists."""
    record_sha256: str | None
