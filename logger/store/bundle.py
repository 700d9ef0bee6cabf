"""One run as files that can be checked anywhere, without the store: the batches as they were hashed.

`journal.jsonl` has one line a batch (place, times, events, hash and the hash before); `readings.tsv` the
readings of all batches one after the other, as they were hashed; `record-N.json` the revisions of the
record, canonical. `manifest.json` has the SHA-256 of every file and the run's heads.
"""

from __future__ import annotations

import hashlib
import io
import json
import sqlite3
import zipfile
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from logger.core.record import ChainHead, listed_residue_pct
from logger.core.run.events import EventKind
from logger.core.run.plan import canonical_json
from logger.core.run_list import RunLine
from logger.store.batches import Batch, run_batches
from logger.store.errors import StoreError
from logger.store.history import record_texts
from logger.store.journal_text import events_of
from logger.store.packing import Packable
from logger.store.verify import Finding, record_fits

SCHEMA = "lastgrain/bundle/1"
MANIFEST, JOURNAL, READINGS = "manifest.json", "journal.jsonl", "readings.tsv"
LARGEST_BYTES = 1 << 30
"""Unpacked; a bundle that claims more is refused."""
_TIMESTAMP = (1980, 1, 1, 0, 0, 0)
Files = dict[str, bytes]


def chained_files(connection: sqlite3.Connection, row: RunLine) -> Files:
    """Journal, readings and records of a run. Raises StoreError when the run has no record yet."""
    records = record_texts(connection, row.run_id)
    if not records:
        raise StoreError(f"Run {row.number} has no record yet; it is still open.")
    try:
        batches = list(run_batches(connection, row.run_id))
    except ValueError as error:
        raise StoreError(f"Run {row.number} cannot be read: {error}.") from None
    files = {f"record-{revision}.json": text.encode() for revision, text in records}
    files[JOURNAL] = "".join(f"{_line(batch)}\n" for batch in batches).encode()
    files[READINGS] = b"".join(batch.content.readings for batch in batches)
    return files


def with_manifest(number: int, run_id: str, files: Files) -> Files:
    """The same files and a manifest over them."""
    lines = files[JOURNAL].splitlines()
    last = json.loads(lines[-1])
    manifest = {
        "schema": SCHEMA,
        "run_id": run_id,
        "number": number,
        "batches": len(lines),
        "head": str(ChainHead(last["seq"], last["hash"])),
        "files": {name: hashlib.sha256(data).hexdigest() for name, data in sorted(files.items())},
    }
    text = json.dumps(manifest, indent=2, sort_keys=True, ensure_ascii=False) + "\n"
    return {MANIFEST: text.encode(), **dict(sorted(files.items()))}


def zipped(files: Files) -> bytes:
    """The same bytes for the same files, whenever and wherever it is made."""
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED, compresslevel=9) as archive:
        for name, data in files.items():
            info = zipfile.ZipInfo(name, _TIMESTAMP)
            info.external_attr, info.create_system = 0o644 << 16, 3
            info.compress_type = zipfile.ZIP_DEFLATED
            archive.writestr(info, data)
    return stream.getvalue()


def read_bundle(path: Path) -> Files:
    """The files of a bundle, zipped or as a folder. Raises StoreError."""
    try:
        if path.is_dir():
            return {one.name: one.read_bytes() for one in sorted(path.iterdir()) if one.is_file()}
        with zipfile.ZipFile(path) as archive:
            infos = archive.infolist()
            names = [info.filename for info in infos]
            if sum(info.file_size for info in infos) > LARGEST_BYTES or len(set(names)) != len(names):
                raise StoreError(f"{path} is no bundle: too large, or a name appears twice.")
            return {info.filename: archive.read(info) for info in infos}
    except OSError as error:
        raise StoreError(f"{path} cannot be read: {error.strerror or error}.") from error
    except (zipfile.BadZipFile, ValueError, NotImplementedError, RuntimeError, EOFError) as error:
        raise StoreError(f"{path} is no bundle, or it is damaged: {error}.") from error
    except Exception as error:
        if type(error).__module__ == "zlib":
            raise StoreError(f"{path} is damaged: {error}.") from error
        raise


def check_bundle(files: Mapping[str, bytes], outside: ChainHead | None = None) -> list[Finding]:
    """All that is wrong with a bundle, or one sound finding. Needs no store."""
    try:
        manifest = json.loads(files[MANIFEST])
        named = dict(manifest["files"])
        findings = _files(files, named)
        seen, chain = _chain(files, str(manifest["run_id"]))
        findings += chain + _ends(manifest, seen)
    except KeyError as error:
        return [Finding("altered", f"The bundle has no {error.args[0]}.")]
    except (ValueError, TypeError, AttributeError, RecursionError) as error:
        return [Finding("altered", f"The bundle cannot be read: {error}.")]
    if outside is not None and not findings:
        findings = _against(seen, outside)
    if findings:
        return findings
    text = f"Run {manifest['number']}: {len(seen)} batches and the record agree with each other"
    if outside is None:
        return [Finding("no-outside-head", f"{text}; no outside head was given to compare with.")]
    return [Finding("whole", f"{text} and with the head given, batch {outside.batch}.")]


def _files(files: Mapping[str, bytes], named: Mapping[str, str]) -> list[Finding]:
    findings = [
        Finding("altered", f"{name} does not have the hash that the manifest gives.")
        for name, sha256 in named.items()
        if name in files and hashlib.sha256(files[name]).hexdigest() != sha256
    ]
    findings += [Finding("altered", f"{name} is missing.") for name in named if name not in files]
    extra = sorted(set(files) - set(named) - {MANIFEST})
    return findings + [Finding("altered", f"{name} is not in the manifest.") for name in extra]


@dataclass(slots=True)
class _Reader:
    """Cuts the readings into batches."""

    data: bytes
    place: int = 0

    def take(self, length: int) -> bytes:
        """The next bytes."""
        start, self.place = self.place, self.place + length
        return self.data[start : self.place]


def _chain(files: Mapping[str, bytes], run_id: str) -> tuple[dict[int, str], list[Finding]]:
    findings: list[Finding] = []
    seen: dict[int, str] = {}
    issued: dict[str, str] = {}
    readings = _Reader(files[READINGS])
    for line in files[JOURNAL].decode().splitlines():
        batch = _batch(json.loads(line), run_id, readings)
        text = _misfit(batch, seen, bool(issued))
        if text:
            findings.append(Finding("altered", f"Run {run_id}, batch {batch.seq}: {text}."))
        seen[batch.seq] = batch.hash
        issued |= _issued(batch)
    if readings.place != len(readings.data):
        findings.append(Finding("altered", f"{READINGS} has more than the journal says."))
    return seen, findings + _records(files, issued, run_id)


def _misfit(batch: Batch, seen: Mapping[int, str], recorded: bool) -> str:
    """What is wrong with a batch at its place. Other runs may come between only once there is a record."""
    if batch.true_hash() != batch.hash:
        return "readings, events or times were altered"
    if not seen and not any(event.kind is EventKind.RUN_PLANNED for event in events_of(batch.content.events)):
        return "the beginning of the run is missing"
    last = max(seen, default=batch.seq - 1)
    if batch.seq != last + 1 and not (recorded and batch.seq > last):
        return "batches before it are missing"
    if seen.get(batch.seq - 1, batch.before) != batch.before:
        return "it does not follow the batch before it"
    return ""


def _issued(batch: Batch) -> dict[str, str]:
    return {
        f"record-{event.data['revision']}.json": event.data["sha256"]
        for event in events_of(batch.content.events)
        if event.kind is EventKind.RECORD_ISSUED
    }


def _records(files: Mapping[str, bytes], issued: Mapping[str, str], run_id: str) -> list[Finding]:
    findings = [] if issued else [Finding("altered", "The journal has no record issued.")]
    for name, sha256 in issued.items():
        text = files[name].decode()
        plain = json.loads(text)
        residue = listed_residue_pct(plain)
        fits = record_fits(text, plain["outcome"], residue, sha256, unknown_is_well=False)
        if not fits or plain["run_id"] != run_id:
            findings.append(Finding("altered", f"{name} is not the record that was issued."))
    return findings


def _ends(manifest: Mapping[str, Any], seen: Mapping[int, str]) -> list[Finding]:
    head = _head(str(manifest["head"]))
    if seen.get(head.batch) == head.sha256 and head.batch == max(seen) and len(seen) == manifest["batches"]:
        return []
    return [Finding("missing-tail", "Batches of the run are missing against the bundle's own manifest.")]


def _against(seen: Mapping[int, str], outside: ChainHead) -> list[Finding]:
    if outside.batch not in seen:
        text = (
            f"Batch {outside.batch} of the head given is not in this run; it has {min(seen)} to {max(seen)}."
        )
        return [Finding("missing-tail", text)]
    if seen[outside.batch] != outside.sha256:
        text = f"Batch {outside.batch} has another hash than the head given: the run was rewritten."
        return [Finding("rewritten", text)]
    return []


def _head(text: str) -> ChainHead:
    batch, _, sha256 = text.partition(":")
    return ChainHead(int(batch), sha256)


def _line(batch: Batch) -> str:
    content = batch.content
    return canonical_json(
        {
            "seq": batch.seq,
            "at_ns": content.at_ns,
            "utc": content.utc,
            "events": content.events,
            "readings_bytes": len(content.readings),
            "before": batch.before,
            "hash": batch.hash,
        }
    )


def _batch(line: Mapping[str, Any], run_id: str, readings: _Reader) -> Batch:
    content = Packable(
        int(line["at_ns"]), str(line["utc"]), str(line["events"]), readings.take(int(line["readings_bytes"]))
    )
    return Batch(int(line["seq"]), run_id, content, str(line["before"]), str(line["hash"]))
