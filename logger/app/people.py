"""People of a bench for the command line."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from logger.app.paths import DataFolder
from logger.app.register import read_register
from logger.app.secret_input import ask_password
from logger.core.register.people import People, find_person, unguarded
from logger.core.text import printable


def list_people(data: DataFolder, json_out: bool) -> str | list[dict[str, Any]]:
    """Everyone, the retired ones too. Raises StoreError."""
    people = sorted(read_register(data).people.values(), key=lambda person: person.id.casefold())
    if json_out:
        return [
            {
                "id": person.id,
                "name": person.name,
                "roles": list(person.roles),
                "added_at": person.added_utc,
                "retired": person.retired,
                "password_set_at": person.password_utc,
            }
            for person in people
        ]
    if not people:
        return (
            "Nobody is registered: names are typed, and no run can be signed. The first one is an admin: "
            "`lastgrain people add ID --name NAME --role admin --role reviewer`."
        )
    lines = [f"{'id':16}  {'name':24}  {'roles':26}  password"]
    for person in people:
        since = f"set {person.password_utc[:10]}" if person.password_utc else "none"
        state = f"retired: {printable(person.retired)}" if person.retired else since
        lines.append(f"{person.id:16}  {printable(person.name):24}  {', '.join(person.roles):26}  {state}")
    return "\n".join(lines)


def people_of(data: DataFolder) -> People:
    """The people as the register has them. Raises StoreError."""
    return read_register(data).people


def acting(people: People, by: str, file: Path | None) -> dict[str, Any]:
    """`by`, and the password where entries about people need one. Raises Refused."""
    if unguarded(people):
        return {"by": by}
    person = find_person(people, by)
    return {"by": person.id, "password": ask_password(f"{person.name} ({person.id})", file)}
