"""A wall clock that a test can move under a running service; the monotonic clocks go on as they are."""

from __future__ import annotations

import struct
import subprocess
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from tempfile import mkdtemp

import pytest

from tests.real import require_binary

SOURCE = Path(__file__).with_name("clock_shim.c")


@cache
def _built(compiler: str) -> Path:
    made = Path(mkdtemp(prefix="lastgrain-clock-")) / "clock_shim.so"
    command = [compiler, "-shared", "-fPIC", "-O2", "-Wall", "-o", str(made), str(SOURCE), "-ldl", "-lm"]
    subprocess.run(command, check=True)
    return made


@dataclass
class MovedClock:
    """Children started while it is installed see the wall clock `offset_s` later."""

    file: Path

    def set(self, offset_s: float) -> None:
        self.file.parent.mkdir(parents=True, exist_ok=True)
        with self.file.open("r+b" if self.file.exists() else "w+b") as stream:
            stream.write(struct.pack("d", offset_s))

    def install(self, monkeypatch: pytest.MonkeyPatch, offset_s: float = 0.0) -> None:
        """For children started from now on. Skips the test where there is no C compiler."""
        self.set(offset_s)
        monkeypatch.setenv("LD_PRELOAD", str(_built(require_binary("cc"))))
        monkeypatch.setenv("CLOCK_SHIM", str(self.file))
