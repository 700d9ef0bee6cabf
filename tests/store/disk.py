"""The failing or watched disk of `disk_shim.c`, and children that run on it."""

from __future__ import annotations

import os
import subprocess
import sys
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from tempfile import mkdtemp

from tests.real import require_binary

SOURCE = Path(__file__).with_name("disk_shim.c")
ROOT = SOURCE.parent.parent.parent


@cache
def _built(compiler: str) -> Path:
    made = Path(mkdtemp(prefix="lastgrain-shim-")) / "disk_shim.so"
    command = [
        compiler,
        "-shared",
        "-fPIC",
        "-O2",
        "-Wall",
        "-o",
        str(made),
        str(SOURCE),
        "-ldl",
        "-lpthread",
    ]
    subprocess.run(command, check=True)
    return made


def shim() -> Path:
    """The compiled shim. Skips the test where there is no C compiler, or no LD_PRELOAD."""
    return _built(require_binary("cc"))


@dataclass
class Child:
    """A program in Python on the watched disk; what it prints are acknowledgements."""

    folder: Path
    program: str
    settings: dict[str, str]

    @property
    def flag(self) -> Path:
        """While this file exists the disk fails."""
        return self.folder.parent / "disk-fails"

    def start(self, *arguments: str) -> subprocess.Popen[bytes]:
        environment = os.environ | {
            "LD_PRELOAD": str(shim()),
            "SHIM_DIR": str(self.folder),
            "SHIM_FLAG": str(self.flag),
            "PYTHONPATH": str(ROOT),
            "PYTHONUNBUFFERED": "1",
        }
        return subprocess.Popen(
            [sys.executable, "-c", self.program, str(self.folder / "s.sqlite"), *arguments],
            env=environment | self.settings,
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
        )

    def run(self, *arguments: str, limit_s: float = 120.0) -> list[str]:
        """To its end; its lines. Fails when it fails."""
        child = self.start(*arguments)
        output, _ = child.communicate(timeout=limit_s)
        assert child.returncode == 0, child.returncode
        return output.decode().splitlines()
