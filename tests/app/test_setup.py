"""`lastgrain setup` with a scripted person and instruments that speak over TCP."""

from __future__ import annotations

import asyncio
import contextlib
import json
import stat
from collections.abc import AsyncIterator
from pathlib import Path

import pytest

from logger.app.prompts import Stopped
from logger.app.setup import SetUp, set_up, set_up_from
from logger.app.setup_file import KEPT, kept_answers
from logger.settings import ConfigError, load_bench
from simulators.dialects import DIALECTS, Shown
from tests.drivers.peers import TcpPeer, run_async


class Scripted:
    """Answers by the beginning of a question; what is not named takes the proposal."""

    def __init__(self, **answers: str | list[str]) -> None:
        self.answers = {
            key: [value] if isinstance(value, str) else list(value) for key, value in answers.items()
        }
        self.said: list[str] = []
        self.asked: list[str] = []

    def say(self, text: str) -> None:
        self.said.append(text)

    async def ask(self, question: str) -> str:
        self.asked.append(question)
        for key, answers in self.answers.items():
            if key.replace("_", " ") in question and answers:
                answer = answers.pop(0)
                if answer == "STOP":
                    raise Stopped
                return answer
        return ""


async def no_secret(question: str) -> str:
    raise AssertionError(question)


@contextlib.asynccontextmanager
async def streaming(*dialects: str) -> AsyncIterator[list[str]]:
    """Shipped dialects that stream on TCP ports of their own."""
    peers = [TcpPeer() for _ in dialects]
    tasks = []
    for peer, name in zip(peers, dialects, strict=True):
        await peer.plug()
        tasks.append(asyncio.create_task(_stream(peer, name)))
    try:
        yield [peer.port for peer in peers]
    finally:
        for task, peer in zip(tasks, peers, strict=True):
            task.cancel()
            await asyncio.wait((task,))
            await peer.unplug()


async def _stream(peer: TcpPeer, name: str) -> None:
    count = 0
    while True:
        count += 1
        with contextlib.suppress(AssertionError, OSError):
            await peer.write(DIALECTS[name].line(Shown(1.5), counter=count))
        await asyncio.sleep(0.03)


def script(balance: str, pressure: str, **more: str | list[str]) -> Scripted:
    return Scripted(
        **{
            "Name_of_the_site": "north-lab",
            "Port_of_the_balance": balance,
            "Profile_of_the_balance": "streamed-line-balance",
            "Capacity": "32000",
            "Port_of_the_pressure": pressure,
            "Profile_of_the_pressure": "streamed-line-pressure",
        }
        | more
    )


def test_a_bench_is_asked_for_tried_and_written(tmp_path: Path) -> None:
    path = tmp_path / "bench.toml"

    async def body() -> tuple[SetUp, Scripted]:
        async with streaming("streamed-line-balance", "streamed-line-pressure") as ports:
            person = script(*ports)
            return await set_up(path, person, no_secret), person

    done, person = run_async(body())

    bench = load_bench(path)
    assert (bench.site, bench.bench, bench.arrangement) == ("north-lab", "bench-1", "beside")
    assert (bench.balance.readability_g, bench.balance.repeatability_g) == (0.01, 0.01)
    assert "readings came, the last is 1.5 g" in done.tried["balance"]
    assert "the last is 1.5 Pa" in done.tried["pressure"]
    assert stat.S_IMODE(path.stat().st_mode) == 0o600
    assert not (tmp_path / KEPT).exists()
    assert 'site = "north-lab"' in "\n".join(person.said)


def test_an_answer_that_cannot_be_is_asked_again_and_back_goes_back(tmp_path: Path) -> None:
    async def body() -> Scripted:
        async with streaming("streamed-line-balance", "streamed-line-pressure") as ports:
            person = script(
                *ports,
                Name_of_the_site=["North Lab", "north", "south"],
                Name_of_this_bench=["b", "b-2"],
                One_digit=["zero", "0", "0,1"],
                Profile_of_the_balance=["streamed-line-pressure", "streamed-line-balance"],
            )
            await set_up(tmp_path / "bench.toml", person, no_secret)
            return person

    person = run_async(body())

    bench = load_bench(tmp_path / "bench.toml")
    assert (bench.site, bench.bench) == ("south", "b-2")
    said = "\n".join(person.said)
    for words in (
        "lower-case letters",
        "'zero' is no plain number",
        "must be above zero",
        "is a profile for pressure",
    ):
        assert words in said


def test_what_was_answered_is_proposed_after_a_stop(tmp_path: Path) -> None:
    path = tmp_path / "bench.toml"
    with pytest.raises(Stopped):
        run_async(set_up(path, Scripted(Name_of_the_site="north-lab", Where_does="STOP"), no_secret))
    assert not path.exists()
    assert kept_answers(tmp_path) == {"site": "north-lab", "bench": "bench-1"}
    person = Scripted(Where_does="STOP")
    with pytest.raises(Stopped):
        run_async(set_up(path, person, no_secret))

    assert person.asked[0].endswith("[north-lab]:")


def answers_file(folder: Path, **more: str | float) -> Path:
    answers: dict[str, str | float] = {
        "site": "north-lab",
        "balance_port": "socket://127.0.0.1:9",
        "balance_profile": "polled-line-balance",
        "readability_g": 0.001,
        "capacity_g": 620,
        "pressure_port": "socket://127.0.0.1:10",
        "pressure_profile": "streamed-line-pressure",
    }
    path = folder / "answers.toml"
    path.write_text("".join(f"{key} = {json.dumps(value)}\n" for key, value in (answers | more).items()))
    return path


def test_answers_may_come_from_a_file(tmp_path: Path) -> None:
    path = tmp_path / "b.toml"
    secret = tmp_path / "password"
    secret.write_text("canary-7\n")
    answers = answers_file(
        tmp_path,
        broker="yes",
        host="plant.example",
        username="bench-1",
        password_file=str(secret),
        permit="line",
        permit_port="socket://127.0.0.1:11",
    )

    run_async(set_up_from(path, answers, trying=False))

    bench = load_bench(path)
    assert bench.broker is not None
    assert (bench.broker.host, bench.broker.port, bench.broker.insecure) == ("plant.example", 8883, False)
    assert bench.permit.kind == "line"
    assert "canary-7" not in path.read_text()


@pytest.mark.parametrize(
    ("more", "words"),
    [
        ({"site": "North Lab"}, "site: It is used in topics"),
        ({"capacity_g": 0.01}, "capacity_g: That is less than a hundred digits"),
        ({"balance_profile": "learn"}, "learning needs a person"),
        ({"colour": "red"}, "colour is not asked for"),
        ({"pressure_port": "/dev/none-7"}, "/dev/none-7 is not there"),
        ({"permit": "line", "permit_port": "socket://127.0.0.1:9"}, "needs one of its own"),
    ],
)
def test_a_wrong_answer_in_a_file_is_named(tmp_path: Path, more: dict[str, str | float], words: str) -> None:
    with pytest.raises(ConfigError, match=words):
        run_async(set_up_from(tmp_path / "b.toml", answers_file(tmp_path, **more), trying=False))
    assert not (tmp_path / "b.toml").exists()


def test_a_bench_file_is_never_overwritten(tmp_path: Path) -> None:
    path = tmp_path / "bench.toml"
    path.write_text("mine")

    with pytest.raises(ConfigError, match="never overwritten"):
        run_async(set_up_from(path, answers_file(tmp_path), trying=False))
    with pytest.raises(ConfigError, match="never overwritten"):
        run_async(set_up(path, Scripted(), no_secret))
    assert path.read_text() == "mine"


def test_a_password_typed_goes_to_a_private_file_and_nowhere_else(tmp_path: Path) -> None:
    path, secret_file = tmp_path / "bench.toml", tmp_path / "broker-password"

    async def secret(question: str) -> str:
        return "canary-9"

    async def body() -> Scripted:
        async with streaming("streamed-line-balance", "streamed-line-pressure") as ports:
            person = script(
                *ports,
                Are_results_sent="yes",
                Host_name="127.0.0.1",
                Its_TLS_port="9",
                User_name="bench-1",
                Keep_this_answer="y",
            )
            await set_up(path, person, secret)
            return person

    person = run_async(body())

    assert secret_file.read_text() == "canary-9\n"
    assert stat.S_IMODE(secret_file.stat().st_mode) == 0o600
    assert "canary-9" not in path.read_text() + "\n".join(person.said)
    assert any("127.0.0.1:9" in text for text in person.said)  # the trial said why it failed
