from __future__ import annotations

import pytest

from simulators.commands import Commands
from simulators.dialects import Channel
from simulators.virtual import VirtualBench

pytestmark = pytest.mark.asyncio


class Desk:
    """Commands on a bench whose cables are only noted down."""

    def __init__(self) -> None:
        self.bench = VirtualBench("demo-filler")
        self.cables: list[tuple[Channel, bool]] = []
        self.subject = Commands(self.bench, self._plug)

    async def _plug(self, port: Channel, is_in: bool) -> None:
        self.cables.append((port, is_in))

    async def do(self, *lines: str) -> str:
        answers = [await self.subject.do(line) for line in lines]
        return answers[-1]


async def test_hands_by_command() -> None:
    desk = Desk()
    rig = desk.bench.rig

    def sucks() -> bool:
        return rig.suction_is_on

    assert await desk.do("empty sieve", "pour 25") == "25.000 g poured."
    assert rig.load_g == pytest.approx(25.0)
    await desk.do("sieve to rig", "SUCTION ON", "valve 2000")
    desk.bench.step_to(30_000_000_000)
    assert sucks()
    assert rig.dp_pa == pytest.approx(2000.0, rel=0.1)
    await desk.do("suction off", "sieve on balance")
    assert rig.sieve_at == "balance"
    assert not sucks()
    assert (await desk.do("take 1")).startswith("1.000 g")
    assert await desk.do("weight 20", "weight -5") == "15.000 g of other things on the pan."
    await desk.do("clear pan")
    assert rig.other_on_pan_g == 0.0
    assert "sieve on the bench" in await desk.do("status")


async def test_faults_by_command() -> None:
    desk = Desk()
    assert await desk.do("sag 30 20") == "The pressure sags by 30 % for 20 s."
    assert "for 5 s" in await desk.do("fault garbage balance 5")
    assert "garbage" in await desk.do("status")
    assert "until 'fault off'" in await desk.do("fault silence pressure")
    await desk.do("fault off balance", "fault off pressure")
    assert "faults none" in await desk.do("status")
    await desk.do("unplug balance", "plug balance", "unplug pressure")
    assert desk.cables == [("mass", False), ("mass", True), ("pressure", False)]
    await desk.do("swap")
    assert desk.bench.swapped
    assert await desk.do("swap") == "The two cables are as they belong."
    assert await desk.do("leak 20") == "Leak at 20 %."
    assert "bumped by 5 g, 1 g" in (await desk.do("bump 5 1")).lower()


async def test_the_operator_by_command() -> None:
    desk = Desk()
    await desk.do("follow switch_suction_on")
    desk.bench.step_to(20_000_000_000)
    assert desk.bench.rig.suction_is_on
    await desk.do("hands off")
    assert desk.bench.hands.holds
    await desk.do("hands on")
    assert not desk.bench.hands.holds


@pytest.mark.parametrize(
    ("line", "answer"),
    [
        ("suction of", "did you mean 'suction off'?"),
        ("poor 25", "did you mean 'pour'?"),
        ("pour lots", "'lots' is not a number of grams"),
        ("pour nan", "not a usable number"),
        ("sag 30", "seconds missing"),
        ("unplug mouse", "say which instrument, balance or pressure (not 'mouse')"),
        ("unplug", "say which instrument"),
        ("fault garbag balance", "did you mean garbage?"),
        ("fault", "There are: unit-change"),
        ("follow", "needs one instruction key"),
        ("[bold", "there is no command '[bold'"),
    ],
)
async def test_a_command_that_cannot_be_carried_out_gets_a_sentence(line: str, answer: str) -> None:
    assert answer in await Desk().do(line)


async def test_help_lists_every_command() -> None:
    desk = Desk()
    text = await desk.do("help")
    for words in ("pour [G]", "suction on", "fault KIND balance|pressure [SECONDS]", "unplug", "help"):
        assert words in text
