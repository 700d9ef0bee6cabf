"""The history as a list: one line a run, what may be searched and filtered, and a page of it."""

from __future__ import annotations

import re
from dataclasses import dataclass, fields
from datetime import date, timedelta
from typing import Any, get_args

from logger.core.review import ReviewState
from logger.core.run.commands import Refused
from logger.core.text import clean_text

OPEN = "open"
"""How a run without a record is called where outcomes are named."""
NONE = "none"
"""The same for a run without a decision."""
OUTCOMES = ("endpoint", "time-limit", "stopped", "aborted", "interrupted", "invalid", OPEN)
"""Those of `record_parts.Outcome`, which is not loaded for them: the command line names them in its help."""
DECISIONS = ("accept", "inconclusive", "reject", NONE)
REVIEWS: tuple[str, ...] = get_args(ReviewState)
LONGEST_TEXT = 120
_DAY = re.compile(r"\d{4}-\d{2}-\d{2}", re.ASCII)


@dataclass(frozen=True, slots=True, kw_only=True)
class RunLine:
    """One run in the list, by its newest record. `outcome` and `decision` are empty where there is none yet.

    `residue_pct` is that of `listed_residue_pct`, % of the charge; times are ISO 8601 in UTC.
    """

    number: int
    run_id: str
    started_at: str
    sample_id: str
    lot: str
    operator_id: str
    method_id: str
    method_revision: int
    outcome: str
    residue_pct: float | None
    decision: str
    review: str
    revision: int
    sieve_id: str
    simulated: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class RunFilter:
    """What a list is narrowed to; an empty text narrows nothing.

    `text`: words, each the beginning of a word of sample, lot, operator, method or run id, in any order.
    `since` and `until`: days (UTC), both included. `like`: the number of a run, for its determination group:
    the same sample and lot by the same method. The rest is compared as it stands.
    """

    text: str = ""
    method_id: str = ""
    outcome: str = ""
    decision: str = ""
    review: str = ""
    since: str = ""
    until: str = ""
    sieve_id: str = ""
    sample_id: str = ""
    like: str = ""

    @property
    def day_after(self) -> str:
        """The first day that `until` no longer takes in; empty without one."""
        return (date.fromisoformat(self.until) + timedelta(days=1)).isoformat() if self.until else ""


FILTERS: tuple[str, ...] = tuple(one.name for one in fields(RunFilter))
_CHOICES = {"outcome": OUTCOMES, "decision": DECISIONS, "review": REVIEWS}


@dataclass(frozen=True, slots=True)
class RunPage:
    """Lines, newest first. `cursor` is the `before` of the next page; None when this is the last."""

    runs: tuple[RunLine, ...]
    cursor: int | None


def run_filter(given: dict[str, Any]) -> RunFilter:
    """The filter of texts as typed. Raises Refused that names what is wrong and what there is."""
    texts = {
        name: clean_text(name.replace("_", " "), given.get(name) or "", LONGEST_TEXT) for name in FILTERS
    }
    for name, known in _CHOICES.items():
        texts[name] = texts[name].lower()
        if texts[name] and texts[name] not in known:
            raise Refused(f"There is no {name} {texts[name]!r}; there are: {', '.join(known)}.")
    for name in ("since", "until"):
        _require_day(name, texts[name])
    if texts["like"] and not (texts["like"].isascii() and texts["like"].isdigit() and len(texts["like"]) < 8):
        raise Refused("like must be the number of a run.")
    return RunFilter(**texts)


def _require_day(name: str, text: str) -> None:
    try:
        if text and (not _DAY.fullmatch(text) or date.fromisoformat(text) >= date.max):
            raise ValueError
    except ValueError:
        raise Refused(f"{name} must be a day such as 2026-03-31, not {text!r}.") from None
