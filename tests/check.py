"""The one check command: `python -m tests.check [--full | --soak]`. The same here and in CI.

`check` (5 min at most): lint, format, types, imports, tests. `--full` adds the long tests (40 min at most);
`--only-full` is what it adds, for CI after `check`. `--soak` runs the tests that a person starts by hand and
whose results are kept in docs/.

Tests run in several processes, since most of them wait (for ports, brokers, terminals). Tests of whole benches
on real ports at high speed share one process (`tests/conftest.py`), so that they do not starve each other.
"""

from __future__ import annotations

import argparse
import subprocess
import sys
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
CODE = ("logger", "drivers", "simulators", "tests")
MARKS = {"check": "not full and not soak", "full": "not soak", "only-full": "full", "soak": "soak"}
PROCESSES = 4


def steps(tier: str) -> list[tuple[str, list[str]]]:
    """Name and command of each step of a tier."""
    python = sys.executable
    tests = ("tests", [python, "-m", "pytest", "-q", "-m", MARKS[tier], "--durations=15"])
    if tier == "soak":
        return [tests]
    tests[1].extend(["-n", str(PROCESSES), "--dist", "loadgroup"])
    if tier == "only-full":
        return [tests]
    return [
        ("lint", [python, "-m", "ruff", "check", *CODE]),
        ("format", [python, "-m", "ruff", "format", "--check", *CODE]),
        ("types", [python, "-m", "mypy"]),
        tests,
    ]


def main() -> int:
    """Runs every step, also after a failure, and says which failed."""
    parser = argparse.ArgumentParser(description=__doc__)
    group = parser.add_mutually_exclusive_group()
    group.add_argument("--full", action="store_const", dest="tier", const="full")
    group.add_argument("--only-full", action="store_const", dest="tier", const="only-full")
    group.add_argument("--soak", action="store_const", dest="tier", const="soak")
    tier = parser.parse_args().tier or "check"
    failed = []
    for name, command in steps(tier):
        print(f"== {name}", flush=True)
        start_s = time.monotonic()
        code = subprocess.run(command, cwd=ROOT, check=False).returncode
        print(
            f"== {name}: {'ok' if code == 0 else 'FAILED'} in {time.monotonic() - start_s:.0f} s", flush=True
        )
        if code:
            failed.append(name)
    print(f"check ({tier}): " + (f"failed: {', '.join(failed)}" if failed else "all ok"))
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
