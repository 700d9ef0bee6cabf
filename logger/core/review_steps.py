"""What a review, a correction or an invalidation makes of a record: the next revision, or a refusal.

Records are JSON values here, since one that an older version wrote must be reviewable too.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import Any, Literal

from logger.core.record import ChainHead
from logger.core.register.people import Person, same_person
from logger.core.review import (
    MEANINGS,
    STATE_AFTER,
    Change,
    Correction,
    Invalidation,
    Proof,
    ReviewKind,
    Signature,
    review_text,
)
from logger.core.run.commands import Refused
from logger.core.run.events import Event, EventKind
from logger.core.run.plan import sha256_json
from logger.core.run.repeats import PlannedRepeat, recorded_repeat, repeat_note
from logger.core.text import clean_text

LONGEST_WHY = 400
_ABSENT: dict[str, Any] = {
    "operator_name": None,
    "approval": None,
    "repeat": None,
    "signatures": [],
    "corrections": [],
    "invalidation": None,
}
"""What a record of an older version does not have."""
_BY_HAND = (
    EventKind.HELD,
    EventKind.RESUMED,
    EventKind.STOPPED,
    EventKind.ABORTED,
    EventKind.PRESSURE_RELEASED,
    EventKind.SIEVE_CARED,
)
"""What someone does in the place of the operator while the run goes, besides typing a weight. A note or closing the run
is none of it."""
_NO_RESULT = ("aborted", "interrupted", "invalid")


@dataclass(frozen=True, slots=True, kw_only=True)
class Author:
    """Who did it, as the register knew them, and how that was known. `role` is empty for a typed name."""

    person_id: str
    name: str
    role: Literal["operator", "reviewer", "admin", ""]
    method: Proof


@dataclass(frozen=True, slots=True, kw_only=True)
class Standing:
    """A run's newest record with its journal, as someone saw it. `last_batch` is that of the run's newest event."""

    number: int
    run_id: str
    body: dict[str, Any]
    events: tuple[Event, ...]
    last_batch: int


@dataclass(frozen=True, slots=True, kw_only=True)
class SendAgain:
    """What goes to the plant again: runs by number, from first to last, or messages by their `seq`."""

    first: int
    last: int
    by_seq: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """What is to be kept: the event, its data, and the fields of the record that change. `closes` the run."""

    kind: EventKind
    data: dict[str, Any]
    fields: dict[str, Any]
    closes: bool = False


def next_body(body: Mapping[str, Any], step: Step, head: ChainHead, events: int) -> dict[str, Any]:
    """The next revision. `head` and `events` say where the run's journal stands before it."""
    before = {name: value for name, value in body.items() if name != "record_sha256"}
    journal = {"events": events, "head_batch": head.batch, "head_sha256": head.sha256}
    plain = _ABSENT | before | step.fields | {"revision": body["revision"] + 1, "journal": journal}
    return plain | {"record_sha256": sha256_json(plain)}


def sign(
    body: Mapping[str, Any],
    person: Person,
    kind: ReviewKind,
    why: str,
    utc: str,
    events: Sequence[Event] = (),
) -> Step:
    """A second person accepts or rejects. Raises Refused for anyone who may not, and for what was reviewed.

    `events` of the run say who else had a hand in it.
    """
    if kind not in (ReviewKind.ACCEPTED, ReviewKind.REJECTED):
        raise Refused("A signature accepts or rejects.")
    _require_standing(body)
    if body["review"] != "unreviewed":
        raise Refused(f"The run is {review_text(body)}: correct it first, if it is to be reviewed again.")
    _require_another(body, person, events)
    reason = _reason(why, "rejected") if kind is ReviewKind.REJECTED else clean_text("why", why, LONGEST_WHY)
    signature = Signature(
        person_id=person.id,
        name=person.name,
        role="reviewer",
        kind="accepted" if kind is ReviewKind.ACCEPTED else "rejected",
        meaning=MEANINGS[kind],
        why=reason,
        utc=utc,
        method="password",
        revision=body["revision"],
        record_sha256=body["record_sha256"],
    )
    made = asdict(signature)
    signatures = [*(body.get("signatures") or ()), made]
    return Step(
        kind=EventKind.REVIEWED,
        data=made,
        fields={"signatures": signatures, "review": STATE_AFTER[kind]},
        closes=True,
    )


def correct(
    body: Mapping[str, Any],
    changes: Sequence[Change],
    recomputed: Mapping[str, Any],
    author: Author,
    why: str,
    utc: str,
    repeat: PlannedRepeat | None = None,
) -> Step:
    """Values that were entered wrong are put right; the figures that follow are in `recomputed`.

    `repeat` is what was found before of the sample that the run is of now. Raises Refused without a reason or a
    change. The corrected record waits for a review again.
    """
    _require_standing(body)
    reason = _reason(why, "corrected")
    if not changes:
        raise Refused("Nothing is different from what the record says.")
    correction = Correction(
        **asdict(author),
        why=reason,
        utc=utc,
        revision=body["revision"],
        record_sha256=body["record_sha256"],
        changes=tuple(changes),
    )
    made = asdict(correction) | {"changes": [asdict(change) for change in changes]}
    fields: dict[str, Any] = {"corrections": [*(body.get("corrections") or ()), made]}
    fields |= {"review": STATE_AFTER[ReviewKind.CORRECTED]}
    fields = {**_changed_sample(body, changes), **fields, **_repeated(body, repeat), **recomputed}
    return Step(kind=EventKind.CORRECTED, data=made, fields=fields)


def invalidate(body: Mapping[str, Any], author: Author, why: str, utc: str) -> Step:
    """The result is no result. Raises Refused without a reason, and where there is no result."""
    _require_standing(body)
    reason = _reason(why, "declared invalid")
    if body["outcome"] in _NO_RESULT:
        raise Refused(f"The run ended as {body['outcome']}: there is no result to declare invalid.")
    made = asdict(
        Invalidation(
            **asdict(author),
            why=reason,
            utc=utc,
            revision=body["revision"],
            record_sha256=body["record_sha256"],
            outcome=body["outcome"],
        )
    )
    fields = {
        "invalidation": made,
        "review": STATE_AFTER[ReviewKind.INVALIDATED],
        "outcome": "invalid",
        "reason": f"declared invalid: {reason}",
        "result": None,
        "assessment": None,
    }
    return Step(kind=EventKind.DECLARED_INVALID, data=made, fields=fields, closes=True)


def author_of(person: Person) -> Author:
    """A registered person known by a password, in the strongest role there is."""
    role = next(role for role in ("reviewer", "admin", "operator") if role in person.roles)
    return Author(person_id=person.id, name=person.name, role=role, method="password")


def typed_author(name: str) -> Author:
    """A name that was typed, on a bench without registered people."""
    return Author(person_id=name, name=name, role="", method="typed")


def _require_standing(body: Mapping[str, Any]) -> None:
    if body.get("invalidation"):
        raise Refused(f"The run was {review_text(body)}; nothing follows that but a new run.")


def _require_another(body: Mapping[str, Any], person: Person, events: Sequence[Event]) -> None:
    if not person.has("reviewer"):
        raise Refused(f"{person.name} ({person.id}) is no reviewer on this bench.")
    own = (body["operator_id"], body.get("operator_name") or "", body.get("cautions_acknowledged_by") or "")
    if any(same_person(person, text) for text in own):
        raise Refused(f"{person.name} was the operator of this run: another reviewer must sign it.")
    if any(same_person(person, made["person_id"]) for made in body.get("corrections") or ()):
        raise Refused(f"{person.name} has corrected this run: another reviewer must sign it.")
    hands = (str(event.data.get("by") or "") for event in events if _by_hand(event))
    if any(same_person(person, by) for by in hands):
        raise Refused(f"{person.name} had a hand in this run: another reviewer must sign it.")


def _by_hand(event: Event) -> bool:
    return event.kind in _BY_HAND or event.data.get("typed") is True


def _reason(why: str, what: str) -> str:
    reason = clean_text("why", why, LONGEST_WHY)
    if not reason:
        raise Refused(f"Say why the run is {what}: the reason stands in its record for good.")
    return reason


def _repeated(body: Mapping[str, Any], repeat: PlannedRepeat | None) -> dict[str, Any]:
    """The record's fields that say so, beside what they said before; nothing where it is no repeat."""
    if repeat is None:
        return {}
    made, before = recorded_repeat(repeat), body.get("repeat")
    if before:
        known = {each["run_id"] for each in made["earlier"]}
        earlier = [each for each in before["earlier"] if each["run_id"] not in known]
        made = {"reason": f"{before['reason']}; {made['reason']}", "earlier": [*earlier, *made["earlier"]]}
    notes = [{"key": key, "text": text} for key, text in repeat_note(repeat)]
    return {"repeat": made, "deviations": [*(body.get("deviations") or ()), *notes]}


def _changed_sample(body: Mapping[str, Any], changes: Sequence[Change]) -> dict[str, Any]:
    new = {c.what.removeprefix("sample."): c.after for c in changes if c.what.startswith("sample.")}
    return {"sample": {**body["sample"], **new}} if new else {}
