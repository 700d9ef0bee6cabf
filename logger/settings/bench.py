"""The bench file: what stands on this bench and how it is reached."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, ClassVar, Literal

from logger.core.alarm_limits import AlarmLimits
from logger.core.method import STRICT
from logger.core.register.policy import CheckPolicy
from logger.core.shift.policy import ShiftPolicy
from logger.core.weighing import BalanceSpec
from logger.settings.toml_model import load_toml

_SLUG = re.compile(r"[a-z0-9](?:[a-z0-9-]{0,38}[a-z0-9])?\Z")


def _slug(name: str, value: str) -> None:
    if not _SLUG.match(value):
        raise ValueError(
            f'{name} = "{value}" is used in MQTT topics: lower-case letters, digits and inner hyphens, at most 40'
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class BalancePort:
    """The balance: profile and port, and what its certificate and checks say of it (g).

    Figures from readability to buoyancy are those of `BalanceSpec`, under the same names.
    """

    __pydantic_config__: ClassVar[dict[str, Any]] = STRICT
    profile: str
    port: str
    identity: str = ""
    readability_g: float
    repeatability_g: float
    repeatability_dof: int | None = None
    """Weighings behind the repeatability, less one; left out when it is known well."""
    eccentricity_g: float = 0.0
    linearity_g: float = 0.0
    drift_g: float = 0.0
    buoyancy_g: float = 0.0
    capacity_g: float
    zero_tolerance_g: float = 0.05

    def __post_init__(self) -> None:
        self.spec()

    def spec(self) -> BalanceSpec:
        """What the uncertainty of a weighing needs. Raises ValueError for what cannot be meant."""
        known = {name: getattr(self, name) for name in BalanceSpec.__dataclass_fields__}
        return BalanceSpec(**{name: value for name, value in known.items() if value is not None})


@dataclass(frozen=True, slots=True, kw_only=True)
class PressurePort:
    """The differential-pressure transducer."""

    __pydantic_config__: ClassVar[dict[str, Any]] = STRICT
    profile: str
    port: str
    identity: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class PermitPort:
    """The output to an external relay that stops the suction. It can only permit, never start.

    `heartbeat_s` is the relay's own time-out: it drops out after so long without a heartbeat, which is sent
    five times as often. kind "line": `on_line` and `off_line`, each with carriage return and line feed; the
    relay answers with the one it obeys. kind "modbus": `coil` of `unit_id`, on is the heartbeat.
    """

    __pydantic_config__: ClassVar[dict[str, Any]] = STRICT
    kind: Literal["none", "line", "modbus"] = "none"
    port: str = ""
    heartbeat_s: float = 5.0
    on_line: str = "K1"
    off_line: str = "K0"
    unit_id: int = 1
    coil: int = 0
    baud: int = 9600
    bytesize: Literal[7, 8] = 8
    parity: Literal["none", "even", "odd"] = "none"
    stopbits: Literal[1, 2] = 1

    def __post_init__(self) -> None:
        if self.kind != "none" and not self.port:
            raise ValueError('port is missing: name the port of the relay, or set kind = "none"')
        if not 1 <= self.heartbeat_s <= 60:
            raise ValueError(f"heartbeat_s must be 1 to 60, not {self.heartbeat_s:g}")
        for name, text in (("on_line", self.on_line), ("off_line", self.off_line)):
            if not (0 < len(text) <= 32 and text.isascii() and text.isprintable()):
                raise ValueError(f"{name} must be 1 to 32 printable ASCII characters, not {text!r}")
        if self.on_line == self.off_line:
            raise ValueError("on_line and off_line are the same: the relay could not tell them apart")
        if not 1 <= self.unit_id <= 247 or not 0 <= self.coil <= 65_535:
            raise ValueError("unit_id must be 1 to 247 and coil 0 to 65535")
        if not 50 <= self.baud <= 4_000_000:
            raise ValueError(f"baud must be 50 to 4000000, not {self.baud}")


@dataclass(frozen=True, slots=True, kw_only=True)
class Broker:
    """The plant's MQTT 5 broker. Secrets never stand here: environment, 0600 file or service credentials."""

    __pydantic_config__: ClassVar[dict[str, Any]] = STRICT
    host: str
    port: int = 8883
    username: str | None = None
    password_file: str | None = None
    ca_file: str | None = None
    cert_file: str | None = None
    key_file: str | None = None
    insecure: bool = False
    readings: bool = False
    """Also publish the readings of a run, as blocks of columns about every 10 s."""

    def __post_init__(self) -> None:
        if not 0 < self.port < 65536:
            raise ValueError(f"port must be 1 to 65535, not {self.port}")


@dataclass(frozen=True, slots=True, kw_only=True)
class Sparkplug:
    """A table `[sparkplug]`, even an empty one, publishes by Sparkplug B as well, to the same broker."""

    __pydantic_config__: ClassVar[dict[str, Any]] = STRICT
    group: str = ""
    """Group id; the site when empty. The bench is the edge node."""
    primary_host: str = ""
    """Host id whose STATE must be online before anything is sent; nobody is waited for when empty."""

    def __post_init__(self) -> None:
        if self.group:
            _slug("group", self.group)
        if any(letter in self.primary_host for letter in "/+#"):
            raise ValueError(f'primary_host = "{self.primary_host}" cannot be a topic level: no /, + or #')


@dataclass(frozen=True, slots=True, kw_only=True)
class RigFile:
    """Where the blank run's file lies, relative to the bench file."""

    __pydantic_config__: ClassVar[dict[str, Any]] = STRICT
    file: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Bench:
    """A whole bench file. Required: site, bench, arrangement, balance, pressure."""

    __pydantic_config__: ClassVar[dict[str, Any]] = STRICT
    site: str
    bench: str
    arrangement: Literal["beside", "under"]
    balance: BalancePort
    pressure: PressurePort
    alarms: AlarmLimits = field(default_factory=AlarmLimits)
    checks: CheckPolicy = field(default_factory=CheckPolicy)
    shift: ShiftPolicy = field(default_factory=ShiftPolicy)
    permit: PermitPort = field(default_factory=PermitPort)
    broker: Broker | None = None
    sparkplug: Sparkplug | None = None
    rig: RigFile | None = None
    methods: tuple[str, ...] = ()
    """Method files offered on this bench, by path relative to the bench file or shipped name; all
    shipped methods of the bench's arrangement when empty."""

    def __post_init__(self) -> None:
        _slug("site", self.site)
        _slug("bench", self.bench)
        if self.sparkplug is not None and self.broker is None:
            raise ValueError("sparkplug: needs the broker's table [broker]")
        for weight in self.checks.weights:
            if weight.tolerance_g < self.balance.readability_g:
                raise ValueError(
                    f"checks: the tolerance of weight {weight.id}, {weight.tolerance_g:g} g, is finer than one digit "
                    f"of the balance ({self.balance.readability_g:g} g): such a check can show nothing"
                )
        if self.permit.kind != "none" and self.permit.port in (self.balance.port, self.pressure.port):
            raise ValueError(
                f'permit: port "{self.permit.port}" is an instrument\'s too; the relay needs a port of its own'
            )


def load_bench(path: Path) -> Bench:
    """A bench file. Raises ConfigError."""
    return load_toml(path, Bench)
