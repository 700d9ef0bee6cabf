"""Which ports there are, and which of them a bench means. A path can change; a serial number does not."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from serial.tools import list_ports as system_ports

from drivers.link_error import LinkError, LinkTrouble

SERIAL_PREFIX: Final = "serial:"
_LINK_FOLDERS: Final = (Path("/dev/serial/by-id"), Path("/dev/serial/by-path"))


@dataclass(frozen=True, slots=True)
class PortInfo:
    """A serial port the system knows. `links` are longer-lived names of the same device."""

    device: str
    description: str
    serial_number: str | None = None
    location: str | None = None
    links: tuple[str, ...] = ()

    def line(self) -> str:
        """One line for a person."""
        number = f", serial number {self.serial_number}" if self.serial_number else ""
        return f"{self.device} ({self.description}{number})"


def list_ports() -> list[PortInfo]:
    """All serial ports of this machine, by name."""
    return sorted(
        (
            PortInfo(
                device=port.device,
                description=port.description or "no description",
                serial_number=port.serial_number or None,
                location=port.location or None,
                links=_links_to(port.device),
            )
            for port in system_ports.comports()
        ),
        key=lambda port: port.device,
    )


def resolve_port(spec: str, ports: Sequence[PortInfo] | None = None) -> str:
    """The device or address that `spec` means now; `ports` defaults to those of the machine.

    `serial:NUMBER` is looked up; anything else is taken as it is. Raises LinkError.
    """
    if not spec.startswith(SERIAL_PREFIX):
        return spec
    return select_port(spec.removeprefix(SERIAL_PREFIX), list_ports() if ports is None else ports).device


def select_port(serial_number: str, ports: Sequence[PortInfo]) -> PortInfo:
    """The one port with this serial number. Raises LinkError when there is none or more than one."""
    matching = [port for port in ports if port.serial_number == serial_number]
    if not matching:
        sentence = f"no port has the serial number {serial_number}: {ports_sentence(ports)}"
        raise LinkError(LinkTrouble.ABSENT, sentence)
    if len(matching) > 1:
        devices = " and ".join(port.device for port in matching)
        advice = "name the port by its by-path link instead."
        raise LinkError(
            LinkTrouble.FAILED, f"{devices} both have the serial number {serial_number}: {advice}"
        )
    return matching[0]


def ports_sentence(ports: Sequence[PortInfo]) -> str:
    """The ports that exist, or that there are none."""
    if not ports:
        return "this machine shows no serial port now."
    return f"the ports now are {'; '.join(port.line() for port in ports)}."


def _links_to(device: str) -> tuple[str, ...]:
    target = Path(device)
    return tuple(
        str(link)
        for folder in _LINK_FOLDERS
        if folder.is_dir()
        for link in sorted(folder.iterdir())
        if link.resolve() == target
    )
