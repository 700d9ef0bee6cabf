"""Lines at a steady rate into pseudo terminals: the same feed for every logger that is measured."""

from __future__ import annotations

import contextlib
import itertools
import json
import os
import sys
import time
import tty

LATE_S = 0.05
"""What was missed for longer is not made up for: that would be a burst."""


def open_pty() -> tuple[int, str]:
    """Master end and the slave's path; the slave stays open here, so that nobody sees a hang-up."""
    master, slave = os.openpty()
    tty.setraw(slave)
    os.set_blocking(master, False)
    return master, os.ttyname(slave)


def mass_line(k: int) -> bytes:
    """A line of the streamed balance dialect, last digits moving."""
    whole = 400 * 100 + k % 3
    number = f"{whole // 100},{whole % 100:02d}"
    return f"{'g':<2} {number:>10} = {k % 10000:04d}\r".encode()


def pressure_line(k: int) -> bytes:
    """A line of the streamed transducer dialect, near nominal pressure or at rest."""
    return f"dp={2490 + k % 17:+.1f} Pa;ok\n".encode()


def main() -> None:
    """Arguments: rate in Hz, number of pairs, and perhaps `wait`: then no line is ever left out or cut, and a
    reader that is late slows the feed. Prints the ports as one JSON line, then feeds until ended."""
    hz, pairs = float(sys.argv[1]), int(sys.argv[2])
    ptys = [(open_pty(), open_pty()) for _ in range(pairs)]
    for master, _ in (pty for pair in ptys for pty in pair):
        os.set_blocking(master, "wait" in sys.argv[3:])
    print(json.dumps([[mass[1], pressure[1]] for mass, pressure in ptys]), flush=True)
    due_s = time.monotonic()
    for k in itertools.count():
        for (mass, _), (pressure, _) in ptys:
            for master, line in ((mass, mass_line(k)), (pressure, pressure_line(k))):
                with contextlib.suppress(BlockingIOError):  # nobody reads yet
                    os.write(master, line)
        due_s = max(due_s, time.monotonic() - LATE_S) + 1 / hz
        time.sleep(max(0.0, due_s - time.monotonic()))


if __name__ == "__main__":
    main()
