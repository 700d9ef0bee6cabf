"""Bench, rig and method files as the service found them: a changed one makes an entry at its next start."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Literal

from logger.core.register.events import RegisterEvent

What = Literal["bench", "rig", "method"]
Seen = Mapping[str, str]
"""SHA-256 of each file by what it is and its name."""


@dataclass(frozen=True, slots=True, kw_only=True)
class FoundFile:
    """One file: what it is for, its name, and the SHA-256 of its bytes."""

    what: What
    name: str
    sha256: str

    @property
    def key(self) -> str:
        """How the register knows it."""
        return f"{self.what} {self.name}"


def changed(seen: Seen, found: Sequence[FoundFile]) -> list[dict[str, Any]]:
    """Files that are new or not what they were, as an entry's data lists them."""
    return [
        {"what": each.what, "name": each.name, "sha256": each.sha256, "before": seen.get(each.key, "")}
        for each in found
        if seen.get(each.key) != each.sha256
    ]


def apply_files(seen: Seen, event: RegisterEvent) -> Seen:
    """What the service has seen after one more start."""
    return {**seen, **{f"{each['what']} {each['name']}": each["sha256"] for each in event.data["files"]}}


def files_text(data: Mapping[str, Any]) -> str:
    """The entry as a sentence."""
    words = [
        f"{each['what']} {each['name']} {'changed' if each['before'] else 'seen for the first time'}"
        for each in data["files"]
    ]
    return f"Files: {', '.join(words)}."
