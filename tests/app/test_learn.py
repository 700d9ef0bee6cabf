"""`lastgrain learn` on real pseudo terminals, which have no speed of their own, with a person who does as asked."""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import AsyncIterator, Callable
from dataclasses import replace
from pathlib import Path

import pytest

from drivers.learn.requests import HARMLESS, RequestRefused, request_of
from drivers.line_codec import LineCodec
from drivers.profile_file import load_profile
from drivers.units import Quantity
from logger.app.learn import Learned, LearnOptions, Lesson, NotLearned
from logger.app.prompts import Stopped
from tests.drivers.learn.invented import Dialect, Shown, named, untellable
from tests.drivers.learn.person import load_steps
from tests.drivers.peers import PtyPeer, run_async, until


class Bench:
    """An instrument at a pseudo terminal, and the person at it."""

    def __init__(self, dialect: Dialect, folder: Path, agrees: bool = True) -> None:
        self.dialect, self.peer, self.agrees = dialect, PtyPeer(folder), agrees
        self.gross = self.tare = 0
        self.target = 0
        self.said: list[str] = []
        self.count = 0

    def say(self, text: str) -> None:
        self.said.append(text)

    async def ask(self, question: str) -> str:
        """Does what is asked, and waits until it has settled."""
        load = load_steps(self.dialect)
        if question.startswith("May they be sent"):
            return "y" if self.agrees else ""
        if question.startswith(("Put a weight on", "Apply suction")):
            self.target = load
        elif question.startswith("Leave it on and press tare"):
            self.tare = self.gross
        elif question.startswith(("Take the weight off", "Open both hoses")):
            self.target = 0
        elif question.startswith("Empty pan, press tare"):
            self.tare = 0
        elif question.startswith("It reads"):
            assert f"It reads {self.dialect.base_value(self.shown()):g} " in question
        await until(lambda: self.gross == self.target)
        await asyncio.sleep(1.2 * self.dialect.period_s)
        return ""

    def shown(self) -> Shown:
        return Shown(self.gross - self.tare, self.tare, self.gross == self.target, self.count)

    async def live(self) -> None:
        """The load creeps to its new value; a stream sends, an asked one waits."""
        while True:
            await asyncio.sleep(self.dialect.period_s)
            left = self.target - self.gross
            self.gross = self.target if abs(left) < 3 else self.gross + round(0.4 * left)
            self.count += 1
            if not self.dialect.request:
                await self.peer.write(self.dialect.line(self.shown()))

    def answer(self, data: bytes) -> bytes:
        return (
            self.dialect.line(self.shown()) if self.dialect.request and data == self.dialect.request else b""
        )


@contextlib.asynccontextmanager
async def plugged(bench: Bench) -> AsyncIterator[None]:
    await bench.peer.plug()
    bench.peer.answer_with(bench.answer)
    life = asyncio.create_task(bench.live())
    try:
        yield
    finally:
        life.cancel()
        await asyncio.wait((life,))
        await bench.peer.unplug()


def learn(bench: Bench, folder: Path, quantity: Quantity = Quantity.MASS) -> Learned:
    async def body() -> Learned:
        async with plugged(bench):
            options = LearnOptions(
                port=bench.peer.port,
                out=folder / "mine.toml",
                quantity=quantity,
                step_s=0.9,
                proof_s=1.0,
                ask_every_s=0.03,
            )
            return await Lesson(options, bench).run()

    return run_async(body())


def dialect_named(name: str) -> Dialect:
    found = next(dialect for dialect in [*named(), *untellable()] if dialect.name == name)
    return replace(found, period_s=min(found.period_s, 0.03))


@pytest.mark.full
@pytest.mark.parametrize("name", ["letters-column", "asked-enq"])
def test_a_balance_is_learned_and_its_file_reads_it(name: str, tmp_path: Path) -> None:
    bench = Bench(dialect_named(name), tmp_path)

    learned = learn(bench, tmp_path)

    assert learned.lines_live[0] == learned.lines_live[1] >= 3
    profile = load_profile(learned.profile)
    assert profile.request == bench.dialect.request
    codec = LineCodec(profile)
    for steps in (0, -1234, 98_765):
        codec.receive(bench.dialect.line(Shown(steps)), 0)
    assert [r.value for r in codec.readings()] == [
        bench.dialect.base_value(Shown(s)) for s in (-1234, 98_765)
    ]
    assert learned.heard.read_text(encoding="ascii").count('"while": "loaded"') > 10


@pytest.mark.full
def test_a_transducer_with_suction_below_zero_is_learned(tmp_path: Path) -> None:
    bench = Bench(dialect_named("kilopascal"), tmp_path)

    learned = learn(bench, tmp_path, Quantity.PRESSURE)

    profile = load_profile(learned.profile)
    assert (profile.suction, profile.unit) == ("negative", "kPa")
    assert bench.peer.received == b""  # a stream is never asked


@pytest.mark.full
def test_what_cannot_be_told_leaves_the_bytes_and_no_profile(tmp_path: Path) -> None:
    bench = Bench(dialect_named("pounds"), tmp_path)

    with pytest.raises(NotLearned, match=r"Cannot tell: it sends lb, .* Tried: 9600 baud 8N1: .*heard.jsonl"):
        learn(bench, tmp_path)
    assert not (tmp_path / "mine.toml").exists()
    first = (tmp_path / "mine.heard.jsonl").read_bytes()
    assert first
    (tmp_path / "again").mkdir()
    with pytest.raises(NotLearned, match=r"kept in .*mine-2\.heard\.jsonl"):
        learn(Bench(dialect_named("pounds"), tmp_path / "again"), tmp_path)
    assert (tmp_path / "mine.heard.jsonl").read_bytes() == first


def test_nothing_is_sent_without_a_yes(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("logger.app.learn.LISTEN_S", 0.3)
    bench = Bench(dialect_named("asked"), tmp_path, agrees=False)

    with pytest.raises(NotLearned, match="sends nothing by itself and was not asked"):
        learn(bench, tmp_path)
    assert bench.peer.received == b""


def test_a_person_may_stop(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("logger.app.learn.LISTEN_S", 0.3)
    bench = Bench(dialect_named("asked"), tmp_path)

    async def stop(question: str) -> str:
        raise Stopped

    monkeypatch.setattr(bench, "ask", stop)
    with pytest.raises(Stopped):
        learn(bench, tmp_path)


@pytest.mark.parametrize("typed", ["P?\\r\\n", "read\\r", "\x05", "?"])
def test_a_request_of_ones_own_is_text_with_a_line_end(typed: str) -> None:
    assert request_of(typed) == typed.replace("\\r", "\r").replace("\\n", "\n").encode()


@pytest.mark.parametrize(
    "typed",
    ["", "\x01\x06\x00\x01\x00\x02", "A\x06\x00\x01", "\x1bT", "T\r\nT\r\n", "µ?", "x" * 33, "\x05\x05"],
)
def test_nothing_else_is_sent(typed: str) -> None:
    """A frame of a register bus has a function code below 32 in its second byte (from memory of Modbus RTU)."""
    with pytest.raises(RequestRefused, match="is not sent: write 1 to 32 printable"):
        request_of(typed)


def test_no_harmless_request_can_be_a_frame_of_a_bus() -> None:
    """The shortest frame of Modbus RTU has 4 bytes; here nothing below 32 stands but at the end."""
    frames: Callable[[bytes], bool] = lambda data: len(data) >= 4 and data[1] < 32  # noqa: E731
    assert not any(frames(request) for request in HARMLESS)
