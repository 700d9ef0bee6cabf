"""A start of a shift and a worklist of our own invention, as the service answers them."""

from __future__ import annotations

from typing import Any

_ITEMS = (
    (
        "zero",
        "",
        "pressure zero",
        "failed",
        "zero +31.0 Pa, 20 Pa allowed: zero the transducer, look at its hoses",
    ),
    (
        "bag",
        "",
        "extractor bag",
        "due",
        "new extractor bag 31 days and 212 runs ago; every 200 runs asked for",
    ),
    ("air", "", "temperature, humidity", "due", "not measured yet"),
    ("balance", "", "balance check", "due", "the balance was last checked 26 h ago, every 24 h asked for"),
    (
        "sieve",
        "S-32-0007",
        "sieve S-32-0007",
        "due",
        "sieve S-32-0007 checked on 2031-02-01, 104 runs since then",
    ),
    ("drill", "", "restore drill", "done", "12 days ago: backup of May 1 in /tmp, run 38 verified"),
    ("backup", "", "backup", "done", "made 14 h ago"),
    ("pressure", "", "pressure check", "not asked", "no check is asked for on this bench"),
    ("blank", "", "blank run", "not asked", "not needed with the balance beside the rig"),
)
_HOW = "Do it as the instruction of the bench says."


def shift(args: dict[str, Any]) -> dict[str, Any]:
    """Something of every standing."""
    names = ("task", "subject", "title", "standing", "text")
    return {
        "utc": "2031-05-02T06:00:00.000Z",
        "items": [dict(zip(names, item, strict=True)) | {"how": _HOW} for item in _ITEMS],
        "weights": [{"id": "W-200", "mass_g": 200.0, "tolerance_g": 0.003}],
        "zero_tolerance_pa": 20.0,
        "suction_off_pa": 50.0,
    }


def item(number: int, sample_id: str, state: str = "planned", **changes: Any) -> dict[str, Any]:
    """One planned sample."""
    return {
        "item": number,
        "sample_id": sample_id,
        "lot": "L-2031",
        "point": "mill 2, after classifier",
        "sampled_at": "2031-05-02 05:45",
        "method_id": "cocoa-75",
        "sieve_id": "",
        "aperture_um": None,
        "due": "2031-05-02T10:00",
        "priority": 5,
        "state": state,
        "text": "",
        "runs": [],
        "next": None,
    } | changes


def worklist(args: dict[str, Any]) -> dict[str, Any]:
    """Open ones first, then a done and a withdrawn one."""
    items = [
        item(3, "MILL-2-0418", priority=1),
        item(4, "MILL-2-0419", "started", text="next: determination 2 of 2, on a fresh test portion"),
        item(5, "SILO-4-0007", lot="", method_id="", due="", point="", sampled_at=""),
        item(1, "MILL-2-0416", "done", text="run 38"),
        item(2, "MILL-2-0417", "withdrawn", text="jar broken"),
    ]
    return {"items": items, "open": 3, "all": 5}


def new_run(args: dict[str, Any]) -> dict[str, Any]:
    """Two sieves in use, one for each of two methods."""
    sieves = [("S-32-0007", 32.0), ("S-75-0003", 75.0)]
    return {
        "sieves": [{"id": name, "aperture_um": um, "frame_mm": 200.0} for name, um in sieves],
        "planned": worklist({})["items"][:3],
    }
