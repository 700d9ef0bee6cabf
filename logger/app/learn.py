"""`lastgrain learn`: leads a person through what an unknown instrument must be seen doing, and writes its profile."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from drivers.learn.conclude import Known, Question, Told, conclude, number_of
from drivers.learn.ear import Ear
from drivers.learn.heard import CannotTell, Passage, Step
from drivers.learn.proof import Proof, prove
from drivers.learn.requests import HARMLESS
from drivers.learn.search import BAUDS, ENOUGH_BYTES, settings_to_try, sound_of
from drivers.link_error import LinkError
from drivers.profile import SerialSettings
from drivers.reading import escape_raw
from drivers.transport import tcp_address
from drivers.units import Quantity, Unit
from logger.app.new_files import free_name
from logger.app.prompts import Person, Stopped, ask_choice, ask_yes

LISTEN_S = 2.5
"""A stream slower than this is asked about as if it were silent."""
TRY_S = 1.2
ANSWER_S = 0.4
STEP_S = 4.0
LONGEST_STEP_S = 45.0
LINES_A_STEP = 14
PROOF_S = 5.0


@dataclass(frozen=True, slots=True, kw_only=True)
class LearnOptions:
    """What was asked for. `requests` are tried before the harmless ones."""

    port: str
    out: Path
    quantity: Quantity | None = None
    requests: tuple[bytes, ...] = ()
    step_s: float = STEP_S
    proof_s: float = PROOF_S
    ask_every_s: float = 0.2


@dataclass(frozen=True, slots=True)
class Learned:
    """A profile that was written, with how it was proved."""

    profile: Path
    heard: Path
    evidence: tuple[str, ...]
    not_heard: tuple[str, ...]
    lines_heard: tuple[int, int]
    """Read, and all."""
    lines_live: tuple[int, int]


class NotLearned(Exception):  # noqa: N818
    """Nothing was written but what was heard; the text says why, what was tried and what to do."""


@dataclass(frozen=True, slots=True)
class _Found:
    settings: SerialSettings
    request: bytes


class Lesson:
    """One session with one instrument."""

    def __init__(self, options: LearnOptions, person: Person) -> None:
        self._options, self._person = options, person
        self._tried: list[str] = []
        self._kept: list[tuple[str, Sequence[Passage]]] = []

    async def run(self) -> Learned:
        """Raises NotLearned, LinkError, Stopped."""
        try:
            found = await self._search()
            return await self._teach(found)
        except CannotTell as reason:
            raise NotLearned(self._not_told(str(reason))) from None
        except (LinkError, Stopped):
            self._keep_heard()
            raise

    def _not_told(self, reason: str) -> str:
        path = self._keep_heard()
        tried = "; ".join(self._tried)
        kept = f" What was heard is kept in {path}." if path else ""
        return f"Cannot tell: {reason}. Tried: {tried}.{kept}"

    # --- speed, framing, request -----------------------------------------------------------------

    async def _search(self) -> _Found:
        person = self._person
        person.say(f"Listening at {self._options.port} ...")
        if not self._options.requests:
            first, settings = await self._listen(SerialSettings(baud=BAUDS[0]), LISTEN_S)
            if settings is not None:
                return _Found(settings, b"")
            if first:
                return await self._search_speed()
        return await self._search_request()

    async def _listen(self, settings: SerialSettings, seconds: float) -> tuple[bytes, SerialSettings | None]:
        async with Ear(self._options.port, settings) as ear:
            data = await ear.listen(seconds, 4 * ENOUGH_BYTES)
        self._note(settings, data, "")
        self._kept.append((f"{settings.baud} {settings.bytesize} {settings.parity}", ear.passages()))
        return data, sound_of(data, settings).settings

    def _note(self, settings: SerialSettings, data: bytes, request: str) -> None:
        parity = settings.parity[0].upper()
        asked = f" asked {request}" if request else ""
        self._tried.append(
            f"{settings.baud} baud {settings.bytesize}{parity}{settings.stopbits}{asked}: {len(data)} bytes"
        )

    async def _search_speed(self) -> _Found:
        if self._over_network():
            raise CannotTell("what comes over the network is no text; set speed and framing at the converter")
        self._person.say("It sends by itself, but this is no text: trying other speeds.")
        for settings in settings_to_try():
            _, fitting = await self._listen(settings, TRY_S if settings.baud > 600 else 2 * TRY_S)
            if fitting is not None:
                return _Found(fitting, b"")
        raise CannotTell(
            "at no speed is what it sends text with numbers; it may speak a bus (Modbus: copy a register-map profile) "
            "or a format of its own"
        )

    def _over_network(self) -> bool:
        return tcp_address(self._options.port) is not None

    async def _search_request(self) -> _Found:
        requests = [*self._options.requests, *(r for r in HARMLESS if r not in self._options.requests)]
        shown = ", ".join(escape_raw(request) for request in requests)
        self._person.say(
            "Nothing comes by itself. Some instruments answer when they are asked. These requests cannot change a "
            f"setting: {shown}. Do not agree when a bus with several devices is connected."
        )
        if not await ask_yes(self._person, "May they be sent, one after the other?", default=False):
            raise CannotTell("it sends nothing by itself and was not asked; set it to send continuously")
        for settings in self._asking_settings():
            for request in requests:
                if (fitting := await self._ask(settings, request)) is not None:
                    return _Found(fitting, request)
        raise CannotTell(
            "it sends nothing by itself and answered none of the requests; find the request in its manual and give it "
            "with --request, or set it to send continuously"
        )

    def _asking_settings(self) -> list[SerialSettings]:
        if self._over_network():
            return [SerialSettings(baud=BAUDS[0])]
        plain = [SerialSettings(baud=baud) for baud in BAUDS]
        return [*plain, *(replace(s, bytesize=7, parity="even") for s in plain[:6])]

    async def _ask(self, settings: SerialSettings, request: bytes) -> SerialSettings | None:
        async with Ear(self._options.port, settings) as ear:
            data = await ear.ask_once(request, ANSWER_S)
            for _ in range(12 if data else 0):
                data += await ear.ask_once(request, ANSWER_S / 2)
                if len(data) >= 4 * ENOUGH_BYTES:
                    break
        self._note(settings, data, escape_raw(request))
        return sound_of(data, settings).settings if data else None

    # --- the steps ---------------------------------------------------------------------------------

    async def _teach(self, found: _Found) -> Learned:
        person, settings = self._person, found.settings
        how = f"asked with {escape_raw(found.request)}" if found.request else "by itself"
        person.say(
            f"It sends text {how}, at {settings.baud} baud, {settings.bytesize} bits, parity {settings.parity}."
        )
        quantity = self._options.quantity or await self._which_quantity()
        async with Ear(self._options.port, settings, found.request, self._options.ask_every_s) as ear:
            self._kept = [("learning", ear.passages())]
            try:
                known = await self._lead(ear, quantity)
            finally:
                self._kept = [("learning", ear.passages())]
            known = replace(known, quantity=quantity, serial=settings, request=found.request)
            told = await self._conclude(ear.passages(), known)
            return await self._prove(ear, told)

    async def _which_quantity(self) -> Quantity:
        chosen = await ask_choice(self._person, "What is it?", ["balance", "pressure transducer"])
        return (Quantity.MASS, Quantity.PRESSURE)[chosen]

    async def _lead(self, ear: Ear, quantity: Quantity) -> Known:
        if quantity is Quantity.PRESSURE:
            await self._step(ear, Step.REST, "Open both hoses, so that it shows about zero")
            await self._step(
                ear, Step.LOADED, "Apply suction and hold it (at the rig by its own control, or by hand)"
            )
            await self._step(ear, Step.REST, "Open both hoses again")
            return Known()
        await self._step(ear, Step.REST, "Take everything off the pan and wait until it shows zero")
        typed = await self._step(
            ear,
            Step.LOADED,
            "Put a weight on, from a tenth of the range up; type its mass in g if you know it",
        )
        if (
            await self._step(
                ear, Step.TARED, "Leave it on and press tare, so that it shows zero", may_skip=True
            )
            != "s"
        ):
            await self._step(ear, Step.BELOW, "Take the weight off, so that it shows a value below zero")
        await self._step(ear, Step.REST, "Empty pan, press tare or zero, so that it shows zero")
        return Known(mass_g=_mass(typed))

    async def _step(self, ear: Ear, step: Step, what: str, may_skip: bool = False) -> str:
        """One instruction; the answer that was typed. Listens on while the person works."""
        ear.step = Step.BETWEEN
        skip = ", s leaves this out" if may_skip else ""
        typed = await self._person.ask(f"{what}. Then press Enter (q stops{skip}):")
        if may_skip and typed == "s":
            return typed
        ear.step = step
        await ear.listen(self._options.step_s)
        waited_s = self._options.step_s
        while _lines(ear.heard(step)) < LINES_A_STEP and waited_s < LONGEST_STEP_S:
            await ear.listen(1.0)
            waited_s += 1.0
        ear.step = Step.BETWEEN
        return typed

    async def _conclude(self, passages: list[Passage], known: Known) -> Told:
        for _ in range(4):
            answer = conclude(passages, known)
            if isinstance(answer, Told):
                return answer
            known = await self._answer(answer, passages, known)
        raise CannotTell("the answers do not lead to one number")

    async def _answer(self, asked: Question, passages: list[Passage], known: Known) -> Known:
        choices = [*asked.choices, "none of these"]
        chosen = await ask_choice(self._person, asked.text, choices)
        if chosen == len(asked.choices):
            raise CannotTell(
                "the display shows none of the units that are read here"
                if asked.about == "unit"
                else "the number on the display is not among those that moved"
            )
        if asked.about == "unit":
            return replace(known, unit=Unit(asked.choices[chosen]))
        return replace(known, number=number_of(chosen, passages))

    # --- the proof ---------------------------------------------------------------------------------

    async def _prove(self, ear: Ear, told: Told) -> Learned:
        before = prove(told.profile, [chunk for passage in ear.passages() for chunk in passage.chunks])
        self._person.say(f"It reads {before.read} of {before.lines} lines heard. Reading live ...")
        learned_from = sum(len(passage.chunks) for passage in ear.passages())
        await ear.listen(max(self._options.proof_s, 6 * told.profile.period_s))
        chunks = [chunk for passage in ear.passages() for chunk in passage.chunks]
        live = prove(told.profile, chunks[learned_from:])
        self._kept = [("learning", ear.passages())]
        if live.lines < 3 or live.read < live.lines or live.last is None:
            raise CannotTell(f"live it read only {live.read} of {live.lines} lines, not {live.refused!r}")
        await self._compare(live)
        return self._write(told, before, live)

    async def _compare(self, live: Proof) -> None:
        assert live.last is not None
        shown = "a mark of its range" if live.last.value is None else f"{live.last.value:g} {live.last.unit}"
        mark = {True: ", stable", False: ", not stable", None: ""}[live.last.stable]
        if not await ask_yes(
            self._person, f"It reads {shown}{mark} now. Does the display say the same?", True
        ):
            raise CannotTell("the display shows something else than what was read")

    def _write(self, told: Told, before: Proof, live: Proof) -> Learned:
        path = self._options.out
        try:
            with path.open("x", encoding="utf-8") as stream:
                stream.write(told.text)
        except OSError as error:
            raise NotLearned(
                f"{path} cannot be written ({error.strerror}): name another file with --out."
            ) from None
        heard = self._keep_heard() or path
        return Learned(
            path, heard, told.evidence, told.not_heard, (before.read, before.lines), (live.read, live.lines)
        )

    def _keep_heard(self) -> Path | None:
        """Writes the bytes heard, a line a chunk, beside the profile. None when there are none or no place."""
        # An earlier session's stays: it may be the only trace of an instrument that was not told.
        path = free_name(self._options.out.with_suffix(".heard.jsonl"))
        lines = [
            json.dumps(
                {
                    "at_s": at_ns / 1e9,
                    "while": passage.step.value if what == "learning" else what,
                    "hex": data.hex(),
                }
            )
            for what, passages in self._kept
            for passage in passages
            for data, at_ns in passage.chunks
        ]
        if not lines:
            return None
        try:
            with path.open("x", encoding="ascii") as stream:
                stream.write("\n".join(lines) + "\n")
        except OSError:
            return None
        return path


def _lines(data: bytes) -> int:
    return max(data.count(end) for end in (b"\r", b"\n", b"\x03"))


def _mass(typed: str) -> float | None:
    try:
        mass_g = float(typed.replace(",", ".").removesuffix("g"))
    except ValueError:
        return None
    return mass_g if 0 < mass_g < 1e6 else None
