"""What makers of entries share: the bench that an entry is judged against, and values as a person typed them."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any

from logger.core.refusal import ResultError, require, require_finite
from logger.core.register.policy import CheckPolicy
from logger.core.register.state import RegisterState, SieveEntry
from logger.core.review import Proof
from logger.core.shift.policy import ShiftPolicy
from logger.core.text import clean_text
from logger.core.weighing import BalanceSpec

LONGEST = 200
_ID = re.compile(r"[A-Za-z0-9](?:[A-Za-z0-9._-]{0,38}[A-Za-z0-9])?\Z")


@dataclass(frozen=True, slots=True, kw_only=True)
class EntryBench:
    """The register so far, the bench's rules and balance; who enters, when, why, and how it is known who."""

    state: RegisterState
    policy: CheckPolicy
    balance: BalanceSpec
    utc: str
    by: str
    why: str
    proof: Proof
    shift: ShiftPolicy

    @property
    def today(self) -> date:
        """The day of the entry, UTC."""
        return date.fromisoformat(self.utc[:10])

    def sieve(self, entry: Mapping[str, Any]) -> SieveEntry:
        """The sieve that the entry names. Raises `ResultError`."""
        sieve_id = text_of(entry, "sieve_id")
        known = self.state.sieves.get(sieve_id)
        if known is None:
            names = ", ".join(sorted(self.state.sieves)) or "none"
            raise ResultError(f"sieve {sieve_id!r} is not in the register; there are: {names}")
        require(not known.retired, f"sieve {sieve_id} was retired ({known.retired})")
        return known


def text_of(entry: Mapping[str, Any], name: str, longest: int = LONGEST) -> str:
    """The value as clean text; empty when it is left out. Raises Refused."""
    return clean_text(name, entry.get(name, ""), longest)


def id_of(entry: Mapping[str, Any], name: str, whose: str) -> str:
    """The value as an id. Raises `ResultError`; `whose` begins the sentence."""
    found = text_of(entry, name)
    require(
        _ID.match(found) is not None,
        f"{whose} id has letters, digits, dots, hyphens and underscores inside, at most 40: not {found!r}",
    )
    return found


def list_of(entry: Mapping[str, Any], name: str, kind: type[Any]) -> list[Any]:
    """The value as a list of `kind`; empty when it is left out. Raises `ResultError`."""
    found = entry.get(name, [])
    if not isinstance(found, list | tuple) or not all(isinstance(item, kind) for item in found):
        raise ResultError(f"{name} must be a list, not {found!r}")
    return list(found)


def number(entry: Mapping[str, Any], name: str) -> float:
    """The value as a number. Raises `ResultError` for anything else, nan and infinity included."""
    value = entry.get(name)
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise ResultError(f"{name} must be a number, not {value!r}")
    require_finite(**{name: value})
    return float(value)


def past_day(text: str, name: str, today: date) -> date:
    """A day that has come. Raises `ResultError`."""
    day = any_day(text, name)
    require(day <= today, f"{name} {day} lies after today ({today}): correct it")
    return day


def any_day(text: str, name: str) -> date:
    """A day. Raises `ResultError`."""
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise ResultError(f"{name} is written YYYY-MM-DD, not {text!r}") from None
