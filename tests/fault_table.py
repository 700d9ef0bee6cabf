"""The table of faults in docs/faults.md: `python -m tests.fault_table [ROW ...] [--run]`."""

from __future__ import annotations

import argparse
import re
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
PAGE = ROOT / "docs" / "faults.md"
TIERS = ("check", "full", "soak")


@dataclass(frozen=True, slots=True)
class FaultRow:
    """One fault. `tests` are PATH::NAME; the tier is that of the longest of them."""

    number: int
    fault: str
    expected: str
    tests: tuple[str, ...]
    tier: str
    result: str


def fault_rows(text: str) -> list[FaultRow]:
    """The rows in order of the page. Raises ValueError for a row that is not of six cells."""
    found = []
    for line in text.splitlines():
        if re.match(r"\| *\d", line):
            cells = [cell.strip() for cell in line.strip().strip("|").split(" | ")]
            if len(cells) != 6:
                raise ValueError(f"{len(cells)} cells: {line[:60]}")
            number, fault, expected, tests, tier, result = cells
            names = tuple(re.findall(r"`(tests/[^`]+)`", tests))
            found.append(FaultRow(int(number), fault, expected, names, tier, result))
    return found


def main() -> int:
    """Prints the tests of the rows, or runs them."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("rows", nargs="*", type=int)
    parser.add_argument("--run", action="store_true")
    given = parser.parse_args()
    rows = [
        r for r in fault_rows(PAGE.read_text(encoding="utf-8")) if not given.rows or r.number in given.rows
    ]
    names = list(dict.fromkeys(name for row in rows for name in row.tests))
    if not given.run:
        print("\n".join(names))
        return 0
    command = [sys.executable, "-m", "pytest", "-q", "-m", "not soak", *names]
    return subprocess.run(command, cwd=ROOT, check=False).returncode


if __name__ == "__main__":
    sys.exit(main())
