"""What a run's report is made from: the newest record, the run's events, its curves, its determinations."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from logger.core.joining import Joined
from logger.core.record_code import record_code
from logger.core.run.events import Event, EventKind
from logger.core.run.plan import sha256_json
from logger.report.run_curves import RunCurves


@dataclass(frozen=True, slots=True, kw_only=True)
class RunSheet:
    """All of it kept, nothing measured or decided anew. `body` holds the JSON values of the record."""

    number: int
    body: Mapping[str, Any]
    events: tuple[Event, ...]
    curves: RunCurves | None
    joined: Joined | None = None
    """The sample's determinations on this sieve; None where the method asks for one and there is one."""
    codes: Mapping[str, str] | None = None
    """Codes of their records, by run id."""

    @property
    def sha256(self) -> str:
        """The record's hash as it stands in it."""
        return str(self.body["record_sha256"])

    @property
    def code(self) -> str:
        """The short code of the record."""
        return record_code(self.sha256)

    @property
    def issued_at(self) -> str:
        """When this revision was issued (UTC); empty in stores that did not note it."""
        for event in self.events:
            if event.kind is EventKind.RECORD_ISSUED and event.data["revision"] == self.body["revision"]:
                return event.utc
        return ""


def hash_agrees(body: Mapping[str, Any]) -> bool:
    """Whether a record's hash is that of everything else in it."""
    rest = {name: value for name, value in body.items() if name != "record_sha256"}
    return sha256_json(rest) == body.get("record_sha256")
