"""Copies of the store that can be trusted: made while the service runs, checked before they count."""

from __future__ import annotations

import hashlib
import os
import shutil
import sqlite3
from collections.abc import Callable
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

from logger.core.record import ChainHead
from logger.store.batches import head
from logger.store.errors import StoreError, as_store_error
from logger.store.opening import set_aside
from logger.store.place import require_fit
from logger.store.schema import check_version, check_whole, found_version, read_only
from logger.store.verify import Finding, verify

_BLOCK = 1 << 20


@dataclass(frozen=True, slots=True)
class Copy:
    """A copy that was checked: where it is, its SHA-256 and the head it holds."""

    path: Path
    sha256: str
    head: ChainHead
    findings: tuple[Finding, ...]


def back_up(store: Path, to: Path) -> Copy:
    """Copy the store as of one moment to `to`, which must not exist. Safe while the service writes.

    The copy is one plain file, checked page by page and hash by hash. It is made beside the store and then
    copied, so that `to` may lie on a network drive. Raises StoreError; nothing is left behind then.
    """
    if not store.exists():
        raise StoreError(f"{store}: there is no store yet.")
    if to.exists():
        raise StoreError(f"{to} exists already; backups are never overwritten.")
    partial = store.with_name(f"{store.name}.backup-{os.getpid()}")
    try:
        _copy_moment(store, partial)
        found, findings = _checked(partial)
        sha256 = _copy_file(partial, to)
    except sqlite3.Error as error:
        raise as_store_error(store, error) from error
    except OSError as error:
        raise StoreError(f"{error.filename or to} cannot be written: {error.strerror}.") from error
    finally:
        partial.unlink(missing_ok=True)
    return Copy(to, sha256, found, findings)


def restore(store: Path, copy: Path, utc: Callable[[], str]) -> tuple[Copy, Path | None]:
    """Put a backup in the store's place; the old store is set aside, never deleted. Gives both paths.

    The caller holds the instance lock. What the old store had and the backup lacks is noted as lost at the
    next start. Raises StoreError.
    """
    require_fit(store)
    if not copy.is_file():
        raise StoreError(f"{copy} is no file.")
    incoming = store.with_name(f"{store.name}.restore-{os.getpid()}")
    try:
        sha256 = _copy_file(copy, incoming)
        try:
            check_version(incoming)
            found, findings = _checked(incoming)
        except StoreError as error:
            # The person gave the backup; the copy of it goes away again.
            raise StoreError(
                str(error).replace(str(incoming), str(copy)).replace(incoming.name, copy.name)
            ) from error
        if any(finding.verdict == "altered" for finding in findings):
            raise StoreError(f"{copy} is no sound backup: {findings[0].text}")
        aside = set_aside(store, "before-restore", utc()) if store.exists() else None
        incoming.rename(store)
        _sync_folder(store.parent)
    except OSError as error:
        raise StoreError(f"{copy} cannot be put in place: {error.strerror}.") from error
    finally:
        _drop(incoming)
    return Copy(store, sha256, found, findings), aside


def _copy_moment(store: Path, to: Path) -> None:
    to.unlink(missing_ok=True)
    os.close(os.open(to, os.O_RDWR | os.O_CREAT | os.O_EXCL, 0o600))
    with closing(read_only(store)) as source, closing(sqlite3.connect(to)) as copy:
        source.backup(copy)
        copy.execute("PRAGMA journal_mode = DELETE")


def _checked(path: Path) -> tuple[ChainHead, tuple[Finding, ...]]:
    """Head and findings of a copy. Raises StoreError when a page is damaged."""
    with closing(read_only(path)) as connection:
        found = check_whole(connection)
        if found:
            raise StoreError(f"{path.name} is damaged ({found}): it is no use as a backup.")
        if not found_version(connection, path):
            raise StoreError(f"{path.name} is empty: it is no backup.")
        return head(connection), tuple(verify(connection))


def _copy_file(source: Path, to: Path) -> str:
    """Copy, wait for the disk, read again and compare. Gives the SHA-256."""
    to.parent.mkdir(parents=True, exist_ok=True)
    partial = to.with_name(f"{to.name}.partial")
    try:
        fd = os.open(partial, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
        with source.open("rb") as reader, os.fdopen(fd, "wb") as writer:
            shutil.copyfileobj(reader, writer, _BLOCK)
            writer.flush()
            os.fsync(writer.fileno())
        wanted = _sha256(source)
        if _sha256(partial) != wanted:
            raise StoreError(f"{to} does not hold what was written to it: have that disk checked.")
        partial.rename(to)
        _sync_folder(to.parent)
    finally:
        partial.unlink(missing_ok=True)
    return wanted


def _sha256(path: Path) -> str:
    with path.open("rb") as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()


def _sync_folder(folder: Path) -> None:
    fd = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(fd)
    finally:
        os.close(fd)


def _drop(path: Path) -> None:
    for ending in ("", "-wal", "-shm", "-journal"):
        path.with_name(path.name + ending).unlink(missing_ok=True)
