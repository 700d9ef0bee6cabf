"""Entries about people, approved methods and files, judged on the way. See `enter`."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from logger.core.refusal import ResultError, require
from logger.core.register import people as rules
from logger.core.register.events import RegisterKind
from logger.core.register.methods import Approval
from logger.core.register.typed import EntryBench, any_day, id_of, list_of, text_of
from logger.core.run.commands import Refused

Entry = Mapping[str, Any]


def require_known(bench: EntryBench) -> None:
    """Once there are people, entries are made by one of them. Raises Refused."""
    if bench.policy.people == "required" and rules.anyone(bench.state.people):
        rules.find_person(bench.state.people, bench.by)


def _about_people(make: Callable[[EntryBench, Entry], dict[str, Any]], own: bool = False) -> Any:
    """Judges who enters, then what; the entry says how it was known who."""

    def judged(bench: EntryBench, entry: Entry) -> dict[str, Any]:
        subject = str(entry.get("person_id", "")) if own else ""
        rules.require_admin(bench.state.people, bench.by, bench.proof, subject)
        return make(bench, entry) | {"proof": bench.proof}

    return judged


def _added(bench: EntryBench, entry: Entry) -> dict[str, Any]:
    return rules.person_added(bench.state.people, id_of(entry, "id", "a person's"), entry)


def _approved(bench: EntryBench, entry: Entry) -> dict[str, Any]:
    """A method's revision is in force from a day on."""
    name = _approver(bench)
    method_id, sha256 = text_of(entry, "method_id"), text_of(entry, "sha256")
    revision, frozen = entry.get("revision"), entry.get("frozen")
    require(isinstance(revision, int) and isinstance(frozen, Mapping), "only a method can be approved")
    day = any_day(text_of(entry, "effective_from"), "the effective date")
    require(
        day >= bench.today,
        f"the effective date {day} is past: a method is approved from today ({bench.today}) on, or later",
    )
    for known in _of(bench, method_id, revision):
        require(
            known.sha256 == sha256,
            f"{method_id} revision {revision} was approved with other values on {known.approved_utc[:10]}: "
            "give the changed method the next revision",
        )
        stands = not known.withdrawn and known.effective_from == day.isoformat()
        require(not stands, f"{method_id} revision {revision} is approved from {day} on already")
    return {
        "method_id": method_id,
        "title": text_of(entry, "title"),
        "revision": revision,
        "sha256": sha256,
        "frozen": frozen,
        "effective_from": day.isoformat(),
        "name": name,
        "proof": bench.proof,
    }


def _withdrawn(bench: EntryBench, entry: Entry) -> dict[str, Any]:
    """The approval of a revision no longer stands."""
    _approver(bench)
    method_id, revision = text_of(entry, "method_id"), entry.get("revision")
    standing = [known for known in _of(bench, method_id, revision) if not known.withdrawn]
    require(bool(standing), f"{method_id} revision {revision} is not approved: nothing to withdraw")
    require(bool(bench.why), "say why the approval is withdrawn (--why)")
    return {"method_id": method_id, "revision": revision, "proof": bench.proof}


def _of(bench: EntryBench, method_id: str, revision: object) -> list[Approval]:
    return [a for a in bench.state.approvals if (a.method_id, a.revision) == (method_id, revision)]


def _approver(bench: EntryBench) -> str:
    """The name of who approves: a reviewer or admin by password once there are people. Raises Refused."""
    people = bench.state.people
    if not rules.anyone(people):
        return bench.by
    person = rules.require_role(people, bench.by, "reviewer", "admin")
    if bench.proof != "password":
        raise Refused("An approval needs the password of who gives it.")
    return person.name


def _files(bench: EntryBench, entry: Entry) -> dict[str, Any]:
    found = list_of(entry, "files", Mapping)
    if not found:
        raise ResultError("no file has changed")
    return {"files": [dict(each) for each in found]}


def _sent_again(bench: EntryBench, entry: Entry) -> dict[str, Any]:
    if rules.anyone(bench.state.people) and bench.proof != "password":
        raise Refused("Once people are registered, this needs the password of who does it.")
    messages = entry.get("messages")
    if not isinstance(messages, int) or messages < 1:
        raise ResultError("there is no message to send again")
    return {"what": text_of(entry, "what"), "messages": messages}


MAKERS: dict[RegisterKind, Callable[[EntryBench, Entry], dict[str, Any]]] = {
    RegisterKind.PERSON_ADDED: _about_people(_added),
    RegisterKind.PERSON_CHANGED: _about_people(
        lambda bench, entry: rules.person_changed(bench.state.people, entry, bench.why)
    ),
    RegisterKind.PERSON_RETIRED: _about_people(
        lambda bench, entry: rules.person_retired(bench.state.people, entry, bench.why)
    ),
    RegisterKind.PASSWORD_SET: _about_people(
        lambda bench, entry: rules.password_set(bench.state.people, entry), own=True
    ),
    RegisterKind.METHOD_APPROVED: _approved,
    RegisterKind.METHOD_WITHDRAWN: _withdrawn,
    RegisterKind.SENT_AGAIN: _sent_again,
    RegisterKind.FILES_SEEN: _files,
}
