"""Approval of methods: which revision is in force from which day on, and what a run with another one is."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from logger.core.method import Method
from logger.core.register.events import RegisterEvent, RegisterKind


@dataclass(frozen=True, slots=True, kw_only=True)
class Approval:
    """One revision of a method, approved. `frozen` is the method as JSON values, `sha256` their hash.

    `effective_from` is a day (UTC); `withdrawn` the reason, empty while it stands.
    """

    method_id: str
    title: str
    revision: int
    sha256: str
    frozen: dict[str, Any]
    effective_from: str
    approved_by: str
    name: str
    approved_utc: str
    withdrawn: str = ""


Approvals = tuple[Approval, ...]


def in_force(approvals: Approvals, method_id: str, day: str) -> Approval | None:
    """The approval that holds on this day: the one whose day came last, of two of one day the newer entry."""
    found: Approval | None = None
    for each in approvals:
        if each.method_id != method_id or each.withdrawn or each.effective_from > day:
            continue
        if found is None or each.effective_from >= found.effective_from:
            found = each
    return found


def why_unapproved(approvals: Approvals, method: Method, plain: Mapping[str, Any], day: str) -> str:
    """Why this method is not approved on this day, half a sentence; empty when it is."""
    head, held = method.method, in_force(approvals, method.method.id, day)
    if held is None:
        later = [each for each in approvals if each.method_id == head.id and not each.withdrawn]
        return f"it is approved from {later[-1].effective_from} on" if later else "nobody has approved it"
    if held.revision != head.revision:
        return f"revision {held.revision} is in force since {held.effective_from}"
    changed = list(differences(method, held.frozen, plain))
    return f"it is not what was approved: {'; '.join(changed[:3])}" if changed else ""


def differences(
    now: Any, before: Mapping[str, Any], plain: Mapping[str, Any], path: str = ""
) -> Iterator[str]:
    """Where a dataclass is not what it was. Keys that a newer version of this program has added do not
    count while they hold their defaults."""
    for field in dataclasses.fields(now):
        name, value = f"{path}{field.name}", getattr(now, field.name)
        if field.name not in before:
            if value != _default(field):
                yield f"{name} is new"
        elif dataclasses.is_dataclass(value) and isinstance(before[field.name], Mapping):
            yield from differences(value, before[field.name], plain[field.name], f"{name}.")
        elif before[field.name] != plain[field.name]:
            yield f"{name} was {before[field.name]!r}, is {plain[field.name]!r}"


def _default(field: dataclasses.Field[Any]) -> Any:
    if field.default_factory is not dataclasses.MISSING:
        return field.default_factory()
    return field.default


def apply_approval(approvals: Approvals, event: RegisterEvent) -> Approvals:
    """The approvals after one more entry about them."""
    data = event.data
    if event.kind is RegisterKind.METHOD_APPROVED:
        known = {name: value for name, value in data.items() if name != "proof"}
        return (*approvals, Approval(approved_by=event.by, approved_utc=event.utc, **known))
    return tuple(
        dataclasses.replace(each, withdrawn=event.why)
        if (each.method_id, each.revision) == (data["method_id"], data["revision"])
        else each
        for each in approvals
    )
