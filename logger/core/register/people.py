"""People of a bench with their roles, as entries of the register. Secrets are none of the register's.

Of a password the register only knows that it was set, by whom, and the fingerprint of what the store keeps:
a password that was put there in another way is noticed.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any, Literal, get_args

from logger.core.refusal import require
from logger.core.register.events import RegisterEvent, RegisterKind
from logger.core.run.commands import Refused
from logger.core.text import clean_text, printable

Role = Literal["operator", "reviewer", "admin"]
ROLES: tuple[Role, ...] = get_args(Role)
_FINGERPRINT = re.compile(r"[0-9a-f]{64}\Z")
_LONGEST_NAME = 64


@dataclass(frozen=True, slots=True, kw_only=True)
class Person:
    """One person. `retired` is the reason, empty while active. `fingerprint` is that of the password in force.
    `former_names` are those before the name was changed: older runs may have been started under one.

    Ids stay taken for ever; `id` is compared without regard to capitals.
    """

    id: str
    name: str
    roles: tuple[Role, ...]
    added_utc: str
    retired: str = ""
    fingerprint: str = ""
    password_utc: str = ""
    former_names: tuple[str, ...] = ()

    def has(self, *roles: Role) -> bool:
        """Whether the person is active in one of these roles."""
        return not self.retired and any(role in self.roles for role in roles)


People = Mapping[str, Person]


def find_person(people: People, person_id: str) -> Person:
    """The active person of this id, whatever its capitals. Raises Refused."""
    wanted = person_id.casefold()
    found = next((person for person in people.values() if person.id.casefold() == wanted), None)
    if found is None:
        raise Refused(
            f"{printable(person_id)!r} is not registered on this bench (`lastgrain people list`): "
            "type or scan the id of a registered person."
        )
    if found.retired:
        raise Refused(f"{found.name} ({found.id}) is retired on this bench: {found.retired}.")
    return found


def require_role(people: People, person_id: str, *roles: Role) -> Person:
    """The active person of this id in one of these roles. Raises Refused."""
    person = find_person(people, person_id)
    if not person.has(*roles):
        raise Refused(
            f"{person.name} ({person.id}) has no role {' or '.join(roles)} on this bench, only "
            f"{', '.join(person.roles)}."
        )
    return person


def anyone(people: People) -> bool:
    """Whether the bench has registered people."""
    return any(not person.retired for person in people.values())


def unguarded(people: People) -> bool:
    """Whether no admin has a password yet: entries about people are free until one has."""
    return not any(person.has("admin") and person.fingerprint for person in people.values())


def same_person(person: Person, typed: str) -> bool:
    """Whether a typed name or id means this person: capitals, blanks and wide letters make no other one of it."""
    return _alike(typed) in map(_alike, (person.id, person.name, *person.former_names))


def _alike(text: str) -> str:
    return " ".join(unicodedata.normalize("NFKC", text).casefold().split())


# --- entries ----------------------------------------------------------------------------------------------


def person_added(people: People, person_id: str, entry: Mapping[str, Any]) -> dict[str, Any]:
    """A new person. Raises `ResultError` or Refused; the first one must be an admin."""
    taken = next((known for known in people if known.casefold() == person_id.casefold()), None)
    require(taken is None, f"{person_id} is taken: an id is never given twice")
    roles = read_roles(entry.get("roles"))
    require(
        not unguarded(people) or "admin" in roles or any(p.has("admin") for p in people.values()),
        "the first person is an admin (--role admin): someone must be able to add the others",
    )
    return {"id": person_id, "name": _name(entry), "roles": list(roles)}


def person_changed(people: People, entry: Mapping[str, Any], why: str) -> dict[str, Any]:
    """Another name, other roles, or both. Raises `ResultError` or Refused."""
    person = find_person(people, str(entry.get("person_id", "")))
    name = person.name if entry.get("name") is None else _name(entry)
    roles = person.roles if entry.get("roles") is None else read_roles(entry.get("roles"))
    require((name, roles) != (person.name, person.roles), "name and roles are what they were")
    require(bool(why), "say why the person's entry is changed (--why)")
    _keep_an_admin(people, replace(person, roles=roles))
    return {"person_id": person.id, "name": name, "roles": list(roles)}


def person_retired(people: People, entry: Mapping[str, Any], why: str) -> dict[str, Any]:
    """Takes a person out of use. Raises `ResultError` or Refused."""
    person = find_person(people, str(entry.get("person_id", "")))
    require(bool(why), "say why the person is retired (--why)")
    _keep_an_admin(people, replace(person, retired=why))
    return {"person_id": person.id}


def password_set(people: People, entry: Mapping[str, Any]) -> dict[str, Any]:
    """A password was set; `fingerprint` is that of what the store keeps. Raises `ResultError` or Refused."""
    person = find_person(people, str(entry.get("person_id", "")))
    fingerprint = str(entry.get("fingerprint", ""))
    require(_FINGERPRINT.match(fingerprint) is not None, "a password is set with `lastgrain people password`")
    return {"person_id": person.id, "fingerprint": fingerprint}


def require_admin(people: People, by: str, proof: str, own: str = "") -> None:
    """Who may enter something about people: an admin by password, or the person about whom it is.

    While no admin has a password, anyone may. Raises Refused.
    """
    if unguarded(people):
        return
    if own and own.casefold() == by.casefold():
        find_person(people, by)
    else:
        require_role(people, by, "admin")
    if proof != "password":
        raise Refused("Entries about people need the password of who makes them.")


def read_roles(given: object) -> tuple[Role, ...]:
    """Roles in their usual order. Raises `ResultError` naming what there is."""
    known = f"give one or more of {', '.join(ROLES)}"
    require(isinstance(given, list | tuple) and bool(given), f"roles are missing: {known}")
    wanted = list(given) if isinstance(given, list | tuple) else []
    strange = [role for role in wanted if role not in ROLES]
    require(not strange, f"there is no role {', '.join(map(repr, strange))}: {known}")
    return tuple(role for role in ROLES if role in wanted)


def _name(entry: Mapping[str, Any]) -> str:
    name = clean_text("name", entry.get("name", ""), _LONGEST_NAME)
    require(bool(name), "the name is missing (--name)")
    return name


def _keep_an_admin(people: People, changed: Person) -> None:
    """Nobody could add people any more without an admin who has a password."""
    if unguarded(people):
        return
    after = {**people, changed.id: changed}
    require(
        not unguarded(after),
        f"{changed.id} is the last admin with a password: give the role and a password to another one first",
    )


# --- the state --------------------------------------------------------------------------------------------


def apply_person(people: People, event: RegisterEvent) -> People:
    """The people after one more entry about them."""
    data = event.data
    if event.kind is RegisterKind.PERSON_ADDED:
        person = Person(id=data["id"], name=data["name"], roles=tuple(data["roles"]), added_utc=event.utc)
        return {**people, person.id: person}
    known = people[data["person_id"]]
    if event.kind is RegisterKind.PERSON_CHANGED:
        former = known.former_names if data["name"] == known.name else (*known.former_names, known.name)
        known = replace(known, name=data["name"], roles=tuple(data["roles"]), former_names=former)
    elif event.kind is RegisterKind.PERSON_RETIRED:
        known = replace(known, retired=event.why)
    else:
        known = replace(known, fingerprint=data["fingerprint"], password_utc=event.utc)
    return {**people, known.id: known}
