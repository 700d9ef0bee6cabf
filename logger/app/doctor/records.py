"""The store, what waits to be sent, the broker and the service."""

from __future__ import annotations

import contextlib
import sqlite3
import time
from collections.abc import AsyncIterator, Iterator
from pathlib import Path

from logger.app.bench_files import read_broker
from logger.app.doctor.findings import Finding, hint, ok, wrong
from logger.app.ids import UuidV7
from logger.app.paths import DataFolder
from logger.app.plan import software
from logger.app.register import first_watch
from logger.core.snapshot import Snapshot
from logger.publish.roundtrip import round_trip
from logger.publish.topics import Topics
from logger.service.local_socket import answers
from logger.settings import Bench, ConfigError
from logger.store.errors import StoreError, is_damage
from logger.store.history import reading
from logger.store.lock import InstanceLock
from logger.store.opening import damage_note
from logger.store.outbox_rows import waiting
from logger.store.schema import check_whole
from logger.store.verify import verify

VERIFIED_BYTES = 32 * 1024 * 1024
"""A store up to this size is verified whole, which takes a few seconds; of a larger one the pages are checked."""
PICTURE_S = 5.0


def store(data: DataFolder) -> Iterator[Finding]:
    """Pages, chain and what waits for the broker."""
    where = str(data.store)
    if not data.store.exists():
        yield ok("store", "is not there yet; the first start makes it", where)
        return
    if damage_note(data.store).exists():
        yield wrong(
            "store",
            "damage was found beside the work",
            "start the service again: it sets the file aside",
            where,
        )
    try:
        with reading(data.store) as connection:
            yield from _content(connection, data.store)
    except (StoreError, sqlite3.Error) as error:
        # An older or newer format is no damage: a backup would throw away what came after it.
        backup = "; `lastgrain restore` puts a backup in its place" if is_damage(error) else ""
        yield wrong("store", str(error).rstrip("."), f"keep the file{backup}", where)


def _content(connection: sqlite3.Connection, path: Path) -> Iterator[Finding]:
    where = str(path)
    damage = check_whole(connection)
    if damage:
        yield wrong(
            "store", f"a page is damaged ({damage})", "start the service: it salvages what can be read", where
        )
        return
    if path.stat().st_size > VERIFIED_BYTES:
        yield hint(
            "store", "all pages are whole; the chain was not walked", "`lastgrain runs verify` does it", where
        )
    else:
        bad = [finding for finding in verify(connection) if not finding.sound]
        for finding in bad:
            yield wrong(
                "store", f"{finding.verdict}: {finding.text.rstrip('.')}", "`lastgrain runs verify`", where
            )
        if not bad:
            yield ok("store", "pages and hash chain are whole", where)
    unsent, aside = waiting(connection)
    if aside:
        yield wrong(
            "store", f"{aside} messages were refused for good and are set aside", "see docs/mqtt.md", where
        )
    if unsent > 100:
        yield hint(
            "store", f"{unsent} messages wait for the broker", "see the findings about the broker", where
        )


async def service(data: DataFolder) -> tuple[Snapshot | None, list[Finding]]:
    """The running service's picture, and whether it is the version of this program."""
    if not answers(data.socket):
        return None, [_silent_service(data)]
    watch = await first_watch(data.socket, lambda seen: seen.snapshot is not None, PICTURE_S)
    if watch is None or watch.snapshot is None:
        todo = "end it (its number is in service.lock) and start it again"
        return None, [wrong("service", f"it took the connection and said nothing for {PICTURE_S:g} s", todo)]
    found = watch.snapshot
    if found.software != software():
        text = f"it is {found.software}, this program is {software()}"
        return found, [hint("service", text, "start the service again when no run is open")]
    return found, [ok("service", f"{found.software} runs, state {found.state}")]


def _silent_service(data: DataFolder) -> Finding:
    if not data.lock.exists():
        return ok("service", "none runs; `lastgrain` starts one")
    with contextlib.suppress(OSError):
        number = data.lock.read_text(encoding="ascii", errors="replace").strip()
        try:
            InstanceLock(data.lock).release()
        except StoreError:
            todo = f"see {data.log}; end process {number} if it hangs, an open run is closed as interrupted"
            return wrong("service", f"process {number} holds this data folder and does not answer", todo)
    return ok("service", "none runs; `lastgrain` starts one")


async def broker(bench: Bench, path: Path) -> AsyncIterator[Finding]:
    """TLS, login, and a message that comes back: an acknowledgement alone proves nothing."""
    if bench.broker is None:
        yield ok("broker", "none is named in the bench file; results stay here")
        return
    nonce = UuidV7().new_id()
    where = f"{bench.broker.host}:{bench.broker.port}"
    try:
        settings = read_broker(bench, path, f"doctor-{nonce[-12:]}")
    except ConfigError as error:
        yield wrong("broker", error.text.rstrip("."), "correct it there", error.path)
        return
    if settings is None:
        return
    for found in await round_trip(settings, Topics(bench.site, bench.bench), nonce, time.time()):
        text = found.sentence.rstrip(".")
        if found.ok:
            yield ok("broker", text, where)
        elif found.ok is None:
            yield hint("broker", text, "see docs/mqtt.md", where)
        else:
            yield wrong("broker", text, "see docs/mqtt.md; results are kept and sent later", where)
