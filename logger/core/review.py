"""What follows the end of a run: review with a signature, correction, invalidation.

Each makes the record's next revision. The figures of the revision before stay in the store and in the
chain; nothing is deleted. Names, meanings and times are plain text, so that a record reads alone.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Any, Literal

ReviewState = Literal["unreviewed", "accepted", "rejected"]
Proof = Literal["password", "typed"]
"""How a person was known: by a password, or by a name that was typed (benches without registered people)."""


class ReviewKind(StrEnum):
    """What may follow the end of a run. Stored as text, so names never change."""

    ACCEPTED = "accepted"
    REJECTED = "rejected"
    CORRECTED = "corrected"
    INVALIDATED = "invalidated"


MEANINGS: dict[ReviewKind, str] = {
    ReviewKind.ACCEPTED: "reviewed and accepted",
    ReviewKind.REJECTED: "reviewed and rejected",
    ReviewKind.CORRECTED: "corrected",
    ReviewKind.INVALIDATED: "declared invalid",
}
"""What a signature means, in words that stand beside it."""

STATE_AFTER: dict[ReviewKind, ReviewState] = {
    ReviewKind.ACCEPTED: "accepted",
    ReviewKind.REJECTED: "rejected",
    ReviewKind.CORRECTED: "unreviewed",
    ReviewKind.INVALIDATED: "rejected",
}
"""A corrected record waits for a review again; an invalid one can never be read as accepted."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Signature:
    """One person's signature over the revision before: `revision` and `record_sha256` say which.

    `name` and `role` as they stood in the register at that time; `utc` is when the password was right.
    """

    person_id: str
    name: str
    role: Literal["reviewer"]
    kind: Literal["accepted", "rejected"]
    meaning: str
    why: str
    """The reason; always there for a rejection."""
    utc: str
    method: Literal["password"]
    revision: int
    record_sha256: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """One value before and after. `what` is `sample.lot`, `tare_g`, `weighings.2.gross_g` or `remark`."""

    what: str
    before: str | float | None
    after: str | float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Correction:
    """Who changed what, when and why, over the revision before. `role` is empty for a typed name."""

    person_id: str
    name: str
    role: Literal["operator", "reviewer", "admin", ""]
    why: str
    utc: str
    method: Proof
    revision: int
    record_sha256: str
    changes: tuple[Change, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Invalidation:
    """Who declared the result of the revision before invalid, when and why. `outcome` is what it was."""

    person_id: str
    name: str
    role: Literal["operator", "reviewer", "admin", ""]
    why: str
    utc: str
    method: Proof
    revision: int
    record_sha256: str
    outcome: str


def standing_signature(record: Mapping[str, Any]) -> Mapping[str, Any] | None:
    """The signature that holds for this revision of a record (JSON values); None while it is unreviewed.

    A signature over a revision that was corrected or declared invalid afterwards holds no longer.
    """
    signatures: Sequence[Mapping[str, Any]] = record.get("signatures") or ()
    if not signatures or record["review"] == "unreviewed" or record.get("invalidation"):
        return None
    return signatures[-1]


def review_text(record: Mapping[str, Any]) -> str:
    """Where the review of a record (JSON values) stands, as half a sentence for people."""
    declared = record.get("invalidation")
    if declared:
        return f"declared invalid by {declared['name']} on {declared['utc'][:10]}: {declared['why']}"
    signed = standing_signature(record)
    if signed is None:
        return "corrected, waits for a review" if record.get("corrections") else str(record["review"])
    reason = f": {signed['why']}" if signed["why"] else ""
    return f"{signed['meaning']} by {signed['name']} ({signed['person_id']}) on {signed['utc'][:10]}{reason}"


def review_lines(record: Mapping[str, Any]) -> list[str]:
    """Every signature, correction and invalidation of a record (JSON values), in order of revision."""
    made = [(each["revision"], _signature_line(each)) for each in record.get("signatures") or ()]
    made += [(each["revision"], _correction_line(each)) for each in record.get("corrections") or ()]
    declared = record.get("invalidation")
    made += [(declared["revision"], _line(declared, "declared invalid", declared["why"]))] if declared else []
    return [text for _, text in sorted(made, key=lambda one: one[0])]


def _signature_line(signed: Mapping[str, Any]) -> str:
    return _line(signed, f"{signed['meaning']} as {signed['role']}", signed["why"])


def _correction_line(made: Mapping[str, Any]) -> str:
    words = [
        f"{change['what']} {_shown(change['before'])} to {_shown(change['after'])}"
        if change["what"] != "remark"
        else f"remark: {change['after']}"
        for change in made["changes"]
    ]
    return _line(made, f"corrected {', '.join(words)}", made["why"])


def _line(made: Mapping[str, Any], what: str, why: str) -> str:
    known = "" if made["method"] == "password" else ", name typed"
    reason = f": {why}" if why else ""
    at = made["utc"][:16].replace("T", " ")
    return f"{at} UTC, revision {made['revision']}: {what} by {made['name']} ({made['person_id']}{known}){reason}"


def _shown(value: object) -> str:
    return "nothing" if value in (None, "") else f"{value:g}" if isinstance(value, float) else repr(value)
