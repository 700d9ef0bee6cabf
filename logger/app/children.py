"""Child processes of the demo and of a console that starts its own service."""

from __future__ import annotations

import json
import os
import queue
import subprocess
import sys
import threading
from pathlib import Path
from typing import Any


class ChildError(Exception):
    """A child process did not come up; the text says why."""


def start_child(*arguments: str, log: Path, own_session: bool = False) -> subprocess.Popen[bytes]:
    """`lastgrain ARGUMENTS` in this Python, its stderr in `log`.

    `own_session` takes it out of this terminal's reach, so that a hung-up terminal leaves it running.
    """
    log.parent.mkdir(parents=True, exist_ok=True)
    with log.open("ab") as stream:
        return subprocess.Popen(
            [sys.executable, "-m", "logger.cli", *arguments],
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=stream,
            start_new_session=own_session,
            env=os.environ | {"PYTHONUNBUFFERED": "1"},
        )


def first_json_line(child: subprocess.Popen[bytes], log: Path, limit_s: float = 15.0) -> dict[str, Any]:
    """The first line of the child's stdout, as JSON. Raises ChildError with the end of its log."""
    stream = child.stdout
    assert stream is not None
    # A thread: pipes cannot be waited for with a time limit on every system.
    lines: queue.Queue[bytes] = queue.Queue()
    threading.Thread(target=lambda: lines.put(stream.readline()), name="first line", daemon=True).start()
    try:
        line = lines.get(timeout=limit_s)
    except queue.Empty:
        line = b""
    if not line:
        raise ChildError(f"A part of the demo did not start. {last_words(log)}")
    found: dict[str, Any] = json.loads(line)
    return found


def stop_child(child: subprocess.Popen[bytes], limit_s: float = 10.0) -> None:
    """Asks it to end, and ends it when it does not."""
    if child.poll() is None:
        child.terminate()
    try:
        child.wait(limit_s)
    except subprocess.TimeoutExpired:
        child.kill()
        child.wait()
    if child.stdout is not None:
        child.stdout.close()


def last_words(log: Path) -> str:
    """The last line that a child wrote, or where to look."""
    try:
        lines = log.read_text(encoding="utf-8", errors="replace").strip().splitlines()
    except OSError:
        return ""
    return lines[-1] if lines else f"See {log}."
