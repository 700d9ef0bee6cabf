"""The console in lines: what is said, and what lines do."""

from __future__ import annotations

import asyncio
import contextlib
import io
import os
import re
from collections.abc import AsyncIterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from logger.console import line_mode
from logger.console.line_mode import LineMode
from logger.console.line_report import PROGRESS_S, REPEAT_S, Reporter, figures, spoken
from logger.console.lines.typed import Lines, lines_of
from logger.core.snapshot import EventView, Instruction, Snapshot
from logger.service.client import History, ServiceClient, Watch
from tests.console import examples
from tests.console.fake_service import FakeService, serving


def _watch(snapshot: Snapshot, *, answering: bool = True) -> Watch:
    return Watch(snapshot, History(), answering, 0.1, "" if answering else "gone")


def test_the_first_picture_is_said_whole() -> None:
    lines = Reporter().take(_watch(examples.weighing()), 0.0)
    assert "Bench works-a/bench-2 SIMULATED. controls: you." in lines
    assert "State: weighing." in lines
    assert (
        "Do now: Weigh sieve and load. Lift the sieve over to the balance, wait for the stable mark,"
        " then accept. Enter: accept weight." in lines
    )
    assert "Mass 416.63 g STABLE." in lines


def test_only_what_is_new_is_said() -> None:
    reporter = Reporter()
    reporter.take(_watch(examples.weighing()), 0.0)
    assert reporter.take(_watch(examples.weighing()), 1.0) == []
    moved = replace(examples.weighing(), mass=replace(examples.weighing().mass, value_g=400.0, stable=False))
    assert reporter.take(_watch(moved), 2.0) == []
    assert reporter.take(_watch(examples.weighing()), 3.0) == ["Mass 416.63 g STABLE."]


def test_a_weight_that_flickers_is_told_once() -> None:
    """A platform loses its mark every few seconds; a screen reader would read the same mass without end."""
    reporter = Reporter()
    stable = examples.weighing()
    assert "Mass 416.63 g STABLE." in reporter.take(_watch(stable), 0.0)
    for at_s in range(1, 9):
        mass = replace(stable.mass, value_g=416.63 + 0.01 * (at_s % 3), stable=at_s % 2 == 0)
        assert reporter.take(_watch(replace(stable, mass=mass)), float(at_s)) == []


def test_a_pressure_without_a_band_has_no_word() -> None:
    assert any(re.match(r"Pressure \d+ Pa\. ", line) for line in figures(examples.idle()))


def test_state_result_alarms_links_and_controls_are_said() -> None:
    reporter = Reporter()
    reporter.take(_watch(examples.sieving()), 0.0)
    lines = reporter.take(_watch(examples.alarming()), 1.0)
    assert "ALARM: Pressure 3320 Pa is above 3000 Pa: open the bypass." in lines
    assert any(line.startswith("The balance link is lost. Port is gone") for line in lines)
    assert "Now controls: a.second." in lines
    lines = reporter.take(_watch(examples.finished()), 2.0)
    assert "Cleared: Pressure 3320 Pa is above 3000 Pa: open the bypass." in lines
    assert "State: awaiting review." in lines
    assert any(
        line.startswith("Result: endpoint: residue 23.41 ± 0.12 % (k = 1), passing 76.59 %") for line in lines
    )
    assert "State: held." in reporter.take(_watch(examples.held()), 3.0)


def test_events_are_said_once_the_last_three_at_the_start() -> None:
    reporter = Reporter()
    lines = reporter.take(_watch(examples.sieving()), 0.0)
    assert sum(bool(re.match(r"\d\d:\d\d:\d\d ", line)) for line in lines) == 3
    new = EventView(
        seq=200, utc="2031-05-02T09:20:00.000Z", kind="note", level="info", text="Sieve [/ brushed."
    )
    snapshot = replace(examples.sieving(), events=(*examples.EVENTS, new))
    assert reporter.take(_watch(snapshot), 1.0) == ["09:20:00 Sieve [/ brushed."]
    assert reporter.take(_watch(snapshot), 2.0) == []


def test_a_countdown_in_the_instruction_is_not_said_each_second() -> None:
    reporter = Reporter()
    said = []
    for second in range(21):
        asked = Instruction(key="rest", text=f"Leave the load at rest, {20 - second} s")
        said += reporter.take(_watch(replace(examples.taring(), instruction=asked)), float(second))
    counts = [line for line in said if line.startswith("Do now")]
    assert len(counts) == 1 + 20 // REPEAT_S
    assert "0 s" in counts[-1]


def test_figures_are_said_now_and_then_while_it_sieves() -> None:
    reporter = Reporter()
    said = [line for t in range(0, 100) for line in reporter.take(_watch(examples.sieving()), t * 1.0)]
    assert sum(
        line.startswith("Loss rate: 0.840 ± 0.060 %/min, limit 0.2, ABOVE LIMIT") for line in said
    ) == (1 + 99 // PROGRESS_S)
    assert any("Lid is held down by the pressure: do not pull." in line for line in said)


def test_a_service_that_goes_and_comes_back_is_said() -> None:
    reporter = Reporter()
    reporter.take(_watch(examples.sieving()), 0.0)
    assert reporter.take(_watch(examples.sieving(), answering=False), 1.0) == [
        "The service does not answer: gone. Last heard 0.1 s ago."
    ]
    assert reporter.take(_watch(examples.sieving(), answering=False), 2.0) == []
    assert reporter.take(_watch(examples.sieving()), 3.0) == ["The service answers again."]


def test_shapes_are_not_spoken() -> None:
    assert spoken("421.95 g ● STABLE · ~ x") == "421.95 g STABLE x"


@pytest.mark.parametrize("text", examples.HOSTILE, ids=range(len(examples.HOSTILE)))
def test_hostile_texts_are_lines(text: str) -> None:
    for line in Reporter().take(_watch(examples.hostile(text)), 0.0):
        assert line.isprintable()


class Session:
    """A line mode under test."""

    def __init__(self, mode: LineMode, out: io.StringIO, lines: Lines, service: FakeService) -> None:
        self.mode, self.out, self.lines, self.service = mode, out, lines, service
        self.task: asyncio.Task[int]

    async def until(self, words: str, since: int = 0) -> None:
        """Waits until the words were said."""
        for _ in range(800):
            if words in self.out.getvalue()[since:]:
                return
            await asyncio.sleep(0.01)
        raise AssertionError(f"{words!r} was not said:\n{self.out.getvalue()}")

    async def type(self, *lines: str) -> None:
        """Lines, one after the other."""
        for line in lines:
            await self.lines.put(f"{line}\n")


@contextlib.asynccontextmanager
async def session(
    folder: Path, snapshot: Snapshot, start: Any = None, **settings: Any
) -> AsyncIterator[Session]:
    """A running line mode."""
    ascii_only = settings.pop("ascii_only", False)
    async with serving(folder / "bench.sock", snapshot, **settings) as service:
        out, lines = io.StringIO(), asyncio.Queue[str | None]()
        mode = LineMode(ServiceClient(folder / "bench.sock"), out, "j.tester", ascii_only=ascii_only)
        it = Session(mode, out, lines, service)
        it.task = asyncio.create_task(mode.run(lines, start))
        try:
            if start is None:
                await it.until("State:")
            yield it
        finally:
            mode.leave(0)
            await it.task


@pytest.fixture(autouse=True)
def _enter_at_once(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(line_mode, "ENTER_AFTER_S", 0.0)


@pytest.mark.asyncio
@pytest.mark.parametrize(
    ("snapshot", "typed", "command"),
    [
        (examples.weighing, [""], ("accept_weight", {})),
        (examples.finished, [""], ("close", {})),
        (examples.sieving, ["t"], ("note", {"kind": "lid-tapped", "text": "Lid tapped."})),
        (examples.sieving, ["BRUSHED"], ("note", {"kind": "sieve-brushed", "text": "Sieve brushed."})),
        (examples.sieving, ["note dust on the lid"], ("note", {"kind": "other", "text": "dust on the lid"})),
        (examples.sieving, ["hold sieve torn [/"], ("hold", {"reason": "sieve torn [/"})),
        (examples.sieving, ["hold", "", "sieve torn"], ("hold", {"reason": "sieve torn"})),
        (examples.held, ["", "new sieve"], ("resume", {"reason": "new sieve"})),
        (examples.sieving, ["stop late", "yes"], ("stop", {"reason": "late"})),
        (examples.sieving, ["abort", "wrong powder", "YES"], ("abort", {"reason": "wrong powder"})),
        (
            examples.weighing,
            ["weight 412,08 cable out"],
            ("type_weight", {"mass_g": 412.08, "reason": "cable out"}),
        ),
        (examples.weighing, ["w", "412.08", "cable"], ("type_weight", {"mass_g": 412.08, "reason": "cable"})),
        (examples.cautions_due, ["", ""], ("acknowledge", {"name": "j.tester"})),
        (examples.sieving, ["controls"], ("release_controls", {})),
        (examples.alarming, ["k", "", "yes"], ("take_controls", {"name": "j.tester"})),
        (
            examples.idle,
            ["new", "2", "S-1", "", "L-1", "", "", ""],
            (
                "start",
                {
                    "method_id": "excipient-32",
                    "sample_id": "S-1",
                    "operator_id": "j.tester",
                    "lot": "L-1",
                    "point": "",
                    "sieve_id": "",
                    "sampled_at": "",
                },
            ),
        ),
    ],
)
async def test_lines_become_commands(snapshot: Any, typed: list[str], command: Any, tmp_path: Path) -> None:
    async with session(tmp_path, snapshot()) as it:
        await it.type(*typed)
        await it.until("Done.")
        assert it.service.commands == [command]


@pytest.mark.asyncio
@pytest.mark.parametrize(
    ("snapshot", "typed", "said"),
    [
        (examples.sieving, ["dance"], "dance is no command. Type help for the commands."),
        (examples.idle, ["hold x"], "hold is not possible now."),
        (examples.sieving, [""], "Nothing is asked of the keyboard now."),
        (examples.sieving, ["stop late", "no"], "Nothing was sent."),
        (examples.sieving, ["stop", "back"], "Nothing was sent."),
        (examples.idle, ["new", "9", "back"], "There is no method 9."),
        (examples.weighing, ["weight abc why"], "NOT DONE: Type the mass in g"),
        (examples.sieving, ["help"], "hold or h: Hold the run, with a reason."),
        (examples.sieving, ["view"], "Still open: loss rate above 0.20 %/min."),
        (examples.sieving, ["events"], "2031-05-02T09:14:02.120Z Run planned for MILL-2-0417."),
        (examples.sieving, ["cautions"], "7. This console is not a safety device."),
        (examples.sieving, ["[/ \x1b[2J"], "[/ is no command."),
    ],
)
async def test_lines_that_send_nothing(snapshot: Any, typed: list[str], said: str, tmp_path: Path) -> None:
    async with session(tmp_path, snapshot()) as it:
        await it.type(*typed)
        await it.until(said)
        assert it.service.commands == []


@pytest.mark.asyncio
async def test_a_refusal_is_said(tmp_path: Path) -> None:
    async with session(tmp_path, examples.weighing(), answer=lambda name, args: (False, "Not stable.")) as it:
        await it.type("")
        await it.until("NOT DONE: Not stable.")


@pytest.mark.asyncio
async def test_an_empty_line_waits_until_the_instruction_could_be_read(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    async with session(tmp_path, examples.weighing()) as it:
        monkeypatch.setattr(line_mode, "ENTER_AFTER_S", 60.0)
        await it.type("")
        await it.until("That came before the instruction could be read.")
        assert it.service.commands == []


@pytest.mark.asyncio
async def test_quit_and_the_end_of_input_leave(tmp_path: Path) -> None:
    async with session(tmp_path, examples.sieving()) as it:
        await it.type("quit")
        assert await it.task == 0
    async with session(tmp_path, examples.sieving()) as it:
        await it.lines.put(None)
        assert await it.task == 0


@pytest.mark.asyncio
async def test_a_run_asked_for_at_once_ends_when_it_is_over(tmp_path: Path) -> None:
    start = {"method_id": "excipient-32", "sample_id": "S", "operator_id": "j.tester"}
    async with session(tmp_path, examples.finished(), start) as it:
        await it.until("Done.")
        assert it.service.commands == [("start", start)]
        await asyncio.sleep(0.1)
        assert not it.task.done(), "the end of an earlier run is not this one's"
        await it.service.show(examples.weighing())
        await it.until("State: weighing.")
        await it.service.show(examples.finished())
        assert await it.task == 0
        assert "Result: endpoint: residue 23.41" in it.out.getvalue()


@pytest.mark.asyncio
async def test_a_run_that_is_refused_ends_with_code_three(tmp_path: Path) -> None:
    async with session(
        tmp_path, examples.idle(), {"sample_id": "S"}, answer=lambda n, a: (False, "No.")
    ) as it:
        assert await it.task == 3
        assert "NOT DONE: No." in it.out.getvalue()


@pytest.mark.asyncio
async def test_figures_of_a_service_that_is_gone_are_called_the_last_ones(tmp_path: Path) -> None:
    async with session(tmp_path, examples.sieving()) as it:
        await it.until("State: sieving.")
        await it.service.stop()
        await it.until("The service does not answer")
        await it.type("view")
        await it.until("These are the last figures, not those of now:")


@pytest.mark.asyncio
async def test_without_utf8_all_is_ascii(tmp_path: Path) -> None:
    async with session(tmp_path, examples.finished(), ascii_only=True) as it:
        await it.until("residue 23.41 +/- 0.12 %")
        await it.type("view", "new", "help")
        await it.until("These lines.")
        assert it.out.getvalue().isascii()


@pytest.mark.asyncio
async def test_lines_are_read_from_a_descriptor() -> None:
    reading, writing = os.pipe()
    queue = lines_of(reading, "utf-8")
    os.write(writing, b"hold sie")
    os.write(writing, b"ve\nt\r\n\xff\n" + b"x" * 3000)
    os.close(writing)
    async with asyncio.timeout(8):
        got = [await queue.get() for _ in range(3)]
        rest = []
        while (line := await queue.get()) is not None:
            rest.append(line)
    os.close(reading)
    assert got == ["hold sieve", "t\r", "\ufffd"]
    assert "".join(rest).startswith("x" * 2000)
