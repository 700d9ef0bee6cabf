"""`python -m tests.shifts --hours 24 --seed 1 --arrangement beside`: prints what came of it."""

from __future__ import annotations

import argparse
import sys
import tempfile
from dataclasses import asdict
from pathlib import Path

from tests.shifts.day import work


def main() -> int:
    """Runs one day and prints its figures, a line each."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--hours", type=float, default=24.0)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--arrangement", choices=("beside", "under"), default="beside")
    parser.add_argument("--fault-every-s", type=float, default=240.0)
    args = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        day = work(
            Path(folder),
            args.seed,
            args.arrangement,
            args.hours,
            args.fault_every_s,
            tell=lambda text: print(text, file=sys.stderr, flush=True),
        )
    for name, value in asdict(day).items():
        print(f"{name}: {value}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
