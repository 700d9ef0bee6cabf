"""Tries one instrument for a few seconds with the real driver: is it read, and if not, what came?"""

from __future__ import annotations

import asyncio
import contextlib
import time
from collections.abc import Sequence
from dataclasses import dataclass

from drivers.instrument import LineInstrument
from drivers.link_watch import LinkEvent
from drivers.modbus_instrument import ModbusInstrument
from drivers.modbus_profile import ModbusProfile, Profile
from drivers.profile import LineProfile
from drivers.reading import Quality, Reading

ENOUGH = 8
"""So many readings say it; the first seconds of a slow instrument may bring fewer."""
_READ = (Quality.OK, Quality.OVERLOAD, Quality.UNDERLOAD)


@dataclass(slots=True)
class Tried:
    """What came in the time given."""

    read: int = 0
    refused: int = 0
    last: Reading | None = None
    not_read: str = ""
    """A line that was not read, as it came."""
    trouble: str = ""
    """What the driver says of the link, empty when it is well."""

    @property
    def well(self) -> bool:
        """Readings came, and most of what came was read."""
        return self.read > 0 and self.refused <= 0.1 * (self.read + self.refused)

    def sentence(self) -> str:
        """For a person."""
        if self.well and self.last is not None:
            value = (
                "its range is left" if self.last.value is None else f"{self.last.value:g} {self.last.unit}"
            )
            return f"{self.read} readings came, the last is {value}."
        if self.trouble:
            return f"{self.trouble[:1].upper()}{self.trouble[1:]}".rstrip(".") + "."
        if self.refused:
            return f"{self.refused} lines came that this profile does not read, such as {self.not_read!r}."
        return "Nothing came: check cable, power and that the instrument sends or is asked the right way."


async def try_instrument(
    profile: Profile, port: str, seconds: float = 4.0, identity: str = "", neighbour: Profile | None = None
) -> Tried:
    """Reads for `seconds`, or less when enough came. Raises nothing of the link's: `trouble` says it.

    Lines of the `neighbour` are told as such.
    """
    tried = Tried()
    enough = asyncio.Event()

    def on_readings(readings: Sequence[Reading]) -> None:
        for reading in readings:
            if reading.quality in _READ:
                tried.read += 1
                tried.last = reading
            else:
                tried.refused += 1
                tried.not_read = reading.raw
        if tried.read >= ENOUGH:
            enough.set()

    def on_link(event: LinkEvent) -> None:
        tried.trouble = "" if event.state == "up" else event.text

    now_ns = time.monotonic_ns
    others = [neighbour] if isinstance(neighbour, LineProfile) else []
    instrument = (
        ModbusInstrument(
            profile, port, identity=identity, now_ns=now_ns, on_readings=on_readings, on_link=on_link
        )
        if isinstance(profile, ModbusProfile)
        else LineInstrument(
            profile, port, now_ns=now_ns, on_readings=on_readings, on_link=on_link, others=others
        )
    )
    reading = asyncio.create_task(instrument.run())
    with contextlib.suppress(TimeoutError):
        async with asyncio.timeout(max(seconds, 4 * profile.period_s)):
            await enough.wait()
    reading.cancel()
    await asyncio.wait((reading,))
    return tried
