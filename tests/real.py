"""Real components that a bare machine may lack: tests skip with a reason, or fail where they are required."""

from __future__ import annotations

import ctypes
import os
import shutil
from typing import NoReturn

import pytest


def require_binary(name: str) -> str:
    """The program's path. Skips the test when it is missing; fails it when LASTGRAIN_REQUIRE_REAL=1."""
    path = shutil.which(name) or shutil.which(name, path="/usr/sbin:/usr/local/sbin")
    return path if path is not None else _missing(name)


def require_library(name: str) -> ctypes.CDLL:
    """The shared library. Skips the test when it is missing; fails it when LASTGRAIN_REQUIRE_REAL=1."""
    try:
        return ctypes.CDLL(name)
    except OSError:
        return _missing(name)


def _missing(name: str) -> NoReturn:
    reason = f"{name} is not installed on this machine"
    if os.environ.get("LASTGRAIN_REQUIRE_REAL") == "1":
        pytest.fail(f"{reason}, and LASTGRAIN_REQUIRE_REAL=1 asks for it")
    pytest.skip(reason)
