"""`lastgrain ports`: the serial ports of this machine, what a bench file calls them, and who uses them."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Any

from drivers.link_error import LinkError
from drivers.port_lock import PortUser, may_open, owning_group, port_users
from drivers.ports import PortInfo, bench_name, list_ports, resolve_port
from logger.settings import Bench

NO_PORTS = (
    "This machine shows no serial port: plug the adapter in. Instruments behind a network are named "
    "socket://HOST:PORT and are not listed."
)


def ports_listed(
    bench: Bench | None,
    ports: Sequence[PortInfo] | None = None,
    users: Callable[[str], list[PortUser]] = port_users,
) -> list[dict[str, Any]]:
    """One object a port; `for` says what the bench file uses it for."""
    found = list_ports() if ports is None else ports
    wanted = _wanted(bench, found)
    return [
        {
            "device": port.device,
            "description": port.description,
            "usb": port.usb_id,
            "maker": port.maker,
            "product": port.product,
            "serial_number": port.serial_number,
            "location": port.location,
            "links": list(port.links),
            "bench_name": bench_name(port, found),
            "for": wanted.get(_real(port.device), []),
            "used_by": [user.words() for user in users(port.device)],
            "may_open": not Path(port.device).exists() or may_open(port.device),
            "group": owning_group(port.device),
        }
        for port in found
    ]


def _wanted(bench: Bench | None, ports: Sequence[PortInfo]) -> Mapping[str, list[str]]:
    """What the bench file wants each device for."""
    named: dict[str, list[str]] = {}
    places = [] if bench is None else [("balance", bench.balance.port), ("pressure", bench.pressure.port)]
    if bench is not None and bench.permit.kind != "none":
        places.append(("permit", bench.permit.port))
    for what, spec in places:
        try:
            named.setdefault(_real(resolve_port(spec, ports)), []).append(what)
        except LinkError:
            continue
    return named


def _real(device: str) -> str:
    return device if "://" in device else str(Path(device).resolve())


def ports_page(found: Sequence[Mapping[str, Any]]) -> str:
    """The same for a person, a block a port."""
    return "\n".join(line for port in found for line in _block(port)) if found else NO_PORTS


def _block(port: Mapping[str, Any]) -> list[str]:
    named = " ".join(filter(None, (port["maker"], port["product"])))
    made = named or ("no description" if port["description"] == "n/a" else port["description"])
    usb = f", USB {port['usb']}" if port["usb"] else ""
    number = f", serial number {port['serial_number']}" if port["serial_number"] else ""
    lines = [f"{port['device']}  {made}{usb}{number}", f'  in a bench file: port = "{port["bench_name"]}"']
    lines += [f"  also {link}" for link in port["links"]]
    lines += [f"  used for {', '.join(port['for'])} of this bench"] if port["for"] else []
    lines += [f"  open in {', '.join(port['used_by'])}"] if port["used_by"] else []
    if not port["may_open"]:
        lines.append(
            f"  you may not open it: join the group {port['group'] or 'that owns it'} and log in again"
        )
    return lines
