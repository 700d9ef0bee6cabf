"""The instruments: by the running service, which owns their ports, else by trying each with its driver."""

from __future__ import annotations

from collections.abc import AsyncIterator, Iterator
from pathlib import Path

from drivers.link_error import LinkError
from drivers.port_lock import device_present, may_open, owning_group, port_users
from drivers.ports import list_ports, ports_sentence, resolve_port
from drivers.pty_ends import serves
from drivers.transport import tcp_address
from logger.app.doctor.findings import Finding, ok, wrong
from logger.app.instruments import bench_profiles
from logger.app.try_instrument import try_instrument
from logger.core.readings import Channel
from logger.core.snapshot import Snapshot
from logger.settings import Bench

NAMES = {"mass": "balance", "pressure": "pressure transducer", "permit": "relay of the permit"}


def by_service(picture: Snapshot) -> Iterator[Finding]:
    """What the service that owns the ports says of them."""
    for link in picture.links:
        where = f"{NAMES[link.channel]} at {link.port}"
        if link.state == "up":
            age = "" if link.age_s is None else f", last reading {link.age_s:.1f} s ago"
            yield ok("instruments", f"the service reads it{age}", where)
        else:
            text = link.text.rstrip(".") or f"the link is {link.state}"
            yield wrong("instruments", text, _todo(link.state), where)


def _todo(state: str) -> str:
    return {
        "silent": "check that it is switched on, sends, and with the speed and framing of its profile",
        "lost": "check cable and power; the service goes on by itself when it is back",
        "absent": "plug it in; `lastgrain ports` shows what is there",
        "wrong-instrument": "swap the two ports, or correct profile or port in the bench file",
    }.get(state, "see there")


async def by_trying(bench: Bench, seconds: float) -> AsyncIterator[Finding]:
    """Without a service: is the port there, may it be opened, who has it, and is what comes read?"""
    profiles = bench_profiles(bench)
    places = (
        (Channel.MASS, bench.balance.port, bench.balance.identity),
        (Channel.PRESSURE, bench.pressure.port, bench.pressure.identity),
    )
    for channel, port, identity in places:
        where = f"{NAMES[channel.value]} at {port}"
        trouble = port_trouble(port, where)
        if trouble is not None:
            yield trouble
            continue
        other = Channel.PRESSURE if channel is Channel.MASS else Channel.MASS
        tried = await try_instrument(profiles[channel], port, seconds, identity, profiles[other])
        if tried.well:
            yield ok("instruments", tried.sentence().rstrip("."), where)
        else:
            name = Path(bench.balance.profile if channel is Channel.MASS else bench.pressure.profile).stem
            todo = f"check cable, power and settings against profile {name}, or learn its way to speak: `lastgrain learn`"
            yield wrong("instruments", tried.sentence().rstrip("."), todo, where)
    if bench.permit.kind != "none":
        where = f"{NAMES['permit']} at {bench.permit.port}"
        yield port_trouble(bench.permit.port, where) or ok(
            "instruments", "the port is there (it is not switched)", where
        )


def port_trouble(port: str, where: str) -> Finding | None:
    """What is wrong with a port before it is even opened."""
    try:
        device = resolve_port(port)
        if tcp_address(device) is not None:
            return None
    except LinkError as error:
        return wrong("instruments", error.sentence.rstrip("."), "correct the port in the bench file", where)
    if not device_present(device):
        known = ports_sentence(list_ports()).rstrip(".")
        return wrong(
            "instruments", f"the port is not there; {known}", "plug it in, or correct the port", where
        )
    if not may_open(device):
        group = owning_group(device) or "the group that owns it"
        todo = f"sudo usermod -aG {group} $USER, then log out and in again"
        return wrong("instruments", "this user may not open the port", todo, where)
    # A virtual rig serves its ports, which keeps no one from reading them.
    if users := [user for user in port_users(device) if not serves(user.process, device)]:
        who = ", ".join(user.words() for user in users)
        return wrong("instruments", f"the port is already open in {who}", "end that program first", where)
    return None
