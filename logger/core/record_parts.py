"""The parts of a run's record. Field names carry their unit; uncertainties are standard uncertainties (k = 1)
unless named expanded. A field is only ever added (docs/schema-changes.md).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Literal

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
    """Effective sieving time; decision and suction off as elapsed since the suction was first seen on.

    Beside the effective time, the time with the suction on that counted as none: with the pressure outside
    its band, and with no pressure read. Null where it was not counted.
    """

    effective_s: float
    decision_s: float | None
    suction_off_s: float | None
    out_of_band_s: float | None
    unread_s: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class RecordDisplays:
    """One digit of each display when the run began, as the lines showed it; null where they did not."""

    mass_digit_g: float | None
    dp_digit_pa: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class RecordResult:
    """Residue and passing as weighed, unrounded and never corrected; `assessment` holds what is reported."""

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
class RecordSieve:
    """The test sieve by its id. Figures are null when it is not `registered`."""

    id: str
    registered: bool
    frame_mm: float | None
    standard: str | None
    certificate: str | None
    certified_on: str | None
    mean_aperture_um: float | None
    mean_aperture_u_um: float | None
    runs_before: int | None
    last_tare_g: float | None
    """Its last tare after cleaning."""
    last_tare_at: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class RecordFitness:
    """How a piece of equipment stood at the start, by the register and the bench's rules."""

    what: Literal["balance", "pressure", "sieve"]
    standing: Literal["fit", "due", "failed", "not asked"]
    text: str


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


@dataclass(frozen=True, slots=True, kw_only=True)
class RecordApproval:
    """Who approved the method and from when on it is in force, as it stood at the start."""

    approved_by: str
    name: str
    effective_from: str
    approved_at: str


@dataclass(frozen=True, slots=True, kw_only=True)
class RecordEarlier:
    """An earlier run of the same sample by the same method; its newest revision at that time."""

    number: int
    run_id: str
    revision: int
    outcome: str
    residue_pct: float | None
    decision: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class RecordRepeat:
    """Why a sample was tested again after a result out of specification, and every result before."""

    reason: str
    earlier: tuple[RecordEarlier, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class RecordConditions:
    """Air at the bench (°C, % relative humidity) and the extractor's newest part, as entered before the run.

    Null where it was not entered, or the air was measured too long before. `part_runs` counts earlier runs.
    """

    temperature_c: float | None
    humidity_pct: float | None
    air_measured_at: str | None
    air_measured_by: str | None
    part: Literal["bag", "filter"] | None
    part_changed_at: str | None
    part_runs: int | None


@dataclass(frozen=True, slots=True, kw_only=True)
class RecordPortion:
    """The portion was what run number `from_run` left on the next finer sieve, `mass_g` as weighed there."""

    from_run: int
    run_id: str
    mass_g: float


@dataclass(frozen=True, slots=True, kw_only=True)
class RecordCare:
    """The sieve inspected and cleaned before or after the run, or deposits seen on the lid.

    What is noted after the record was issued stands in the run's events only.
    """

    when: Literal["before", "after", "lid"]
    in_order: bool
    note: str
    text: str
    by: str
    at: str


@dataclass(frozen=True, slots=True, kw_only=True)
class RecordJournal:
    """Where the run's journal stands: number of events, and the chain's head after the last of them."""

    events: int
    head_batch: int
    head_sha256: str
