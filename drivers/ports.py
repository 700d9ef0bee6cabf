"""Which ports there are, and which of them a bench means. A path can change; a serial number does not.

`serial:NUMBER` is the port with that number wherever it is plugged in, `serial:NUMBER#2` the second port of an
adapter that has several. Adapters without a number of their own are named by where they are plugged in.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
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
    usb_id: str | None = None
    """Vendor and product of a USB adapter, as `1234:abcd`."""
    maker: str | None = None
    product: str | None = None

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
                links=links_to(port.device),
                usb_id=None if port.vid is None else f"{port.vid:04x}:{port.pid or 0:04x}",
                maker=port.manufacturer or None,
                product=port.product or None,
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


def select_port(number: str, ports: Sequence[PortInfo]) -> PortInfo:
    """The one port with this serial number, `NUMBER#2` being the second of its adapter.

    Raises LinkError when there is none or more than one.
    """
    serial_number, _, which = number.partition("#")
    matching = _of_adapter(serial_number, ports)
    if not matching:
        sentence = f"no port has the serial number {serial_number}: {ports_sentence(ports)}"
        raise LinkError(LinkTrouble.ABSENT, sentence)
    if which.isascii() and which.isdigit() and 1 <= int(which) <= len(matching):
        return matching[int(which) - 1]
    if which:
        sentence = (
            f"the adapter with the serial number {serial_number} has no port #{which}, it has {len(matching)}"
        )
        raise LinkError(LinkTrouble.FAILED, f"{sentence}: correct the port in the bench file.")
    if len(matching) > 1:
        devices = " and ".join(port.device for port in matching)
        advice = f"write serial:{serial_number}#1 or #2, or name the port by its by-path link instead."
        raise LinkError(
            LinkTrouble.FAILED, f"{devices} both have the serial number {serial_number}: {advice}"
        )
    return matching[0]


def _of_adapter(serial_number: str, ports: Sequence[PortInfo]) -> list[PortInfo]:
    """The ports with this serial number, in the order of their place at the adapter."""
    matching = [port for port in ports if port.serial_number == serial_number]
    return sorted(matching, key=lambda port: (port.location or "", port.device))


def bench_name(port: PortInfo, ports: Sequence[PortInfo]) -> str:
    """What a bench file best says for this port, so that it is found again after it was unplugged.

    The serial number when no other adapter has the same (ports of one adapter differ in place only after the
    colon); else the longest-lived link; else the device itself.
    """
    same = _of_adapter(port.serial_number, ports) if port.serial_number else []
    if len(same) == 1:
        return f"{SERIAL_PREFIX}{port.serial_number}"
    adapters = {(other.location or other.device).partition(":")[0] for other in same}
    if same and len(adapters) == 1:
        return f"{SERIAL_PREFIX}{port.serial_number}#{same.index(port) + 1}"
    return next(_links_that_last(port, ports), port.device)


def _links_that_last(port: PortInfo, ports: Sequence[PortInfo]) -> Iterator[str]:
    """By-id names two adapters of a kind share: whichever came last has it. By-path names the socket."""
    twin = any(
        other is not port and (other.usb_id, other.serial_number) == (port.usb_id, port.serial_number)
        for other in ports
        if port.usb_id is not None
    )
    by_id = [link for link in port.links if "/by-id/" in link and not twin]
    yield from by_id
    yield from (link for link in port.links if "/by-path/" in link)


def ports_sentence(ports: Sequence[PortInfo]) -> str:
    """The ports that exist, or that there are none."""
    if not ports:
        return "this machine shows no serial port now."
    return f"the ports now are {'; '.join(port.line() for port in ports)}."


def links_to(device: str, folders: Sequence[Path] = _LINK_FOLDERS) -> tuple[str, ...]:
    """The links in these folders that lead to the device now."""
    target = Path(device).resolve()
    return tuple(
        str(link)
        for folder in folders
        if folder.is_dir()
        for link in sorted(folder.iterdir())
        if link.resolve() == target
    )
