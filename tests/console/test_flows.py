"""What the keys do: a whole run with few of them, and nothing by mistake."""

from __future__ import annotations

import asyncio
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from textual.widgets import Input

from logger.console.app import ConsoleApp
from logger.service.client import ServiceClient
from tests.console import examples
from tests.console.fake_service import FakeService
from tests.console.watching import Watching, watching

pytestmark = pytest.mark.asyncio


async def _command(watched: Watching, name: str, count: int = 1) -> dict[str, Any]:
    await watched.until(lambda: len(watched.sent()) >= count)
    assert len(watched.sent()) == count
    sent, args = watched.sent()[-1]
    assert sent == name
    return args


async def test_a_new_run_by_scanner(tmp_path: Path) -> None:
    """The scanner types fast and ends with Enter; four more Enters leave the rest empty."""
    async with watching(tmp_path, examples.idle()) as watched:
        await watched.press("enter")
        await watched.until_shown("NEW RUN")
        await watched.press(*"MILL-2-0417", "enter", "enter", *"L-2031", "enter", "enter", "enter", "enter")
        args = await _command(watched, "start")
        assert args == {
            "method_id": "filler-32-live",
            "sample_id": "MILL-2-0417",
            "operator_id": "j.tester",
            "lot": "L-2031",
            "point": "",
            "sieve_id": "",
            "sampled_at": "",
        }
        await watched.until(lambda: watched.app.screen.id == "bench")
        await watched.until_shown("✓ Done.")


async def test_another_method_and_start_at_once(tmp_path: Path) -> None:
    async with watching(tmp_path, examples.idle()) as watched:
        await watched.press("n", "up", "down", "down", "enter", *"S1", "ctrl+s")
        assert (await _command(watched, "start"))["method_id"] == "cocoa-75"


async def test_the_last_method_is_marked_the_next_time(tmp_path: Path) -> None:
    async with watching(tmp_path, examples.idle()) as watched:
        for count in (1, 2):
            moves = ["up", "down", "enter"] if count == 1 else []
            await watched.press("n", *moves, *"S1", "ctrl+s")
            assert (await _command(watched, "start", count))["method_id"] == "excipient-32"
            await watched.until(lambda: watched.app.screen.id == "bench")


async def test_a_needed_field_is_asked_for_and_nothing_is_sent(tmp_path: Path) -> None:
    async with watching(tmp_path, examples.idle()) as watched:
        await watched.press("n", "ctrl+s")
        await watched.until_shown("✗ sample is needed.")
        await watched.press("escape")
        await watched.until(lambda: watched.app.screen.id == "bench")
        assert watched.sent() == []


async def test_a_refusal_is_shown_and_what_was_typed_stays(tmp_path: Path) -> None:
    async with watching(
        tmp_path, examples.idle(), answer=lambda name, args: (False, "Sieve S-7 is due for a check [/.")
    ) as watched:
        await watched.press("n", *"ABC", "ctrl+s")
        await watched.until_shown("✗ Sieve S-7 is due for a check [/.")
        assert watched.app.screen.query_one("#field-sample_id", Input).value == "ABC"


@pytest.mark.parametrize(
    ("snapshot", "command"),
    [(examples.taring, "accept_weight"), (examples.weighing, "accept_weight"), (examples.finished, "close")],
)
@pytest.mark.parametrize("key", ["enter", "space"])
async def test_one_key_does_what_is_asked(snapshot: Any, command: str, key: str, tmp_path: Path) -> None:
    async with watching(tmp_path, snapshot()) as watched:
        await watched.press(key)
        assert await _command(watched, command) == {}


async def test_cautions_are_read_to_the_end_and_acknowledged_by_name(tmp_path: Path) -> None:
    async with watching(tmp_path, examples.cautions_due()) as watched:
        await watched.press("enter")
        await watched.until_shown("1. Dust of this powder can explode in air")
        await watched.press("enter")
        await watched.pilot.pause(0.2)
        assert watched.sent() == [], "not before the end was seen"
        await watched.until_shown("7. This console is not a safety device.")
        await watched.press("enter")
        assert await _command(watched, "acknowledge") == {"name": "j.tester"}


async def test_cautions_may_be_read_when_they_are_not_due(tmp_path: Path) -> None:
    async with watching(tmp_path, examples.sieving()) as watched:
        await watched.press("c")
        await watched.until_shown("1. Dust of this powder can explode in air")
        assert not watched.app.screen.query(Input)
        await watched.press("escape")
        await watched.until(lambda: watched.app.screen.id == "bench")


@pytest.mark.parametrize(
    ("key", "kind"),
    [("t", "lid-tapped"), ("b", "sieve-brushed"), ("l", "lumps-crushed"), ("T", "lid-tapped")],
)
async def test_what_hands_do_is_one_key(key: str, kind: str, tmp_path: Path) -> None:
    async with watching(tmp_path, examples.sieving()) as watched:
        await watched.press(key)
        assert (await _command(watched, "note"))["kind"] == kind


async def test_another_note(tmp_path: Path) -> None:
    async with watching(tmp_path, examples.sieving()) as watched:
        await watched.press("m", *"dust", "enter")
        assert await _command(watched, "note") == {"kind": "other", "text": "dust"}


@pytest.mark.parametrize(("key", "command"), [("h", "hold"), ("s", "stop"), ("x", "abort"), ("r", "resume")])
async def test_reasons_are_asked(key: str, command: str, tmp_path: Path) -> None:
    snapshot = replace(examples.sieving(), can=("hold", "resume", "stop", "abort", "note"))
    async with watching(tmp_path, snapshot) as watched:
        await watched.press(key, "enter")
        await watched.until_shown("✗ reason is needed.")
        await watched.press(*"torn", "enter")
        if command in ("stop", "abort"):
            await watched.until_shown("now")
            await watched.press("enter", "enter")
            assert watched.sent() == [], "Enter alone never says yes"
            await watched.press("y")
        assert await _command(watched, command) == {"reason": "torn"}
        await watched.until(lambda: watched.app.screen.id == "bench")


async def test_a_second_thought_sends_nothing(tmp_path: Path) -> None:
    async with watching(tmp_path, examples.sieving()) as watched:
        await watched.press("x", *"why", "enter")
        await watched.until_shown("Abort the run now")
        await watched.press("n", "escape")
        await watched.until(lambda: watched.app.screen.id == "bench")
        assert watched.sent() == []


@pytest.mark.parametrize(("typed", "mass_g"), [("412.08", 412.08), ("412,08", 412.08), ("7", 7.0)])
async def test_a_weight_is_typed_with_a_reason(typed: str, mass_g: float, tmp_path: Path) -> None:
    async with watching(tmp_path, examples.weighing()) as watched:
        keys = [{".": "full_stop", ",": "comma"}.get(char, char) for char in typed]
        await watched.press("w", *keys, "enter", *"cable", "enter")
        assert await _command(watched, "type_weight") == {"mass_g": mass_g, "reason": "cable"}


@pytest.mark.parametrize("typed", ["1e3", "-4", "nan", "12.", "1_0", "1 0"])
async def test_what_is_no_mass_is_refused(typed: str, tmp_path: Path) -> None:
    async with watching(tmp_path, examples.weighing()) as watched:
        await watched.press("w")
        await watched.until_shown("TYPE A WEIGHT")
        watched.app.screen.query_one("#field-mass_g", Input).value = typed
        await watched.press("enter", *"cable", "enter")
        await watched.until_shown("Type the mass in g as the balance shows it")
        assert watched.sent() == []


async def test_controls_are_taken_from_another_only_after_a_question(tmp_path: Path) -> None:
    async with watching(tmp_path, examples.alarming()) as watched:
        await watched.press("enter", "space")
        await watched.press("k")
        await watched.until_shown("They are held by a.second now.")
        await watched.press("enter")
        await watched.until_shown("Take the controls from a.second?")
        assert watched.sent() == []
        await watched.press("y")
        assert await _command(watched, "take_controls") == {"name": "j.tester"}


async def test_controls_are_released(tmp_path: Path) -> None:
    async with watching(tmp_path, examples.sieving()) as watched:
        await watched.press("k")
        assert await _command(watched, "release_controls") == {}


async def test_keys_that_do_not_apply_say_so_and_send_nothing(tmp_path: Path) -> None:
    async with watching(tmp_path, examples.idle()) as watched:
        await watched.press("h", "w", "x", "t", "r")
        await watched.until_shown("✗ NOT DONE: resume is not possible now.")
        assert watched.sent() == []


async def test_a_key_held_down_accepts_once(tmp_path: Path) -> None:
    """The service takes its time; a storm of Enter sends one command, not many."""
    async with watching(tmp_path, examples.weighing(), enter_after_s=0.4) as watched:
        await watched.pilot.pause(0.5)
        for _ in range(10):
            await watched.press("enter")
            await watched.pilot.pause(0.1)
        assert await _command(watched, "accept_weight") == {}


async def test_enter_waits_until_an_instruction_could_be_read(tmp_path: Path) -> None:
    async with watching(tmp_path, examples.weighing(), enter_after_s=0.4) as watched:
        await watched.pilot.pause(0.5)
        await watched.service.show(examples.finished())
        await watched.until_shown("Finished: residue")
        await watched.press("enter", "enter")
        assert watched.sent() == []
        await watched.pilot.pause(0.5)
        await watched.press("enter")
        await _command(watched, "close")


async def test_a_service_that_goes_and_comes_back(tmp_path: Path) -> None:
    async with watching(tmp_path, examples.weighing()) as watched:
        await watched.service.stop()
        await watched.until_shown("SERVICE NOT ANSWERING: this picture is")
        await watched.until_shown("Keys are off until it answers.")
        await watched.press("enter", "w")
        await watched.until_shown("keys that change something are off")
        assert "accept weight" not in watched.words()
        again = FakeService(watched.service.path, examples.finished())
        await again.start()
        try:
            await watched.until_shown("Finished: residue 23.41 %")
            await watched.until(lambda: "NOT ANSWERING" not in watched.words())
            await watched.press("enter")
            await watched.until(lambda: again.commands == [("close", {})])
        finally:
            await again.stop()


async def test_an_open_form_cannot_send_to_a_service_that_is_gone(tmp_path: Path) -> None:
    async with watching(tmp_path, examples.sieving()) as watched:
        await watched.press("h", *"torn")
        await watched.service.stop()
        await watched.until_shown("SERVICE NOT ANSWERING")
        await watched.press("enter")
        await watched.until_shown("✗ The service does not answer. Nothing was sent.")


async def test_before_there_is_a_service(tmp_path: Path) -> None:
    app = ConsoleApp(ServiceClient(tmp_path / "none.sock", retry_s=0.05))
    async with app.run_test(size=(80, 24)) as pilot:
        watched = Watching(app, pilot, FakeService(tmp_path / "none.sock", examples.idle()))
        await watched.until_shown("no service at this bench's socket")
        await watched.service.start()
        try:
            await watched.until(lambda: app.screen.id == "bench")
        finally:
            await watched.service.stop()


async def test_leaving_asks_once_and_says_that_the_service_goes_on(tmp_path: Path) -> None:
    async with watching(tmp_path, examples.sieving()) as watched:
        await watched.press("q")
        await watched.until_shown("Leave this console? The service goes on, and so does a run.")
        await watched.press("escape")
        await watched.until(lambda: watched.app.screen.id == "bench")
        await watched.press("q", "y")
        await asyncio.sleep(0)
        assert watched.app.return_value == 0
        assert watched.sent() == []


async def test_an_unplugged_balance_is_shown_at_once(tmp_path: Path) -> None:
    """From the service's message to the screen well under the second that is allowed."""
    async with watching(tmp_path, examples.sieving(), heartbeat_s=60.0) as watched:
        before = asyncio.get_running_loop().time()
        await watched.service.show(examples.alarming())
        await watched.until_shown("balance LOST")
        assert asyncio.get_running_loop().time() - before < 0.8
