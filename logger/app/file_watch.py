"""Notices that a file is no longer what was read from it. Never reads it into anything: what runs stays as it was."""

from __future__ import annotations

import asyncio
import hashlib
from collections.abc import Callable, Mapping
from pathlib import Path

LOOK_S = 2.0

Stamp = tuple[int, int] | None


async def watch_files(
    files: Mapping[str, Path], on_change: Callable[[str], None], every_s: float = LOOK_S
) -> None:
    """Calls `on_change` with the name of each file, once, when its content differs from that at the start.

    Watches until cancelled.
    """
    known = {name: await asyncio.to_thread(_content, path) for name, path in files.items()}
    stamps = {name: _stamp(path) for name, path in files.items()}
    while True:
        await asyncio.sleep(every_s)
        for name in list(known):
            stamp = _stamp(files[name])
            if stamp == stamps[name]:
                continue
            stamps[name] = stamp
            if await asyncio.to_thread(_content, files[name]) != known[name]:
                del known[name]
                on_change(name)


def _stamp(path: Path) -> Stamp:
    try:
        found = path.stat()
    except OSError:
        return None
    return found.st_mtime_ns, found.st_size


def _content(path: Path) -> str:
    """Hash of the content; empty for a file that is gone."""
    try:
        return hashlib.sha256(path.read_bytes()).hexdigest()
    except OSError:
        return ""
