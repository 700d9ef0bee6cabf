"""Attaches a screen to the bench's service, and starts one when none answers."""

from __future__ import annotations

import subprocess
import sys
import time
from collections.abc import Callable, Mapping
from pathlib import Path

from logger.app.children import ChildError, last_words, start_child
from logger.app.paths import DataFolder
from logger.core.text import printable_text
from logger.service.local_socket import answers

START_S = 10.0


def attach(data: DataFolder, bench: Callable[[], Path], *, text: bool = False) -> int:
    """The console, in lines with `text`. Raises ConfigError when a service must be started without a bench file."""
    if not ensure_service(data, bench):
        return 4
    from logger.app.console_report import report_writer
    from logger.console.entry import run_console, run_text

    if text:
        return run_text(data.socket)
    return run_console(data.socket, write_report=report_writer(data))


def attach_lines(data: DataFolder, bench: Callable[[], Path], start: Mapping[str, str]) -> int:
    """One run in line mode."""
    if not ensure_service(data, bench):
        return 4
    from logger.console.entry import run_text

    return run_text(data.socket, start["operator_id"], start=start)


def ensure_service(data: DataFolder, bench: Callable[[], Path]) -> bool:
    """A service answers, an old one or a new one that outlives this terminal. False when it did not start."""
    if answers(data.socket):
        return True
    path = bench()
    data.prepare()
    log = data.root / "serve.log"
    child = start_child("serve", "--data", str(data.root), "--bench", str(path), log=log, own_session=True)
    try:
        wait_for_service(child, data.socket, log)
    except ChildError as error:
        print(printable_text(str(error)), file=sys.stderr)
        return False
    return True


def wait_for_service(child: subprocess.Popen[bytes], path: Path, log: Path) -> None:
    """Returns when the service answers. Raises ChildError with its last words when it ends or is too late."""
    end_s = time.monotonic() + START_S
    while time.monotonic() < end_s and child.poll() is None:
        if answers(path):
            return
        time.sleep(0.05)
    raise ChildError(f"The service did not start. {last_words(log)}")
