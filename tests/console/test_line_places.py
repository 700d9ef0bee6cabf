"""The places in plain lines: what they say, what they send."""

from __future__ import annotations

import asyncio
import os
import pty
import termios
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from logger.console.keys import USES
from logger.console.lines.run_talk import PLAIN
from logger.console.places import PLACES, place_called
from logger.console.terminal import hidden
from logger.core.run.repeats import NEEDS_REASON
from logger.core.snapshot import Snapshot
from tests.console import examples, kept_examples
from tests.console.test_line_mode import session

pytestmark = pytest.mark.asyncio


def _idle(**changes: Any) -> Snapshot:
    return replace(examples.idle(), **changes)


async def test_every_place_is_a_command_of_its_own() -> None:
    words = [place.word for place in PLACES]
    assert len(set(words)) == len(words)
    assert not {*words, *(place.label for place in PLACES)} & {
        word for use in USES for word in (use.word, use.key)
    }
    assert all(place_called(place.word) is place and place_called(place.label) is place for place in PLACES)
    assert set(PLAIN) <= {use.key for use in USES}


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        (["go"], "worklist or go w: Planned samples"),
        (["shift"], "FAILED: pressure zero. zero +31.0 Pa, 20 Pa allowed"),
        (
            ["go s"],
            "DUE: extractor bag. new extractor bag 31 days and 212 runs ago; every 200 runs asked for. Type: shift bag.",
        ),
        (["shift"], "not due: blank run. not needed with the balance beside the rig."),
        (["shift broom"], "broom is not done here; these are: air, zero, balance, bag, filter, drill."),
        (["worklist"], "Item 4: MILL-2-0419, priority 5, started, lot L-2031"),
        (["worklist 99"], "NOT DONE: 99 is not planned."),
        (["history MILL"], "Run 39: "),
        (["history 40"], "residue "),
        (["history 40 decision"], "WHY THE RUN ENDED"),
        (["history 40 budget"], "There is no page budget; there are: numbers, decision"),
        (["chart"], "2031-04-12: 51.100 %, action: beyond its limit."),
        (["control chart"], "Centre 50.200 %, s 0.300 %."),
        (["review"], "To look at one and sign it: review 40."),
        (["log"], "Type help"),
        (["charts"], "Mass 0.00 g STABLE."),
        (["sieves"], "sieves is no command."),
    ],
    ids=lambda value: value[0] if isinstance(value, list) else "",
)
async def test_what_a_place_says(typed: list[str], said: str, tmp_path: Path) -> None:
    async with session(tmp_path, examples.idle(), found=kept_examples.found) as it:
        await it.type(*typed)
        await it.until(said)


@pytest.mark.parametrize(
    ("typed", "sent"),
    [
        (
            ["shift bag", "torn"],
            {"kind": "part_changed", "entry": {"part": "bag", "note": "torn"}, "by": "j.tester"},
        ),
        (
            ["shift air", "21,5", "48"],
            {
                "kind": "air_measured",
                "entry": {"temperature_c": 21.5, "humidity_pct": 48.0},
                "by": "j.tester",
            },
        ),
    ],
)
async def test_entries_of_the_shift(typed: list[str], sent: dict[str, Any], tmp_path: Path) -> None:
    async with session(tmp_path, examples.idle(), found=kept_examples.found) as it:
        await it.type(*typed)
        await it.until("Done.")
        assert it.service.commands == [("register", {**sent, "why": "start of shift"})]


@pytest.mark.full
async def test_the_zero_is_watched_before_it_is_entered(tmp_path: Path) -> None:
    async with session(tmp_path, examples.idle(), found=kept_examples.found) as it:
        await it.type("shift zero", "")
        await it.until("Done.")
        assert it.service.commands[0][1]["entry"] == {"zero_pa": 3.0}


@pytest.mark.full
async def test_a_zero_with_the_suction_on_is_refused(tmp_path: Path) -> None:
    snapshot = _idle(pressure=replace(examples.idle().pressure, dp_pa=2400.0))
    async with session(tmp_path, snapshot, found=kept_examples.found) as it:
        await it.type("shift zero", "")
        await it.until("NOT DONE: The pressure is 2400 Pa: switch the suction off by hand")
        assert it.service.commands == []


async def test_the_balance_check_goes_by_enter(tmp_path: Path) -> None:
    async with session(tmp_path, examples.idle(), found=kept_examples.found) as it:
        await it.type("shift balance", "")
        await it.until("Put check weight W-200, 200 g, on the pan")
        await it.type("")
        await it.until("The balance shows 0.00 g: put the 200 g weight on")
        await it.service.show(_idle(mass=replace(examples.idle().mass, value_g=200.01)))
        for _ in range(500):
            if it.mode._talk.snapshot == it.service.snapshot:
                break
            await asyncio.sleep(0.01)
        await it.type("")
        await it.until("Done.")
        entry = {"weight_id": "W-200", "zero_g": 0.0, "reading_g": 200.01}
        assert it.service.commands[0][1]["entry"] == entry


async def test_a_planned_sample_is_begun_with_what_its_plan_says(tmp_path: Path) -> None:
    async with session(tmp_path, examples.idle(), found=kept_examples.found) as it:
        await it.type("worklist MILL-2-0418", "1", "", "", "", "", "", "")
        await it.until("Done.")
        name, sent = it.service.commands[0]
        assert name == "start"
        assert {
            key: sent[key] for key in ("sample_id", "lot", "point", "sampled_at", "operator_id", "sieve_id")
        } == {
            "sample_id": "MILL-2-0418",
            "lot": "L-2031",
            "point": "mill 2, after classifier",
            "sampled_at": "2031-05-02 05:45",
            "operator_id": "j.tester",
            "sieve_id": "",
        }


async def test_a_scanned_sample_that_is_planned_fills_in_the_rest(tmp_path: Path) -> None:
    async with session(tmp_path, examples.idle(), found=kept_examples.found) as it:
        await it.type("new", "1", "MILL-2-0418")
        await it.until("Planned as item 3: filled in.")
        await it.type("", "", "", "", "")
        await it.until("Done.")
        assert it.service.commands[0][1]["lot"] == "L-2031"


async def test_a_run_is_signed_over_the_record_that_was_said(tmp_path: Path) -> None:
    async with session(tmp_path, examples.idle(), found=kept_examples.found) as it:
        await it.type("review 40")
        await it.until("Type accept or reject")
        assert "WHY THE FIGURE STANDS AS IT DOES" in it.out.getvalue()
        await it.type("reject", "r.second", " secret ", "sieve torn")
        await it.until("Done.")
        name, sent = it.service.commands[0]
        assert name == "review"
        assert (sent["do"], sent["why"]) == ("reject", "sieve torn")
        assert sent["password"] == " secret ", "blanks belong to a password"
        assert len(sent["seen"]) == 64
        assert "secret" not in it.out.getvalue()


async def test_a_service_that_cannot_answer_is_said(tmp_path: Path) -> None:
    async with session(tmp_path, examples.idle()) as it:
        for place in PLACES:
            if place.word not in ("log", "charts"):
                since = len(it.out.getvalue())
                await it.type(place.word)
                await it.until("NOT DONE: There is no question", since)


async def test_what_is_typed_is_hidden_and_shown_again() -> None:
    master, slave = pty.openpty()
    try:
        before = termios.tcgetattr(slave)
        with hidden(slave):
            assert not termios.tcgetattr(slave)[3] & termios.ECHO
        assert termios.tcgetattr(slave) == before
        reading, writing = os.pipe()
        with hidden(reading):
            pass
        os.close(reading)
        os.close(writing)
    finally:
        os.close(master)
        os.close(slave)


async def test_a_run_unlike_the_last_ones_is_told_once(tmp_path: Path) -> None:
    snapshot = examples.weighing()
    assert snapshot.run is not None
    slow = tuple(replace(each, load_pct=min(100.0, each.load_pct + 30)) for each in snapshot.run.weighings)
    odd = replace(snapshot, run=replace(snapshot.run, weighings=slow))
    async with session(tmp_path, odd, found=kept_examples.found) as it:
        await it.until("This run is slower than the last 5 runs of this method: load 54.3 %, theirs ")
        await it.service.show(odd)
        await it.service.show(replace(odd, utc="2031-05-02T09:22:11.000Z"))
        await it.type("charts")
        await it.until("Mass 416.63 g")
        assert it.out.getvalue().count("This run is slower") == 1


async def test_a_repeat_asks_for_its_reason(tmp_path: Path) -> None:
    def answer(name: str, args: dict[str, Any]) -> tuple[bool, str]:
        told = "repeat_reason" in args
        return told, "Run 3 is planned." if told else f"The sample {NEEDS_REASON}."

    async with session(tmp_path, examples.idle(), found=kept_examples.found, answer=answer) as it:
        await it.type("new", "1", "S-9", "", "", "", "", "", "sieve was torn")
        await it.until("Run 3 is planned.")
        assert it.service.commands[-1][1]["repeat_reason"] == "sieve was torn"
