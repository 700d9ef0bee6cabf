"""The questions about the start of a shift, the worklist, and what a new run can be filled in with."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import asdict
from typing import Any

from logger.core.run.plan import BenchPlan
from logger.core.worklist.status import OPEN, ItemStatus
from logger.service.job_desk import JobDesk
from logger.service.queries import Handler, asked_number
from logger.service.readings_blocks import shift_utc

PAGE_ITEMS = 200
SHOWN_DAYS = 90
"""A console shows samples planned so lately: each look reads the records since the first of them."""


def shift_queries(desk: JobDesk, bench: BenchPlan, utc: Callable[[], str]) -> dict[str, Handler]:
    """`shift`: what is due. `worklist`: open items first, then the newest others. `new_run`: sieves and open items."""
    return {
        "shift": lambda args: shift_answer(desk, bench, utc()),
        "worklist": lambda args: worklist_answer(
            desk, asked_number(args, "limit", PAGE_ITEMS, 1, 1000), _lately(utc())
        ),
        "new_run": lambda args: _new_run(desk, _lately(utc())),
    }


def shift_answer(desk: JobDesk, bench: BenchPlan, utc: str) -> dict[str, Any]:
    """What is due at `utc`, and what the checks at the bench need to know."""
    return {
        "utc": utc,
        "items": [asdict(item) for item in desk.due(utc)],
        "weights": [
            {"id": each.id, "mass_g": each.mass_g, "tolerance_g": each.tolerance_g}
            for each in bench.checks.weights
        ],
        "zero_tolerance_pa": bench.checks.pressure_zero_tolerance_pa,
        "suction_off_pa": bench.alarms.lid_open_pa,
    }


def _lately(utc: str) -> str:
    return shift_utc(utc, -SHOWN_DAYS * 86_400)


def worklist_answer(desk: JobDesk, limit: int, since_utc: str = "") -> dict[str, Any]:
    """At most `limit` items planned since a time: open ones in their order, then the newest of the others."""
    found = desk.worklist(since_utc)
    still = [each for each in found if each.state in OPEN]
    others = sorted((each for each in found if each.state not in OPEN), key=lambda each: -each.item.number)
    shown = [*still, *others][:limit]
    return {"items": [plain_status(each) for each in shown], "open": len(still), "all": len(found)}


def plain_status(status: ItemStatus) -> dict[str, Any]:
    """An item as JSON values, its sample's fields beside its own."""
    item, step = status.item, status.step
    return {
        "item": item.number,
        **item.sample.plain(),
        "state": status.state,
        "text": status.text,
        "runs": list(status.runs),
        "next": None if step is None else asdict(step),
        "planned_at": item.planned_utc,
        "planned_by": item.planned_by,
        "source": item.source,
        "withdrawn_at": item.withdrawn_utc,
        "withdrawn_by": item.withdrawn_by,
    }


def _new_run(desk: JobDesk, since_utc: str) -> Mapping[str, Any]:
    sieves = [
        {"id": name, "aperture_um": entry.sieve.aperture_um, "frame_mm": entry.sieve.frame_mm}
        for name, entry in sorted(desk.state().sieves.items())
        if not entry.retired
    ]
    planned = [plain_status(each) for each in desk.worklist(since_utc) if each.state in OPEN]
    return {"sieves": sieves, "planned": planned[:PAGE_ITEMS]}
