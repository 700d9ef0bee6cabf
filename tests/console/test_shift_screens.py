"""Start of shift and worklist by their keys: what is sent, and what is refused before it is sent."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from textual.events import Key
from textual.widgets import Input

from logger.core.snapshot import MassView, NextRunView, PressureView, Snapshot
from tests.console import examples, kept_examples
from tests.console.watching import Watching, watching

pytestmark = pytest.mark.asyncio


def _idle(mass_g: float | None = 0.0, dp_pa: float = 3.0) -> Snapshot:
    snapshot = examples.idle()
    mass = MassView(value_g=mass_g, stable=mass_g is not None, quality="ok", decimals=3, raw="")
    pressure: PressureView = replace(snapshot.pressure, dp_pa=dp_pa)
    return replace(snapshot, mass=mass, pressure=pressure)


def _entered(watched: Watching) -> list[dict[str, Any]]:
    return [args for name, args in watched.sent() if name == "register"]


async def _open(watched: Watching, key: str, words: str) -> None:
    await watched.press("g", key)
    await watched.until_shown(words)


async def test_air_is_entered_with_a_decimal_comma_and_withdrawn_with_a_reason(tmp_path: Path) -> None:
    async with watching(tmp_path, _idle(), found=kept_examples.found) as watched:
        await _open(watched, "s", "not measured yet")
        await watched.press("a", *"hot", "enter", *"48", "enter")
        await watched.until_shown("✗ Type the temperature in °C as a number")
        watched.app.screen.query_one("#field-temperature_c", Input).value = "21,5"
        await watched.press("enter")
        await watched.until(lambda: _entered(watched))
        assert _entered(watched)[0] == {
            "kind": "air_measured",
            "entry": {"temperature_c": 21.5, "humidity_pct": 48.0},
            "by": "j.tester",
            "why": "start of shift",
        }
        await watched.until_shown("u undo")
        await watched.press("u", *"typo", "enter")
        await watched.until(lambda: len(_entered(watched)) == 2)
        assert _entered(watched)[1]["entry"] == {"kind": "air_measured"}
        assert _entered(watched)[1]["why"] == "typo"
        await watched.until(lambda: "u undo" not in watched.words())


async def test_the_balance_is_checked_on_its_live_reading(tmp_path: Path) -> None:
    answers = ["FAILED: check weight W-200: +0.01 g off", "Passed: check weight W-200: +0.001 g off."]

    def answer(name: str, args: dict[str, Any]) -> tuple[bool, str]:
        return True, answers[len(_entered(watched)) - 1]

    async with watching(tmp_path, _idle(5.0), found=kept_examples.found, answer=answer) as watched:
        await _open(watched, "s", "balance check")
        await watched.press("c")
        await watched.until_shown("Clear the pan.")
        await watched.service.show(_idle(199.0))
        await watched.until_shown("199.000 g")
        await watched.press("enter")
        await watched.until_shown("clear the pan first")
        for wanted, reading_g in (("FAILED", 200.01), ("Passed", 200.001)):
            await watched.service.show(_idle(0.001))
            await watched.until_shown("0.001 g ● STABLE")
            await watched.press("enter")
            await watched.until_shown("Put check weight W-200, 200 g")
            await watched.service.show(_idle(None))
            await watched.until_shown("NO READING")
            await watched.press("enter")
            await watched.until_shown("The balance is not stable")
            await watched.service.show(_idle(reading_g))
            await watched.until_shown(f"{reading_g:.3f} g ● STABLE")
            await watched.press("enter")
            await watched.until_shown(wanted)
        await watched.until_shown("START OF SHIFT")
        entries = [each["entry"] for each in _entered(watched)]
        assert entries[1] == {"weight_id": "W-200", "zero_g": 0.001, "reading_g": 200.001}
        assert [each["reading_g"] for each in entries] == [200.01, 200.001]


async def test_what_was_refused_is_told_only_while_it_holds(tmp_path: Path) -> None:
    async with watching(tmp_path, _idle(dp_pa=2.0), found=kept_examples.found) as watched:
        await _open(watched, "s", "pressure zero")
        await watched.press("z")
        await watched.until_shown("the reading is watched for some seconds")
        await watched.press("enter")
        await watched.until_shown("✗ Wait: the reading is watched for some seconds.")
        await watched.until_shown("The reading rests: take it.")
        assert "✗" not in watched.words()


@pytest.mark.full
async def test_no_zero_is_taken_with_the_suction_on(tmp_path: Path) -> None:
    async with watching(tmp_path, _idle(dp_pa=2400.0), found=kept_examples.found) as watched:
        await _open(watched, "s", "pressure zero")
        await watched.press("z")
        await watched.until_shown("switch the suction off by hand")
        await watched.press("enter")
        await watched.until_shown("✗ The pressure is 2400 Pa")
        assert _entered(watched) == []


@pytest.mark.full
async def test_instruments_are_left_alone_during_a_run(tmp_path: Path) -> None:
    async with watching(tmp_path, examples.weighing(), found=kept_examples.found) as watched:
        await _open(watched, "s", "balance check")
        await watched.press("c")
        await watched.until_shown("✗ A run is on the bench: finish it first.")
        await watched.press("z")
        assert watched.app.screen.query("#tasks")


async def test_a_scanned_sample_starts_its_run_with_its_plan_filled_in(tmp_path: Path) -> None:
    async with watching(tmp_path, _idle(), found=kept_examples.found) as watched:
        await _open(watched, "w", "MILL-2-0418")
        await watched.press(*"MILL-2-0419", "enter")
        await watched.until_shown("NEW RUN")
        await watched.press("enter")
        await watched.until(lambda: watched.sent())
        name, args = watched.sent()[-1]
        assert name == "start"
        assert args["sample_id"] == "MILL-2-0419"
        assert args["method_id"] == "cocoa-75"
        assert args["point"] == "mill 2, after classifier"


@pytest.mark.full
async def test_a_sample_that_is_not_planned_is_told(tmp_path: Path) -> None:
    async with watching(tmp_path, _idle(), found=kept_examples.found) as watched:
        await _open(watched, "w", "MILL-2-0418")
        await watched.press(*"X-1", "enter")
        await watched.until_shown("Sample X-1 is not planned")
        assert watched.sent() == []


@pytest.mark.full
async def test_a_planned_sample_is_withdrawn_with_a_reason_and_put_back(tmp_path: Path) -> None:
    async with watching(tmp_path, _idle(), found=kept_examples.found) as watched:
        await _open(watched, "w", "MILL-2-0418")
        await watched.press("down", "ctrl+x", "enter")
        await watched.until_shown("✗ reason is needed.")
        await watched.press(*"lost", "enter")
        await watched.until(lambda: _entered(watched))
        assert _entered(watched)[0]["entry"] == {"item": 4}
        assert _entered(watched)[0]["why"] == "lost"
        await watched.until(lambda: watched.app.screen.query("#planned"))
        await watched.press("ctrl+z")
        await watched.until(lambda: len(_entered(watched)) == 2)
        assert (_entered(watched)[1]["kind"], _entered(watched)[1]["entry"]) == (
            "sample_restored",
            {"item": 4},
        )


@pytest.mark.full
async def test_a_scan_in_the_form_of_a_new_run_finds_its_plan(tmp_path: Path) -> None:
    async with watching(tmp_path, _idle(), found=kept_examples.found) as watched:
        await watched.press("n")
        await watched.until_shown("NEW RUN")
        await watched.press("enter")
        await watched.until_shown("✗ sample is needed.")
        await watched.press(*"MILL-2-0418", "enter")
        await watched.until_shown("Planned as item 3: filled in.")
        await watched.press("enter")
        await watched.until(lambda: watched.sent())
        assert watched.sent()[-1][1]["lot"] == "L-2031"


@pytest.mark.parametrize(("before", "who"), [("m.other", "m.other"), ("", "j.tester")])
async def test_the_next_determination_is_filled_in(tmp_path: Path, before: str, who: str) -> None:
    """Left from before a restart it names no operator: who works at this console is filled in."""
    following = NextRunView(
        text="Next: determination 2 of 2, on a fresh test portion.",
        complete=False,
        method_id="cocoa-75",
        sample_id="C-7",
        operator_id=before,
        lot="L-1",
        point="",
        sampled_at="",
        sieve_id="S-75-1",
        aperture_um=75.0,
    )
    async with watching(tmp_path, replace(_idle(), next_run=following)) as watched:
        await watched.press("enter")
        await watched.until_shown("NEW RUN")
        await watched.press("enter")
        await watched.until(lambda: watched.sent())
        args = watched.sent()[-1][1]
        assert (args["method_id"], args["sample_id"], args["sieve_id"]) == ("cocoa-75", "C-7", "S-75-1")
        assert args["operator_id"] == who


async def test_the_sieve_is_in_order_by_one_key_and_a_finding_by_a_note(tmp_path: Path) -> None:
    snapshot = replace(examples.taring(), can=(*examples.taring().can, "sieve_care", "lid_deposits"))
    async with watching(tmp_path, snapshot) as watched:
        await watched.press("i")
        await watched.until(lambda: watched.sent())
        await watched.press("o", *"dent", "enter")
        await watched.until(lambda: len(watched.sent()) == 2)
        await watched.until(lambda: watched.app.screen.id == "bench")
        await watched.press("d")
        await watched.until(lambda: len(watched.sent()) == 3)
        assert watched.sent() == [
            ("sieve_care", {"in_order": True}),
            ("sieve_care", {"note": "dent"}),
            ("lid_deposits", {}),
        ]


async def test_a_plan_with_a_method_that_is_not_here_starts_nothing(tmp_path: Path) -> None:
    snapshot = replace(_idle(), methods=tuple(each for each in _idle().methods if each.id != "cocoa-75"))
    async with watching(tmp_path, snapshot, found=kept_examples.found) as watched:
        await _open(watched, "w", "MILL-2-0418")
        await watched.press("enter")
        await watched.until_shown("NEW RUN")
        await watched.press("ctrl+s")
        await watched.until_shown("✗ Method cocoa-75 of the plan is not on this bench: choose one.")
        assert watched.sent() == []


async def test_keys_that_arrive_in_one_go_find_their_fields(tmp_path: Path) -> None:
    """A slow line delivers them so, and so does a scanner with a line end after each code."""
    async with watching(tmp_path, _idle(), found=kept_examples.found) as watched:
        await _open(watched, "s", "not measured yet")
        await watched.press("a")
        await watched.until_shown("TEMPERATURE AND HUMIDITY")
        for key in (*"21", "comma", "5", "enter", *"48", "enter"):
            watched.app.post_message(Key(key, {"comma": ",", "enter": "\r"}.get(key, key)))
        await watched.until(lambda: _entered(watched))
        assert _entered(watched)[0]["entry"] == {"temperature_c": 21.5, "humidity_pct": 48.0}
