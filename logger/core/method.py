"""The test method: what an SOP fixes before the run. Plain data that checks itself.

Every class refuses values that cannot be meant, with a sentence for the person who wrote the file.
Masses in g, pressures in Pa (a positive number is suction), times in s, shares in % of the charge.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any, ClassVar, Literal

STRICT: dict[str, Any] = {"extra": "forbid", "strict": True, "allow_inf_nan": False}
"""Read by the file loader: unknown keys, text where a number belongs, nan and inf are errors."""

WeighingMode = Literal["live", "interval"]
RuleName = Literal["loss-rate", "relative-change", "fixed-time"]


def _require(condition: bool, sentence: str) -> None:
    if not condition:
        raise ValueError(sentence)


def _positive(**values: float | None) -> None:
    for name, value in values.items():
        _require(value is None or value > 0, f"{name} must be above zero, not {value}")


def _not_negative(**values: float | None) -> None:
    for name, value in values.items():
        _require(value is None or value >= 0, f"{name} must not be negative, is {value}")


@dataclass(frozen=True, slots=True, kw_only=True)
class MethodIdentity:
    """Who the method is: id and revision name it for ever once it was used."""

    __pydantic_config__: ClassVar[dict[str, Any]] = STRICT
    id: str
    title: str
    revision: int = 1
    material: str = ""
    source: str = ""

    def __post_init__(self) -> None:
        _require(bool(self.id.strip()), "id must not be empty")
        _positive(revision=self.revision)


@dataclass(frozen=True, slots=True, kw_only=True)
class Charge:
    """The test portion put on the sieve."""

    __pydantic_config__: ClassVar[dict[str, Any]] = STRICT
    mass_g: float
    tolerance_g: float

    def __post_init__(self) -> None:
        _positive(mass_g=self.mass_g, tolerance_g=self.tolerance_g)
        _require(self.tolerance_g < self.mass_g, "tolerance_g must be smaller than mass_g")


@dataclass(frozen=True, slots=True, kw_only=True)
class Sieve:
    """The test sieve asked for. Several apertures mean one determination on each."""

    __pydantic_config__: ClassVar[dict[str, Any]] = STRICT
    aperture_um: float | None = None
    apertures_um: tuple[float, ...] = ()
    frame_mm: float = 200.0
    portion: Literal["fresh", "same"] = "fresh"
    correction: Literal["none", "reference-powder"] = "none"

    def __post_init__(self) -> None:
        given = (self.aperture_um is not None) + bool(self.apertures_um)
        _require(given == 1, "give either aperture_um or apertures_um")
        _positive(aperture_um=self.aperture_um, frame_mm=self.frame_mm)
        for value in self.apertures_um:
            _positive(apertures_um=value)
        _require(
            list(self.apertures_um) == sorted(set(self.apertures_um)),
            "apertures_um must rise from the finest sieve, each once",
        )

    @property
    def all_um(self) -> tuple[float, ...]:
        """Every aperture, finest first."""
        return self.apertures_um or ((self.aperture_um,) if self.aperture_um else ())


@dataclass(frozen=True, slots=True, kw_only=True)
class Suction:
    """Differential pressure across the sieve: nominal, half-width of its band, time to settle."""

    __pydantic_config__: ClassVar[dict[str, Any]] = STRICT
    dp_pa: float
    band_pa: float
    settle_s: float = 5.0

    def __post_init__(self) -> None:
        _positive(dp_pa=self.dp_pa, band_pa=self.band_pa)
        _not_negative(settle_s=self.settle_s)
        _require(self.band_pa < self.dp_pa, "band_pa is a half-width and must be smaller than dp_pa")


@dataclass(frozen=True, slots=True, kw_only=True)
class Nozzle:
    """Rotating slotted nozzle below the mesh."""

    __pydantic_config__: ClassVar[dict[str, Any]] = STRICT
    speed_rpm: float = 20.0

    def __post_init__(self) -> None:
        _positive(speed_rpm=self.speed_rpm)


@dataclass(frozen=True, slots=True, kw_only=True)
class Preparation:
    """What happens to the portion before it is weighed; shown to the operator as a checklist."""

    __pydantic_config__: ClassVar[dict[str, Any]] = STRICT
    drying: str = ""
    sieving_aid: str = ""
    sieving_aid_pct: float = 0.0
    humidity_min_pct: float = 0.0
    humidity_max_pct: float = 100.0
    checklist: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        _not_negative(sieving_aid_pct=self.sieving_aid_pct, humidity_min_pct=self.humidity_min_pct)
        _require(self.humidity_min_pct <= self.humidity_max_pct, "humidity_min_pct is above humidity_max_pct")


@dataclass(frozen=True, slots=True, kw_only=True)
class Weighing:
    """How mass is read: on a bench balance between intervals, or under the rig while the jet runs."""

    __pydantic_config__: ClassVar[dict[str, Any]] = STRICT
    mode: WeighingMode
    rest_s: float = 60.0
    first_interval_s: float | None = None
    interval_s: float | None = None
    propose_interval: bool = False
    reconcile_pct: float = 1.0

    def __post_init__(self) -> None:
        _not_negative(rest_s=self.rest_s)
        _positive(
            first_interval_s=self.first_interval_s,
            interval_s=self.interval_s,
            reconcile_pct=self.reconcile_pct,
        )

    @property
    def first_s(self) -> float:
        """Effective seconds of the first interval; 0 where none is set (live mode)."""
        return self.first_interval_s or self.interval_s or 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Endpoint:
    """When the run is over. `min_time_s`, `time_s` are effective; `max_time_s` is elapsed since suction start."""

    __pydantic_config__: ClassVar[dict[str, Any]] = STRICT
    rule: RuleName
    limit_pct_per_min: float | None = None
    margin: float = 1.25
    change_pct: float | None = None
    change_g: float | None = None
    combine: Literal["either", "both"] = "either"
    small_residue_pct: float | None = None
    small_change_pct: float | None = None
    time_s: float | None = None
    min_time_s: float = 60.0
    max_time_s: float = 1200.0
    hold_max_s: float = 600.0

    def __post_init__(self) -> None:
        _positive(
            limit_pct_per_min=self.limit_pct_per_min,
            change_pct=self.change_pct,
            change_g=self.change_g,
            small_residue_pct=self.small_residue_pct,
            small_change_pct=self.small_change_pct,
            time_s=self.time_s,
            max_time_s=self.max_time_s,
            hold_max_s=self.hold_max_s,
        )
        _not_negative(min_time_s=self.min_time_s)
        _require(self.margin > 1, "margin is a factor above 1 (1.25 by default)")
        _require(self.min_time_s < self.max_time_s, "min_time_s must be shorter than max_time_s")
        self._check_rule()

    def _check_rule(self) -> None:
        own = {
            "loss-rate": {"limit_pct_per_min"},
            "relative-change": {"change_pct", "change_g", "small_residue_pct", "small_change_pct"},
            "fixed-time": {"time_s"},
        }
        for rule, keys in own.items():
            for key in sorted(keys):
                foreign = rule != self.rule and getattr(self, key) is not None
                _require(
                    not foreign, f'{key} belongs to rule = "{rule}", this method has rule = "{self.rule}"'
                )
        if self.rule == "loss-rate":
            _require(self.limit_pct_per_min is not None, 'rule = "loss-rate" needs limit_pct_per_min')
        if self.rule == "fixed-time":
            _require(self.time_s is not None, 'rule = "fixed-time" needs time_s')
            _require((self.time_s or 0) < self.max_time_s, "time_s must be shorter than max_time_s")
        if self.rule == "relative-change":
            some = self.change_pct is not None or self.change_g is not None
            _require(some, 'rule = "relative-change" needs change_pct or change_g')
            pair = (self.small_residue_pct is None) == (self.small_change_pct is None)
            _require(pair, "small_residue_pct and small_change_pct go together")


@dataclass(frozen=True, slots=True, kw_only=True)
class Determinations:
    """How often the test is repeated and how the results are joined."""

    __pydantic_config__: ClassVar[dict[str, Any]] = STRICT
    count: int = 1
    repeatability_limit_pct: float | None = None
    statistic: Literal["mean", "median"] = "mean"

    def __post_init__(self) -> None:
        _positive(count=self.count, repeatability_limit_pct=self.repeatability_limit_pct)


@dataclass(frozen=True, slots=True, kw_only=True)
class ResultRules:
    """Rounding, limits and the decision rule. Limits are frozen before a result exists."""

    __pydantic_config__: ClassVar[dict[str, Any]] = STRICT
    decimals: int = 1
    rounding: Literal["half-even", "half-up"] = "half-even"
    residue_max_pct: float | None = None
    residue_min_pct: float | None = None
    rule: Literal["simple", "guarded-accept", "guarded-reject"] = "simple"
    guard: float = 1.0
    coverage: float = 0.95

    def __post_init__(self) -> None:
        _require(0 <= self.decimals <= 4, f"decimals must be 0 to 4, not {self.decimals}")
        _not_negative(guard=self.guard, residue_min_pct=self.residue_min_pct)
        _require(0.5 < self.coverage < 1, f"coverage is a probability between 0.5 and 1, not {self.coverage}")
        low, high = self.residue_min_pct, self.residue_max_pct
        _require(high is None or 0 <= high <= 100, f"residue_max_pct must be 0 to 100, not {high}")
        _require(low is None or high is None or low < high, "residue_min_pct must be below residue_max_pct")


@dataclass(frozen=True, slots=True, kw_only=True)
class Precautions:
    """Lines shown beside the general cautions and acknowledged before the run."""

    __pydantic_config__: ClassVar[dict[str, Any]] = STRICT
    lines: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Method:
    """A whole method. Required tables: method, charge, sieve, suction, weighing, endpoint."""

    __pydantic_config__: ClassVar[dict[str, Any]] = STRICT
    method: MethodIdentity
    charge: Charge
    sieve: Sieve
    suction: Suction
    weighing: Weighing
    endpoint: Endpoint
    nozzle: Nozzle = field(default_factory=Nozzle)
    preparation: Preparation = field(default_factory=Preparation)
    determinations: Determinations = field(default_factory=Determinations)
    result: ResultRules = field(default_factory=ResultRules)
    precautions: Precautions = field(default_factory=Precautions)

    def __post_init__(self) -> None:
        interval = self.weighing.mode == "interval"
        fixed_time = self.endpoint.rule == "fixed-time"
        if interval and not fixed_time:
            _require(
                self.weighing.interval_s is not None, 'weighing.mode = "interval" needs weighing.interval_s'
            )
        if self.endpoint.rule == "relative-change":
            _require(interval, 'endpoint.rule = "relative-change" needs weighing.mode = "interval"')
