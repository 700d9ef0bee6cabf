"""Real components that a bare machine may lack: tests skip with a reason, or fail where they are required."""

from __future__ import annotations

import os
import shutil

import pytest


def require_binary(name: str) -> str:
    """The program's path. Skips the test when it is missing; fails it when LASTGRAIN_REQUIRE_REAL=1."""
    path = shutil.which(name) or shutil.which(name, path="/usr/sbin:/usr/local/sbin")
    if path is not None:
        return path
    reason = f"{name} is not installed on this machine"
    if os.environ.get("LASTGRAIN_REQUIRE_REAL") == "1":
        pytest.fail(f"{reason}, and LASTGRAIN_REQUIRE_REAL=1 asks for it")
    pytest.skip(reason)
