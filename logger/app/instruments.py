"""Driver readings to the core's readings, and the drivers of a bench. The one seam between the two."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TypedDict

from drivers.hand_over import HandOver
from drivers.instrument import LineInstrument
from drivers.link_watch import LinkEvent
from drivers.modbus_instrument import ModbusInstrument
from drivers.modbus_profile import ModbusProfile, Profile
from drivers.modbus_profile_file import load_any_profile
from drivers.profile import LineProfile
from drivers.reading import Quality as DriverQuality
from drivers.reading import Reading as DriverReading
from drivers.toml_table import ProfileError
from logger.core.ports import Instrument
from logger.core.readings import Channel, Quality, Reading
from logger.settings import Bench, ConfigError, find_config
from logger.settings.bench import BalancePort, PressurePort


class _Common(TypedDict):
    """What both kinds of instrument are made with."""

    now_ns: Callable[[], int]
    on_readings: Callable[[Sequence[DriverReading]], None]
    on_link: Callable[[LinkEvent], None]
    speed: float
    others: Sequence[LineProfile]


def to_core(channel: Channel, readings: Sequence[DriverReading]) -> list[Reading]:
    """The same readings in the core's words."""
    return [
        Reading(
            channel=channel,
            at_ns=r.at_ns,
            value=r.value,
            quality=Quality.OK if r.quality is DriverQuality.OK else Quality(r.quality.value),
            stable=r.stable,
            resolution=r.resolution,
            raw=r.raw,
            repeated=r.repeated,
        )
        for r in readings
    ]


def bench_profiles(bench: Bench) -> dict[Channel, Profile]:
    """Both profiles of a bench. Raises ConfigError naming the file and line."""
    wanted = {Channel.MASS: bench.balance.profile, Channel.PRESSURE: bench.pressure.profile}
    profiles = {channel: _profile(name) for channel, name in wanted.items()}
    for channel, profile in profiles.items():
        if profile.quantity != channel.value:
            raise ConfigError(
                wanted[channel], f"is a profile for {profile.quantity}, not for {channel.value}"
            )
    pressure = profiles[Channel.PRESSURE]
    if bench.pressure.identity and isinstance(pressure, ModbusProfile) and pressure.identity is None:
        advice = "add the table [identity] to it, or take identity out of the bench file's table [pressure]"
        raise ConfigError(bench.pressure.profile, f"has no register of the serial number; {advice}")
    return profiles


def _profile(name: str) -> Profile:
    path = find_config("profiles", name)
    try:
        return load_any_profile(Path(path))
    except ProfileError as error:
        raise ConfigError(path, f"{error.problem}; {error.advice}", error.line) from None


def bench_instruments(
    bench: Bench,
    now_ns: Callable[[], int],
    speed: float,
    on_readings: Callable[[Sequence[Reading]], None],
    on_link: Callable[[Channel, LinkEvent], None],
) -> list[Instrument]:
    """The drivers of the bench, ready to run. Raises ConfigError."""
    profiles = bench_profiles(bench)
    places: dict[Channel, BalancePort | PressurePort] = {
        Channel.MASS: bench.balance,
        Channel.PRESSURE: bench.pressure,
    }

    hand_over = HandOver()

    def instrument(channel: Channel, other: Channel) -> Instrument:
        profile, neighbour = profiles[channel], profiles[other]
        common: _Common = {
            "now_ns": now_ns,
            "on_readings": lambda readings: on_readings(to_core(channel, readings)),
            "on_link": lambda event: on_link(channel, event),
            "speed": speed,
            "others": [neighbour] if isinstance(neighbour, LineProfile) else [],
        }
        place = places[channel]
        if isinstance(profile, ModbusProfile):
            return ModbusInstrument(profile, place.port, identity=place.identity, **common)
        return LineInstrument(profile, place.port, hand_over=hand_over, **common)

    return [instrument(Channel.MASS, Channel.PRESSURE), instrument(Channel.PRESSURE, Channel.MASS)]
