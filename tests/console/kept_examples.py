"""What the service answers to questions about what is kept, of our own invention.

ANSWERS holds one entry a question: a new screen that asks something else gets its answer here.
"""

from __future__ import annotations

import json
import math
from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import Any

import logger.publish
from tests.console import shift_examples

RUNS = 6
"""Six earlier runs, the newest number 40; the second newest was aborted."""
ABORTED = 39


@cache
def _record_text() -> str:
    folder = Path(logger.publish.__file__).parent / "schema_versions" / "1.0"
    return (folder / "record.example-1.json").read_text(encoding="utf-8")


def row(number: int, method_id: str = "filler-32-live") -> dict[str, Any]:
    """A line of the list of runs."""
    aborted = number == ABORTED
    return {
        "number": number,
        "run_id": f"0192f0a0-7c1e-7a33-9d55-3a2b1c0d00{number}",
        "started_at": f"2031-05-01T{number % 24:02d}:14:02.000Z",
        "sample_id": f"MILL-2-04{number}",
        "lot": "L-2031",
        "operator_id": "j.tester",
        "method_id": method_id,
        "method_revision": 3 if "live" in method_id else 1,
        "outcome": "aborted" if aborted else "endpoint",
        "residue_pct": None if aborted else 23.41,
        "decision": "" if aborted else "accept",
        "review": "unreviewed",
        "revision": 1,
        "sieve_id": "S-32-0007",
        "simulated": True,
    }


def runs(args: dict[str, Any]) -> dict[str, Any]:
    """The newest first."""
    method_id = args.get("method_id") or "filler-32-live"
    return {"runs": [row(40 - each, method_id) for each in range(RUNS)], "cursor": None}


def run(args: dict[str, Any]) -> dict[str, Any]:
    """One run whole, each a little different from the next."""
    number = int(str(args["which"])[-2:])
    n = 40 - number
    tau_s, rest = 40.0 + 1.2 * n, 16.0 + 0.4 * n
    times = [2.0 * each for each in range(2, 150)]
    loads = [[t, rest + (100 - rest) * math.exp(-t / tau_s)] for t in times]
    rates = [(t, 60 * (100 - rest) / tau_s * math.exp(-t / tau_s)) for t in times[::5]]
    weighings = [
        {
            "effective_s": t,
            "gross_g": 432.0,
            "load_g": 4.0,
            "load_pct": rest + 4 + (96 - rest) * math.exp(-t / tau_s),
            "typed": False,
        }
        for t in (0.0, 60.0, 120.0, 180.0, 240.0, 300.0)
    ]
    return {
        "run": row(number),
        "revisions": [
            {
                "revision": 1,
                "issued_at": "2031-05-01T10:20:00Z",
                "review": "unreviewed",
                "record_sha256": "9f" * 32,
            }
        ],
        "record": {**json.loads(_record_text()), "aperture_um": 32.0, "weighings": weighings},
        "events": [
            {
                "utc": "2031-05-01T10:15:00Z",
                "kind": "noted",
                "level": "info",
                "text": "Lid tapped.",
                "mark": "tapped",
            }
            | {"elapsed_s": 60.0}
        ],
        "events_left_out": 0,
        "curves": {
            "live": True,
            "end_s": 300.0,
            "weighings": [[0.0, 100.0], [300.0, rest]],
            "loads": [loads[:70], loads[70:]],
            "rates": [{"from_s": t, "to_s": t, "pct_per_min": rate} for t, rate in rates],
            "pressures": [[[t, 2480.0 + 40 * math.sin(t / 20 + n)] for t in times]],
        },
    }


def control(args: dict[str, Any]) -> dict[str, Any]:
    """Twelve checks of one sieve; the last but one is beyond its warning limit, the last beyond its action limit."""
    signals = ["none"] * 10 + ["warning", "action"]
    points = [
        {
            "checked_on": f"2031-04-{day:02d}",
            "value_pct": 50.1 + 0.1 * (day % 3) + (1.0 if signal != "none" else 0.0),
            "distance": 0.5,
            "signal": signal,
            "reason": "" if signal == "none" else "beyond its limit",
        }
        for day, signal in enumerate(signals, 1)
    ]
    limits = {"centre_pct": 50.2, "sd_pct": 0.3, "warning_pct": [49.6, 50.8], "action_pct": [49.3, 51.1]}
    return {
        "series": [{"sieve_id": "S-32-0007", "certificate": "RP-11", "checks": 12}],
        "chart": {
            "sieve_id": "S-32-0007",
            "certificate": "RP-11",
            "certified_pct": 50.0,
            "start": 8,
            "why": "",
            "limits": limits,
            "points": points,
        },
    }


ANSWERS: dict[str, Callable[[dict[str, Any]], Any]] = {
    "runs": runs,
    "run": run,
    "control": control,
    "shift": shift_examples.shift,
    "worklist": shift_examples.worklist,
    "new_run": shift_examples.new_run,
}


def found(what: str, args: dict[str, Any]) -> tuple[bool, str, Any]:
    """The answer of a service that has all of this."""
    if what not in ANSWERS:
        return False, f"There is no question {what!r}.", None
    return True, "", ANSWERS[what](args)
