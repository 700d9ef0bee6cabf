"""Approval of the methods that a bench offers: by whom, from which day on, and its end."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from logger.core.method import Method
from logger.core.register.events import RegisterKind
from logger.core.run.commands import Refused
from logger.core.run.plan import plain_json, sha256_json
from logger.core.run.start import pick_method
from logger.service.people_desk import PeopleDesk
from logger.service.register_desk import entered_text


class ApprovalDesk:
    """What is approved is what the bench offers now, whole, with its hash."""

    def __init__(self, people: PeopleDesk, methods: Mapping[str, Method]) -> None:
        self._people, self._methods = people, methods

    async def handle(self, args: Mapping[str, Any], utc: str) -> str:
        """`do` approve (`method_id`, `effective_from`) or withdraw (`method_id`, `revision`). Raises Refused."""
        do = args.get("do")
        if do not in ("approve", "withdraw"):
            raise Refused(f"There is nothing like {do!r} to do with a method.")
        who = await self._people.identify(args)
        why = str(args.get("why") or "")
        if do == "approve":
            entry = self._entry(args, utc)
            return entered_text(await self._people.enter(RegisterKind.METHOD_APPROVED, entry, who, why, utc))
        return entered_text(await self._people.enter(RegisterKind.METHOD_WITHDRAWN, args, who, why, utc))

    def _entry(self, args: Mapping[str, Any], utc: str) -> dict[str, Any]:
        method = pick_method(self._methods, args.get("method_id"))
        plain, head = plain_json(method), method.method
        return {
            "method_id": head.id,
            "title": head.title,
            "revision": head.revision,
            "sha256": sha256_json(plain),
            "frozen": plain,
            "effective_from": str(args.get("effective_from") or utc[:10]),
        }
