"""Which event loop a program runs on."""

from __future__ import annotations

import asyncio
import sys
from collections.abc import Coroutine
from typing import Any, TypeVar

T = TypeVar("T")


def usual_loop_fails() -> bool:
    """Whether this system's usual loop cannot watch a socket of a library."""
    return sys.platform == "win32"


def run_loop(main: Coroutine[Any, Any, T]) -> T:
    """As `asyncio.run`. The MQTT library watches its own socket, which the usual loop of Windows cannot."""
    if not usual_loop_fails():
        return asyncio.run(main)
    with asyncio.Runner(loop_factory=asyncio.SelectorEventLoop) as runner:
        return runner.run(main)
