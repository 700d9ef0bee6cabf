"""Topic names: fixed levels from the bench file, never from samples, people or instruments.

A topic with a tab, NUL or wildcard makes some brokers drop the link, and a client that sends it again
loops for ever; so every level comes from a safe alphabet.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Literal, get_args

ROOT = "lastgrain/v1"

Kind = Literal["status", "live", "event", "record", "latest", "readings"]
KINDS: tuple[Kind, ...] = get_args(Kind)

_SLUG = re.compile(r"[a-z0-9](?:[a-z0-9-]{0,38}[a-z0-9])?\Z", re.ASCII)


def checked_slug(name: str, value: str) -> str:
    """The value, if it may be a topic level. Raises ValueError with a sentence naming `name`."""
    if _SLUG.match(value):
        return value
    raise ValueError(
        f"{name} = {value!r} cannot be a topic level: use lower-case letters a to z, digits and inner "
        "hyphens, at most 40 characters"
    )


@dataclass(frozen=True, slots=True)
class Topics:
    """All topics of one bench. Raises ValueError when site or bench is not a slug."""

    site: str
    bench: str

    def __post_init__(self) -> None:
        checked_slug("site", self.site)
        checked_slug("bench", self.bench)

    @property
    def base(self) -> str:
        """Everything of this bench lies below it."""
        return f"{ROOT}/{self.site}/{self.bench}"

    def of(self, kind: Kind) -> str:
        """The topic of one kind of message."""
        return f"{self.base}/{kind}"

    @property
    def check(self) -> str:
        """Where `doctor` writes and reads back; no consumer needs it."""
        return f"{self.base}/check"
