"""The commands that move no run: people, approvals, reviews, sending again. The same with and without a service."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from logger.core.run.commands import Refused
from logger.service.approval_desk import ApprovalDesk
from logger.service.people_desk import PeopleDesk
from logger.service.review_desk import ReviewDesk

COMMANDS = ("people", "review", "send_again", "approval")
"""Names as they travel on the local socket; they need no controls, since they say who asks."""


class Office:
    """The desks of one bench behind one door."""

    def __init__(self, people: PeopleDesk, reviews: ReviewDesk, approvals: ApprovalDesk) -> None:
        self._people, self.reviews, self._approvals = people, reviews, approvals

    async def handle(self, name: str, args: Mapping[str, Any], utc: str) -> str:
        """A sentence about what was done. Raises Refused, `ResultError`."""
        if name == "people":
            return await self._people.handle(args, utc)
        if name == "review":
            return await self.reviews.handle(args, utc)
        if name == "send_again":
            return await self.reviews.send_again(args, utc)
        if name == "approval":
            return await self._approvals.handle(args, utc)
        raise Refused(f"There is no command {name!r}.")
