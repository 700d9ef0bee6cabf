"""What a watcher is shown: one plain picture of bench and run, made by the service, drawn by the console.

Everything is data; texts are already sentences in the operator's words. Instrument and sample texts in
it are shown literally. Times in s on the bench clock, masses in g, pressures in Pa, shares in % of the
charge.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

LinkState = Literal["up", "silent", "lost", "absent", "wrong-instrument"]
Level = Literal["info", "notice", "warning", "alarm"]
Mark = Literal[
    "",
    "weighed",
    "held",
    "resumed",
    "stopped",
    "endpoint",
    "time-limit",
    "out-of-band",
    "tapped",
    "brushed",
    "lumps",
    "noted",
    "knocked",
]
"""What a chart of the run marks; "" for an event that it does not show."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LinkView:
    """One link: of an instrument, or of the permit relay where the bench has one.

    `age_s` is the age of the last good reading, or of the relay's last answer; None before the first.
    """

    channel: Literal["mass", "pressure", "permit"]
    port: str
    profile: str
    state: LinkState
    age_s: float | None
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class MassView:
    """What the balance shows now (gross), None while there is no usable number."""

    value_g: float | None
    stable: bool
    quality: str
    decimals: int
    raw: str


@dataclass(frozen=True, slots=True, kw_only=True)
class PressureView:
    """Differential pressure across the sieve and the method's band (None without a method)."""

    dp_pa: float | None
    quality: str
    nominal_pa: float | None
    low_pa: float | None
    high_pa: float | None
    in_band: bool
    lid: str
    """Sentence about the lid: may be opened, closed under pressure, or pressure unknown."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Instruction:
    """The one thing to do now. `key` is for programs, `text` for people, `detail` adds a line."""

    key: str
    text: str
    detail: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class AlarmView:
    """Something that needs a person; stays until its cause is gone."""

    key: str
    level: Level
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class WeighingView:
    """One weighing of sieve and load after `effective_s` of sieving; the charge is at 0."""

    effective_s: float
    load_g: float
    load_pct: float


@dataclass(frozen=True, slots=True, kw_only=True)
class RateView:
    """Loss rate against its limit. `open_conditions` says what still keeps the run going."""

    rate_pct_per_min: float | None
    rate_u_pct_per_min: float | None
    limit_pct_per_min: float | None
    text: str
    open_conditions: tuple[str, ...]
    forecast_s: float | None
    forecast_low_s: float | None
    forecast_high_s: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class ResultView:
    """The figures of a finished run, with standard uncertainties (k = 1), and how it stands against its limits.

    `decision` is empty while there is none; `decided` says in a few words by which limit, or why there is none.
    """

    outcome: str
    residue_pct: float | None
    residue_u_pct: float | None
    passing_pct: float | None
    residue_g: float | None
    reason: str
    decision: Literal["", "accept", "inconclusive", "reject"] = ""
    decided: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class RunView:
    """The run on the bench, from planned to awaiting review."""

    run_id: str
    sample_id: str
    operator_id: str
    lot: str
    method_id: str
    method_title: str
    method_revision: int
    mode: Literal["live", "interval"]
    rule: str
    aperture_um: float
    charge_target_g: float
    charge_tolerance_g: float
    charge_g: float | None
    tare_g: float | None
    elapsed_s: float | None
    effective_s: float
    interval_done_s: float
    interval_target_s: float | None
    min_time_s: float
    max_time_s: float
    out_of_band_s: float
    load_g: float | None
    load_pct: float | None
    weighings: tuple[WeighingView, ...]
    rate: RateView
    result: ResultView | None
    held_reason: str


@dataclass(frozen=True, slots=True, kw_only=True)
class EventView:
    """One line of the run's log. The times are None before the suction was on."""

    seq: int
    utc: str
    kind: str
    level: Level
    text: str
    mark: Mark = ""
    elapsed_s: float | None = None
    effective_s: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class BrokerView:
    """The way to the plant: state in words, messages waiting, age of the last acknowledgement."""

    state: Literal["off", "connecting", "up", "down", "refused"]
    text: str
    waiting: int
    set_aside: int
    last_ack_age_s: float | None
    insecure: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class NextRunView:
    """What the sample on the bench still needs, offered as soon as its run is over.

    `text` says what; with `complete` nothing more is needed, and it says what to do with the results.
    """

    text: str
    complete: bool
    method_id: str
    sample_id: str
    operator_id: str
    lot: str
    point: str
    sampled_at: str
    sieve_id: str
    aperture_um: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class MethodView:
    """A method that may be chosen for a run."""

    id: str
    title: str
    revision: int
    summary: str
    apertures_um: tuple[float, ...] = ()
    frame_mm: float = 200.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Snapshot:
    """All of it. `can` names the commands that would be accepted now."""

    software: str
    site: str
    bench: str
    arrangement: str
    speed: float
    simulated: bool
    utc: str
    state: str
    instruction: Instruction
    can: tuple[str, ...]
    alarms: tuple[AlarmView, ...]
    links: tuple[LinkView, ...]
    mass: MassView
    pressure: PressureView
    run: RunView | None
    events: tuple[EventView, ...]
    broker: BrokerView
    methods: tuple[MethodView, ...]
    cautions: tuple[str, ...]
    controls_held_by: str
    you_hold_controls: bool
    next_run: NextRunView | None = None
    revised: int = 0
    """Reviews, corrections and invalidations since the service started: what a console shows of a kept run may be old."""
