"""Programs from npm that nobody here wrote, for outside checks. Installed by name into a scratch folder."""

from __future__ import annotations

import hashlib
import os
import subprocess
import tempfile
import time
from pathlib import Path

import pytest

from tests.real import require_binary

PACKAGES = (
    "@asyncapi/parser@>=3.4",
    "@lhncbc/ucum-lhc@>=5",
    "mqtt@>=5.10",
    "sparkplug-payload@>=1.0.3",
    "vnu-jar@>=26",
)
SCRIPTS = Path(__file__).parent
_LONGEST_INSTALL_S = 240.0


def script(name: str) -> tuple[list[str], dict[str, str]]:
    """Command and environment that run one of our scripts beside the packages."""
    node = require_binary("node")
    return [node, str(SCRIPTS / name)], {
        **os.environ,
        "LASTGRAIN_NODE_MODULES": str(_folder() / "node_modules"),
    }


def run_script(name: str, given: str = "") -> str:
    """What a script prints for what it is given."""
    command, environment = script(name)
    done = subprocess.run(
        command, input=given, env=environment, capture_output=True, text=True, timeout=60, check=False
    )
    assert done.returncode == 0, done.stderr
    return done.stdout


def _folder() -> Path:
    """Where the packages are; the first test process that asks installs them, the others wait."""
    npm = require_binary("npm")
    mark = hashlib.sha256(" ".join(PACKAGES).encode()).hexdigest()[:12]
    folder = Path(tempfile.gettempdir()) / f"lastgrain-npm-{os.getuid()}-{mark}"
    done, begun = folder / "done", folder / "begun"
    folder.mkdir(mode=0o700, exist_ok=True)
    deadline = time.monotonic() + _LONGEST_INSTALL_S
    while not done.exists():
        try:
            begun.touch(exist_ok=False)
        except FileExistsError:
            assert time.monotonic() < deadline, f"an installation hangs: remove {folder}"
            time.sleep(0.2)
            continue
        try:
            _install(npm, folder)
            done.touch()
        finally:
            begun.unlink()
    return folder


def _install(npm: str, folder: Path) -> None:
    command = [npm, "install", "--no-audit", "--no-fund", "--no-package-lock", "--ignore-scripts"]
    got = subprocess.run(
        [*command, "--prefix", str(folder), *PACKAGES], capture_output=True, text=True, check=False
    )
    if got.returncode:
        reason = f"npm could not install {', '.join(PACKAGES)}: {got.stderr[-500:]}"
        if os.environ.get("LASTGRAIN_REQUIRE_REAL") == "1":
            pytest.fail(reason)
        pytest.skip(reason)
