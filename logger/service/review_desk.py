"""What a person wants with a run that has ended: sign it, correct it, declare it invalid, send it again."""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Mapping, Sequence
from typing import Any

from logger.core.method import Method
from logger.core.ports import Register, Reviews
from logger.core.register.events import RegisterEvent, RegisterKind
from logger.core.register.people import anyone, find_person, require_role
from logger.core.register.planned import planned_sieve
from logger.core.register.state import RegisterState
from logger.core.review import Change, ReviewKind, review_text
from logger.core.review_steps import (
    Author,
    SendAgain,
    Standing,
    Step,
    author_of,
    correct,
    invalidate,
    sign,
    typed_author,
)
from logger.core.run.commands import Refused
from logger.core.run.facts import fold
from logger.core.run.recompute import read_changes, recomputed
from logger.core.run.repeats import PlannedRepeat, corrected_repeat
from logger.core.weighing import BalanceSpec
from logger.service.people_desk import PeopleDesk, Who
from logger.service.register_desk import entered_text

ReadPlan = Callable[[Mapping[str, Any]], tuple[Method, BalanceSpec]]
"""Method and balance of a run's frozen plan. Raises Refused for one that this version cannot read."""
_SIGNED = {"accept": ReviewKind.ACCEPTED, "reject": ReviewKind.REJECTED}


class ReviewDesk:
    """One bench's reviews. Whoever signs is known by a password; who corrects too, once there are people."""

    def __init__(self, people: PeopleDesk, register: Register, reviews: Reviews, read_plan: ReadPlan) -> None:
        self._people, self._register, self._reviews, self._read_plan = people, register, reviews, read_plan
        self.on_revised: Callable[[str], None] = lambda run_id: None
        """A revision of this run is kept."""
        self.revised = 0
        """Revisions kept since the service started: who looks at kept runs looks again."""

    async def handle(self, args: Mapping[str, Any], utc: str) -> str:
        """`do` accept, reject, correct or invalidate, with `run`, `by`, `password`, `why`. Raises Refused."""
        do = args.get("do")
        if do not in (*_SIGNED, "correct", "invalidate"):
            raise Refused(f"There is nothing like {do!r} to do with a run.")
        who = await self._people.identify(args)
        state = await asyncio.to_thread(self._register.state)
        seen = await asyncio.to_thread(self._reviews.look, str(args.get("run", "")))
        _require_same(seen, args.get("seen"), signs=do in _SIGNED)
        why = str(args.get("why") or "")
        step = await asyncio.to_thread(self._step, str(do), seen, who, state, args, why, utc)
        body = await asyncio.wrap_future(self._reviews.append(seen, step))
        self.revised += 1
        self.on_revised(seen.run_id)
        return (
            f"Run {seen.number}: {review_text(body)}. Record revision {body['revision']} goes to the plant."
        )

    async def send_again(self, args: Mapping[str, Any], utc: str) -> str:
        """`first` and `last` run by number, or messages by `seq`. Asked by a person, never by the broker."""
        wanted = SendAgain(
            first=_whole(args, "first"), last=_whole(args, "last"), by_seq=args.get("by_seq") is True
        )
        who = await self._people.identify(args)

        def make(state: RegisterState, what: str, messages: int) -> RegisterEvent:
            entry = {"what": what, "messages": messages}
            maker = self._people.maker(RegisterKind.SENT_AGAIN, entry, who, str(args.get("why") or ""), utc)
            return maker(state)

        return entered_text(await asyncio.wrap_future(self._reviews.send_again(wanted, make)))

    def _step(
        self,
        do: str,
        seen: Standing,
        who: Who,
        state: RegisterState,
        args: Mapping[str, Any],
        why: str,
        utc: str,
    ) -> Step:
        if do in _SIGNED:
            _require_people(state, who)
            person = find_person(state.people, who.by)
            return sign(seen.body, person, _SIGNED[do], why, utc, seen.events)
        author = _author(state, who, do)
        if do == "invalidate":
            return invalidate(seen.body, author, why, utc)
        facts = fold(seen.events)
        method, spec = self._read_plan(facts.plan)
        wanted = args.get("changes") or {}
        if not isinstance(wanted, dict):
            raise Refused("changes must say the new value of each name.")
        changes = read_changes(seen.body, facts, wanted)
        fields = recomputed(facts, changes, method, spec, planned_sieve(facts.plan.get("sieve")))
        return correct(seen.body, changes, fields, author, why, utc, self._repeat(seen, changes, method, why))

    def _repeat(
        self, seen: Standing, changes: Sequence[Change], method: Method, why: str
    ) -> PlannedRepeat | None:
        """Of another sample or lot than before: what was found of that one before this run, where it is a repeat now."""
        sample = seen.body["sample"] | {each.what.removeprefix("sample."): each.after for each in changes}
        key = (sample["sample_id"], sample["lot"])
        if key == (seen.body["sample"]["sample_id"], seen.body["sample"]["lot"]):
            return None
        found = self._register.earlier(*key, method.method.id)
        before = [each for each in found if each.number < seen.number]
        return corrected_repeat(method, seen.body["aperture_um"], before, why)


def _require_people(state: RegisterState, who: Who) -> None:
    if not anyone(state.people):
        raise Refused(
            "Nobody is registered on this bench: a run is signed by a registered reviewer (`lastgrain people add`)."
        )
    if who.proof != "password":
        raise Refused("A signature needs the password of who gives it.")


def _author(state: RegisterState, who: Who, do: str) -> Author:
    if not anyone(state.people):
        return typed_author(who.by)
    if who.proof != "password":
        raise Refused("Once people are registered, this needs the password of who does it.")
    if do == "invalidate":
        return author_of(require_role(state.people, who.by, "reviewer", "admin"))
    return author_of(find_person(state.people, who.by))


def _require_same(seen: Standing, sha256: object, signs: bool) -> None:
    """What was on the screen is what is signed; so a signature must say what that was."""
    if signs and not sha256:
        raise Refused("A signature names the record that was looked at (`seen`, its record_sha256).")
    if sha256 is not None and sha256 != seen.body["record_sha256"]:
        raise Refused(
            f"The record of run {seen.number} is now in revision {seen.body['revision']}: look at it again first."
        )


def _whole(args: Mapping[str, Any], name: str) -> int:
    value = args.get(name)
    if isinstance(value, bool) or not isinstance(value, int):
        raise Refused(f"{name} must be a whole number.")
    return value
