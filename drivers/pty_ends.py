"""Who stands behind a pseudo terminal: a simulated instrument holds its far end, and is no user of the port."""

from __future__ import annotations

import contextlib
import re
from pathlib import Path

from drivers.port_lock import is_pseudo_terminal


def serves(process: int, port: str) -> bool:
    """Whether `process` holds the far end of the pseudo terminal `port` (links followed).

    Linux tells it to the same user alone (proc(5), `tty-index` in fdinfo; seen on Linux 6.18); elsewhere False.
    """
    number = Path(port).resolve().name
    if not is_pseudo_terminal(port) or not number.isdigit():
        return False
    with contextlib.suppress(OSError):  # another user's, or ended meanwhile
        return any(_is_far_end(entry, number) for entry in Path(f"/proc/{process}/fd").iterdir())
    return False


def _is_far_end(entry: Path, number: str) -> bool:
    try:
        if entry.readlink().name != "ptmx":
            return False
        about = Path(f"{entry.parent.parent}/fdinfo/{entry.name}").read_text(encoding="ascii")
    except OSError:
        return False
    return re.search(rf"^tty-index:\s*{number}$", about, re.MULTILINE) is not None
