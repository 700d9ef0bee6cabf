"""One-line commands for hands and faults; each is answered with a sentence.

pour 25, sieve on balance, sieve to rig, suction on, unplug balance, fault garbage balance 5, sag 30 20
"""

from __future__ import annotations

import difflib
from collections.abc import Awaitable, Callable
from dataclasses import dataclass

from simulators.dialects import Channel
from simulators.faults import KINDS
from simulators.virtual import VirtualBench

PORTS: dict[str, Channel] = {
    "balance": "mass",
    "mass": "mass",
    "pressure": "pressure",
    "transducer": "pressure",
    "permit": "permit",
    "relay": "permit",
}

Plug = Callable[[Channel, bool], Awaitable[None]]
"""Plugs a port in (True) or out."""


class CommandError(ValueError):
    """A command that cannot be carried out; the text says why and what to type instead."""


@dataclass(frozen=True, slots=True)
class Command:
    """One command: its words, what may follow, what it does."""

    words: str
    arguments: str
    help: str
    do: Callable[[list[str]], str | Awaitable[str]]


class Commands:
    """Carries out commands on one bench."""

    def __init__(self, bench: VirtualBench, plug: Plug) -> None:
        self._bench = bench
        self._plug = plug
        self._table = {command.words: command for command in self._list()}

    async def do(self, line: str) -> str:
        """Carries out one line and returns the answer, a sentence (several lines for help)."""
        try:
            command, arguments = self._find(line.split())
            answer = command.do(arguments)
            return answer if isinstance(answer, str) else await answer
        except CommandError as problem:
            return str(problem)

    def _find(self, words: list[str]) -> tuple[Command, list[str]]:
        lower = [word.lower() for word in words]
        for count in range(min(3, len(words)), 0, -1):
            command = self._table.get(" ".join(lower[:count]))
            if command:
                return command, words[count:]
        text = " ".join(lower)
        near = difflib.get_close_matches(text, self._table, n=1, cutoff=0.3)
        hint = f"did you mean {near[0]!r}? " if near else ""
        raise CommandError(f"there is no command {text!r}; {hint}'help' lists all")

    def _list(self) -> list[Command]:
        return [*self._hand_commands(), *self._rig_faults(), *self._wire_faults(), *self._questions()]

    def _hand_commands(self) -> list[Command]:
        rig = self._bench.rig
        return [
            Command("sieve on balance", "", "lifts the sieve to the balance", _act(rig.sieve_to_balance)),
            Command("sieve to balance", "", "the same", _act(rig.sieve_to_balance)),
            Command("sieve to rig", "", "puts the sieve on the rig, lid closed", _act(rig.sieve_to_rig)),
            Command("sieve away", "", "puts the sieve aside", _act(rig.sieve_away)),
            Command(
                "empty sieve", "", "brushes the sieve and puts it where it is weighed", _act(rig.place_sieve)
            ),
            Command("clear pan", "", "takes everything off the pan", _act(rig.clear_pan)),
            Command("pour", "[G]", "pours the test portion, or G grams", self._pour),
            Command("take", "G", "takes G grams off the sieve", self._take),
            Command(
                "weight", "G", "puts a weight of G grams on the pan (a negative G takes it off)", self._weight
            ),
            Command("suction on", "", "switches suction and nozzle on", _act(rig.suction_on)),
            Command("suction off", "", "switches suction and nozzle off", _act(rig.suction_off)),
            Command("valve", "PA", "turns the bleed valve until the pressure is about PA", self._valve),
            Command("lid open", "", "opens the lid", _act(lambda: rig.set_lid(False))),
            Command("lid closed", "", "closes the lid", _act(lambda: rig.set_lid(True))),
            Command("tap lid", "", "taps the lid", _act(rig.tap_lid)),
            Command("brush", "", "empties the sieve and brushes it", _act(rig.brush_sieve)),
            Command("crush", "", "breaks the lumps on the sieve", _act(rig.crush_lumps)),
            Command("tare", "", "presses the tare key of the balance", _act(rig.tare_pressed)),
            Command("follow", "KEY", "lets the simulated operator follow this instruction", self._follow),
            Command("hands off", "", "the simulated operator does nothing", self._hands(True)),
            Command("hands on", "", "the simulated operator goes on", self._hands(False)),
        ]

    def _rig_faults(self) -> list[Command]:
        return [
            Command("sag", "PERCENT SECONDS", "lets the pressure fall for a while", self._sag),
            Command("leak", "PERCENT", "opens a leak (0 closes it)", self._leak),
            Command("bump", "[G [SHIFT]]", "knocks the balance; SHIFT grams stay", self._bump),
            Command("spill", "G", "spills G grams from the sieve", self._take),
        ]

    def _wire_faults(self) -> list[Command]:
        return [
            Command("unplug", "balance|pressure", "pulls the cable", self._unplug),
            Command("plug", "balance|pressure", "puts the cable back", self._plug_in),
            Command("swap", "", "swaps the two cables (again: swaps them back)", self._swap),
            Command("fault off", "balance|pressure", "ends all faults of an instrument", self._fault_off),
            Command(
                "fault", "KIND balance|pressure [SECONDS]", "starts a fault: " + ", ".join(KINDS), self._fault
            ),
        ]

    def _questions(self) -> list[Command]:
        return [
            Command("status", "", "tells what stands where", lambda _: self._status()),
            Command("help", "", "lists the commands", lambda _: self._help()),
        ]

    # --- hands ------------------------------------------------------------------------------------------

    def _pour(self, arguments: list[str]) -> str:
        mass_g = self._bench.rig.pour_charge(_number(arguments, 0, "grams") if arguments else None)
        return f"{mass_g:.3f} g poured."

    def _take(self, arguments: list[str]) -> str:
        return f"{self._bench.rig.remove_powder(_number(arguments, 0, 'grams')):.3f} g taken off."

    def _weight(self, arguments: list[str]) -> str:
        self._bench.rig.put_weight(_number(arguments, 0, "grams"))
        return f"{self._bench.rig.other_on_pan_g:.3f} g of other things on the pan."

    def _valve(self, arguments: list[str]) -> str:
        self._bench.rig.turn_valve_to(max(_number(arguments, 0, "pascals"), 1.0))
        return f"Valve at {100 * self._bench.rig.valve:.0f} %."

    def _follow(self, arguments: list[str]) -> str:
        if len(arguments) != 1:
            raise CommandError("follow needs one instruction key, for example: follow weigh_charge")
        self._bench.follow(arguments[0])
        return f"The operator follows {arguments[0]}."

    def _hands(self, hold: bool) -> Callable[[list[str]], str]:
        def act(_: list[str]) -> str:
            self._bench.hands.holds = hold
            return "The operator leaves the bench alone." if hold else "The operator is back."

        return act

    # --- faults -----------------------------------------------------------------------------------------

    def _sag(self, arguments: list[str]) -> str:
        percent, seconds = _number(arguments, 0, "percent"), _number(arguments, 1, "seconds")
        self._bench.rig.sag(percent / 100.0, seconds)
        return f"The pressure sags by {percent:g} % for {seconds:g} s."

    def _leak(self, arguments: list[str]) -> str:
        self._bench.rig.leak = max(_number(arguments, 0, "percent") / 100.0, 0.0)
        return f"Leak at {100 * self._bench.rig.leak:g} %."

    def _bump(self, arguments: list[str]) -> str:
        knock_g = _number(arguments, 0, "grams") if arguments else 20.0
        shift_g = _number(arguments, 1, "grams") if len(arguments) > 1 else 0.0
        self._bench.rig.bump(knock_g, shift_g)
        return f"Bumped by {knock_g:g} g, {shift_g:g} g of it stay."

    async def _unplug(self, arguments: list[str]) -> str:
        port = self._port(arguments, 0)
        await self._plug(port, False)
        return f"The cable of the {port} port is out."

    async def _plug_in(self, arguments: list[str]) -> str:
        port = self._port(arguments, 0)
        await self._plug(port, True)
        return f"The cable of the {port} port is in."

    def _swap(self, _: list[str]) -> str:
        self._bench.swapped = not self._bench.swapped
        return "The two cables are swapped." if self._bench.swapped else "The two cables are as they belong."

    def _fault(self, arguments: list[str]) -> str:
        kind = arguments[0].lower() if arguments else ""
        if kind not in KINDS:
            near = difflib.get_close_matches(kind, KINDS, n=1, cutoff=0.3)
            hint = f"did you mean {near[0]}? " if near else ""
            raise CommandError(f"there is no fault {kind!r}; {hint}There are: {', '.join(KINDS)}")
        port = self._port(arguments, 1)
        seconds = _number(arguments, 2, "seconds") if len(arguments) > 2 else None
        self._bench.instruments[port].faults.start(kind, self._bench.now_ns, seconds)
        span = "until 'fault off'" if seconds is None else f"for {seconds:g} s"
        return f"The {port} instrument {KINDS[kind]}, {span}."

    def _fault_off(self, arguments: list[str]) -> str:
        port = self._port(arguments, 0)
        self._bench.instruments[port].faults.stop()
        return f"The {port} instrument is as it should be."

    def _port(self, arguments: list[str], index: int) -> Channel:
        name = arguments[index].lower() if index < len(arguments) else ""
        port = PORTS.get(name)
        if port is None or port not in self._bench.instruments:
            there = ["balance", "pressure", *(["relay"] if "permit" in self._bench.instruments else [])]
            raise CommandError(f"say which instrument, {' or '.join(there)} (not {name!r})")
        return port

    # --- questions --------------------------------------------------------------------------------------

    def _status(self) -> str:
        rig, bench = self._bench.rig, self._bench
        faults = {port: bench.instruments[port].faults.active(bench.now_ns) for port in bench.instruments}
        shown = "; ".join(f"{port}: {', '.join(kinds)}" for port, kinds in faults.items() if kinds) or "none"
        suction = ("on" if rig.suction_is_on else "off") + ("" if rig.is_permitted else " (no permit)")
        return (
            f"At {rig.now_s:.1f} s: sieve on the {rig.sieve_at}, load {rig.load_g:.3f} g, "
            f"suction {suction}, {rig.dp_pa:.0f} Pa, balance shows "
            f"{rig.balance().mass_g:.3f} g, faults {shown}."
        )

    def _help(self) -> str:
        rows = [f"{c.words} {c.arguments}".strip().ljust(24) + "  " + c.help for c in self._table.values()]
        return "\n".join(rows)


def _act(act: Callable[[], object]) -> Callable[[list[str]], str]:
    def done(_: list[str]) -> str:
        act()
        return "Done."

    return done


def _number(arguments: list[str], index: int, what: str) -> float:
    if index >= len(arguments):
        raise CommandError(f"{what} missing; 'help' shows what each command needs")
    try:
        value = float(arguments[index])
    except ValueError:
        raise CommandError(f"{arguments[index]!r} is not a number of {what}") from None
    if not abs(value) < 1e9:
        raise CommandError(f"{arguments[index]!r} is not a usable number of {what}")
    return value
