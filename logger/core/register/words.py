"""Entries about people, approvals and files as sentences."""

from __future__ import annotations

from collections.abc import Callable

from logger.core.register.events import RegisterEvent, RegisterKind
from logger.core.register.files import files_text

_TEXTS: dict[RegisterKind, Callable[[RegisterEvent], str]] = {
    RegisterKind.PERSON_ADDED: lambda e: (
        f"{e.data['name']} ({e.data['id']}) is registered as {', '.join(e.data['roles'])}."
    ),
    RegisterKind.PERSON_CHANGED: lambda e: (
        f"{e.data['person_id']} is now {e.data['name']}, {', '.join(e.data['roles'])}: {e.why}."
    ),
    RegisterKind.PERSON_RETIRED: lambda e: f"{e.data['person_id']} is retired: {e.why}.",
    RegisterKind.PASSWORD_SET: lambda e: f"A new password of {e.data['person_id']} is set.",
    RegisterKind.METHOD_APPROVED: lambda e: (
        f"Method {e.data['method_id']} revision {e.data['revision']} is approved by {e.data['name']}, "
        f"in force from {e.data['effective_from']} on."
    ),
    RegisterKind.METHOD_WITHDRAWN: lambda e: (
        f"Method {e.data['method_id']} revision {e.data['revision']} is no longer approved: {e.why}."
    ),
    RegisterKind.SENT_AGAIN: lambda e: (
        f"{e.data['messages']} messages of {e.data['what']} go to the plant again, under their old numbers."
    ),
    RegisterKind.FILES_SEEN: lambda e: files_text(e.data),
}
GUARDED = frozenset(_TEXTS)
"""Kinds that are entered only by what knows the person by a password, or by the service itself."""


def people_text(event: RegisterEvent) -> str:
    """One sentence about the entry; empty for an entry of another kind."""
    make = _TEXTS.get(event.kind)
    return "" if make is None else make(event)
