"""Whole runs by the keys of the console: few of them, all of them on the screen."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from logger.core.register.events import RegisterKind
from logger.store.history import find_run, reading, record_body
from tests.system.console_bench import Hand, console_bench, demo_bench, short_method

pytestmark = pytest.mark.asyncio

SIEVE: dict[str, Any] = {
    "id": "S-45-01",
    "aperture_um": 45.0,
    "frame_mm": 200.0,
    "standard": "ISO 3310-1:2016",
    "certified_on": "2026-01-02",
}
WEIGHED = ("weigh_empty_sieve", "weigh_charge", "weigh_sieve")


async def _enter(hand: Hand, kind: RegisterKind, entry: dict[str, Any]) -> None:
    args = {"kind": kind.value, "entry": entry, "by": "ann", "why": "test"}
    reply = await hand.bench.service.command("register", "ann", args)
    assert reply.ok, reply.text


async def _sieve(hand: Hand) -> None:
    """From the cautions to the end: the keys that the screen names, and nothing else."""
    await hand.until_shown("CAUTIONS")
    while "CAUTIONS" in hand.words():
        await hand.press("enter")
    await hand.until_asked("weigh_empty_sieve")
    await hand.press("i")
    while await hand.until_asked(*WEIGHED, "finished") != "finished":
        await hand.press("enter")
        await hand.settle()
    await hand.press("i")
    await hand.settle()
    await hand.press("enter")
    await hand.settle()


def _record(hand: Hand, which: str) -> dict[str, Any]:
    with reading(hand.bench.data.store) as connection:
        body = record_body(connection, find_run(connection, which).run_id)
    assert body is not None
    found: dict[str, Any] = json.loads(json.dumps(body))
    return found


@pytest.mark.full
async def test_a_whole_run_takes_at_most_twelve_keys_after_the_sample_id(tmp_path: Path) -> None:
    """Four weighings between intervals, cautions, both looks at the sieve; the hands at the rig are simulated."""
    async with console_bench(tmp_path, demo_bench('"filler-45-interval"')) as hand:
        await _enter(hand, RegisterKind.SIEVE_ADDED, SIEVE)
        await _enter(hand, RegisterKind.AIR_MEASURED, {"temperature_c": 21.5, "humidity_pct": 48.0})
        await hand.press("n")
        await hand.until_shown("S-45-01")
        await hand.type("MILL-2-0417")
        hand.count_from_here()
        await hand.press("ctrl+s")
        await _sieve(hand)
        assert len(hand.keys) <= 12, hand.keys
        record = _record(hand, "1")
        assert record["outcome"] == "endpoint"
        assert record["sample"]["sample_id"] == "MILL-2-0417"
        assert record["sieve"]["id"] == "S-45-01"
        assert len(record["weighings"]) == 5
        assert record["conditions"]["temperature_c"] == 21.5
        assert record["sieve_care"][0]["when"] == "before"


@pytest.mark.full
async def test_a_planned_sample_is_scanned_and_its_second_determination_offered(tmp_path: Path) -> None:
    (tmp_path / "short.toml").write_text(short_method("short-twice", 2), encoding="utf-8")
    async with console_bench(tmp_path, demo_bench('"excipient-75-change", "short.toml"')) as hand:
        planned = {"sample_id": "C-9", "lot": "L-3", "point": "silo 2", "method_id": "short-twice"}
        await _enter(hand, RegisterKind.SIEVE_ADDED, SIEVE)
        await _enter(hand, RegisterKind.SAMPLES_PLANNED, {"source": "w.csv", "samples": [planned]})
        await hand.press("g", "w")
        await hand.until_shown("C-9")
        await hand.type("C-9")
        hand.count_from_here()
        await hand.press("enter")
        await hand.until_shown("silo 2")
        await hand.press("enter")
        await _sieve(hand)
        assert len(hand.keys) <= 12, hand.keys
        await hand.until_shown("determination 2 of 2")
        await hand.press("enter")
        await hand.until_shown("NEW RUN")
        await hand.until_shown("S-45-01")
        await hand.press("enter")
        await _sieve(hand)
        await hand.until_shown("All determinations are made")
        first, second = _record(hand, "1"), _record(hand, "2")
        assert first["sample"] == second["sample"]
        assert hand.bench.service.jobs is not None
        assert hand.bench.service.jobs.worklist()[0].state == "done"
