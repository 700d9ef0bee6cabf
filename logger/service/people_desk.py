"""What a person wants with people and passwords: who it is, whether they may, and the entry that follows.

A password reaches this desk over the local socket only, is compared or hashed, and is forgotten: it stands in
no entry, no answer and no log.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from logger.core.ports import People, Register
from logger.core.register.enter import enter
from logger.core.register.events import RegisterEvent, RegisterKind
from logger.core.register.password import read_password
from logger.core.register.state import RegisterState
from logger.core.review import Proof
from logger.core.run.commands import Refused
from logger.core.run.plan import BenchPlan
from logger.core.text import clean_text
from logger.service.register_desk import entered_text

_KINDS = {
    "add": RegisterKind.PERSON_ADDED,
    "change": RegisterKind.PERSON_CHANGED,
    "retire": RegisterKind.PERSON_RETIRED,
}


@dataclass(frozen=True, slots=True)
class Who:
    """Who asks, and how that is known."""

    by: str
    proof: Proof


class PeopleDesk:
    """One bench's people. Passwords are judged one at a time: each costs memory and processor."""

    def __init__(self, people: People, register: Register, plan: BenchPlan) -> None:
        self._people, self._register, self._plan = people, register, plan
        self._one_at_a_time = asyncio.Lock()

    async def handle(self, args: Mapping[str, Any], utc: str) -> str:
        """`do` add, change, retire or password; `by` with `password`. Gives a sentence; raises Refused."""
        do = args.get("do")
        if do not in (*_KINDS, "password"):
            raise Refused(f"There is nothing like {do!r} to do with people.")
        secret = args.get("new_password")
        new = None if do != "password" and secret is None else read_password(secret)
        who = await self.identify(args)
        if do == "password":
            return await self._set(args, str(args.get("person_id", "")), new or "", who, utc)
        event = await self.enter(_KINDS[do], args, who, str(args.get("why", "")), utc)
        if new is None:
            return entered_text(event)
        person_id = str(event.data.get("id") or event.data["person_id"])
        return f"{entered_text(event)} {await self._set(args, person_id, new, who, utc)}"

    async def identify(self, args: Mapping[str, Any]) -> Who:
        """Who `by` is: known by a password where one is given, else by the typed name. Raises Refused."""
        by = clean_text("by", args.get("by", ""), 64)
        if not by:
            raise Refused("Say who you are (--by).")
        password = args.get("password")
        if password is None:
            return Who(by, "typed")
        if not isinstance(password, str):
            raise Refused("A password is text.")
        async with self._one_at_a_time:
            person = await asyncio.to_thread(self._people.check, by, password)
        return Who(person.id, "password")

    async def enter(
        self, kind: RegisterKind, entry: Mapping[str, Any], who: Who, why: str, utc: str
    ) -> RegisterEvent:
        """One entry of the register by someone who was identified. Raises Refused, `ResultError`."""
        make = self.maker(kind, entry, who, why, utc)
        return await asyncio.wrap_future(self._register.enter(make))

    async def _set(self, args: Mapping[str, Any], person_id: str, new: str, who: Who, utc: str) -> str:
        def make(state: RegisterState, fingerprint: str) -> RegisterEvent:
            entry = {"person_id": person_id, "fingerprint": fingerprint}
            why = str(args.get("why", ""))
            return self.maker(RegisterKind.PASSWORD_SET, entry, who, why, utc)(state)

        # The entry is tried before the hash is made: a refusal costs nothing.
        make(await asyncio.to_thread(self._register.state), "0" * 64)
        async with self._one_at_a_time:
            future = await asyncio.to_thread(self._people.set_password, new, make)
            return entered_text(await asyncio.wrap_future(future))

    def maker(
        self, kind: RegisterKind, entry: Mapping[str, Any], who: Who, why: str, utc: str
    ) -> Callable[[RegisterState], RegisterEvent]:
        """What makes the entry of someone who was identified, once the state is known."""
        plan = self._plan

        def make(state: RegisterState) -> RegisterEvent:
            return enter(
                kind,
                entry,
                by=who.by,
                why=why,
                utc=utc,
                state=state,
                policy=plan.checks,
                balance=plan.balance,
                proof=who.proof,
            )

        return make
