"""Backups of a bench's store, and putting one back."""

from __future__ import annotations

from pathlib import Path

from logger.app.clock import utc_now
from logger.app.paths import DataFolder
from logger.store import backup
from logger.store.lock import InstanceLock
from logger.store.shift_book import note_backup


def back_up(data: DataFolder, to: Path) -> str:
    """Copies the store to a file, or into a folder under a name with the time. Raises StoreError."""
    stamp = utc_now()[:19].replace(":", "").replace("-", "")
    target = to / f"lastgrain-{stamp}.sqlite" if to.is_dir() else to
    copy = backup.back_up(data.store, target)
    note_backup(data.root, utc_now(), copy.path)
    return "\n".join([str(copy.path), f"  SHA-256 {copy.sha256}", f"  head    {copy.head}", *_lines(copy)])


def restore(data: DataFolder, copy: Path) -> str:
    """Puts a backup in the store's place; refused while a service runs. Raises StoreError, ConfigError."""
    data.prepare()
    with InstanceLock(data.lock):
        restored, aside = backup.restore(data.store, copy, utc_now)
    lines = [f"{restored.path} is now the store of {copy}, head {restored.head}.", *_lines(restored)]
    if aside is not None:
        lines.append(f"The store that was there is kept as {aside}.")
    return "\n".join(lines)


def _lines(copy: backup.Copy) -> list[str]:
    return [f"  {finding.verdict}: {finding.text}" for finding in copy.findings]
