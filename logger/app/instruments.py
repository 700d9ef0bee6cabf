"""Driver readings to the core's readings, and the drivers of a bench. The one seam between the two."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path

from drivers.instrument import LineInstrument
from drivers.link_watch import LinkEvent
from drivers.profile import LineProfile
from drivers.profile_file import load_profile
from drivers.reading import Reading as DriverReading
from drivers.toml_table import ProfileError
from logger.core.ports import Instrument
from logger.core.readings import Channel, Quality, Reading
from logger.settings import Bench, ConfigError, find_config


def to_core(channel: Channel, readings: Sequence[DriverReading]) -> list[Reading]:
    """The same readings in the core's words."""
    return [
        Reading(
            channel=channel,
            at_ns=r.at_ns,
            value=r.value,
            quality=Quality(r.quality.value),
            stable=r.stable,
            resolution=r.resolution,
            raw=r.raw,
        )
        for r in readings
    ]


def bench_profiles(bench: Bench) -> dict[Channel, LineProfile]:
    """Both profiles of a bench. Raises ConfigError naming the file and line."""
    wanted = {Channel.MASS: bench.balance.profile, Channel.PRESSURE: bench.pressure.profile}
    profiles = {channel: _profile(name) for channel, name in wanted.items()}
    for channel, profile in profiles.items():
        if profile.quantity != channel.value:
            raise ConfigError(
                wanted[channel], f"is a profile for {profile.quantity}, not for {channel.value}"
            )
    return profiles


def _profile(name: str) -> LineProfile:
    path = find_config("profiles", name)
    try:
        return load_profile(Path(path))
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
    ports = {Channel.MASS: bench.balance.port, Channel.PRESSURE: bench.pressure.port}

    def instrument(channel: Channel, other: Channel) -> LineInstrument:
        return LineInstrument(
            profiles[channel],
            ports[channel],
            now_ns=now_ns,
            on_readings=lambda readings: on_readings(to_core(channel, readings)),
            on_link=lambda event: on_link(channel, event),
            speed=speed,
            others=[profiles[other]],
        )

    return [instrument(Channel.MASS, Channel.PRESSURE), instrument(Channel.PRESSURE, Channel.MASS)]
