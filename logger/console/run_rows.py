"""The list of runs in lines: columns by the room there is, filters as they are typed, in the operator's words."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from logger.console.answers import number_of, text_of, whole_of
from logger.console.literal import pad
from logger.console.words import DECISION_WORDS, NOTHING
from logger.core.run_list import DECISIONS, OPEN, OUTCOMES, REVIEWS

WIDE_FROM = 120
FILTER_WORDS = {
    "method": "method_id",
    "outcome": "outcome",
    "decision": "decision",
    "review": "review",
    "since": "since",
    "until": "until",
    "sieve": "sieve_id",
    "sample": "sample_id",
    "like": "like",
}
"""Typed as WORD:VALUE in the search."""


@dataclass(frozen=True, slots=True)
class RunRow:
    """One run of the list, texts safe to show."""

    number: int
    started: str
    sample: str
    lot: str
    operator: str
    method: str
    outcome: str
    residue: str
    decision: str
    review: str
    sieve: str
    revision: int

    @property
    def stands(self) -> str:
        """In a word: the decision of a run that came to its endpoint, else how it ended."""
        return self.decision if self.outcome == "endpoint" and self.decision != NOTHING else self.outcome


def row_of(data: Mapping[str, Any]) -> RunRow:
    """A line of the answer `runs`."""
    residue_pct = number_of(data.get("residue_pct"))
    decision = text_of(data.get("decision"), 20)
    started = text_of(data.get("started_at"), 40)
    return RunRow(
        number=whole_of(data.get("number")),
        started=started[:16].replace("T", " "),
        sample=text_of(data.get("sample_id"), 64),
        lot=text_of(data.get("lot"), 64),
        operator=text_of(data.get("operator_id"), 64),
        method=text_of(data.get("method_id"), 64),
        outcome=text_of(data.get("outcome"), 20) or OPEN,
        residue=NOTHING if residue_pct is None else f"{residue_pct:.2f}",
        decision=DECISION_WORDS.get(decision, NOTHING),
        review=text_of(data.get("review"), 20),
        sieve=text_of(data.get("sieve_id"), 64),
        revision=whole_of(data.get("revision")),
    )


def place_of(chosen: RunRow | None, rows: Sequence[RunRow]) -> int | None:
    """Where the chosen run is among other rows; None where it is not, or none was chosen."""
    return next((at for at, row in enumerate(rows) if chosen and row.number == chosen.number), None)


def head_line(width: int) -> str:
    """Names of the columns; the two places before them hold the mark for comparison."""
    names = {name: name for name in _columns(width)} | {
        "residue": "resid.%",
        "number": "No",
        "stands": "outcome",
    }
    return _laid_out(names, width)


def row_line(row: RunRow, width: int, marked: bool) -> str:
    """The run under the names of `head_line`."""
    columns = _columns(width)
    texts = {
        name: str(getattr(row, name))[: columns["started"] if name == "started" else None] for name in columns
    }
    return ("● " if marked else "  ") + _laid_out(texts, width)[2:]


_NARROW = {"number": 6, "started": 10, "sample": 0, "method": 12, "residue": 7, "stands": 11}
_WIDE = {
    **{"number": 6, "started": 16, "sample": 0, "lot": 16, "operator": 12, "method": 22, "outcome": 11},
    **{"residue": 7, "decision": 11, "review": 10},
}


def _columns(width: int) -> dict[str, int]:
    """Column and its cells; the sample gets what the others leave."""
    columns = _WIDE if width >= WIDE_FROM else _NARROW
    left = width - 2 - sum(columns.values()) - len(columns) + 1
    return {**columns, "sample": max(8, left)}


def _laid_out(texts: Mapping[str, str], width: int) -> str:
    cells_of = _columns(width)
    cells = [
        texts[name].rjust(room) if name == "residue" else pad(texts[name], room)
        for name, room in cells_of.items()
    ]
    return "  " + " ".join(cells).rstrip()


def detail_words(row: RunRow) -> list[str]:
    """What a narrow list leaves out of the marked run."""
    return [
        f"started {row.started} UTC",
        f"sample {row.sample}",
        f"lot {row.lot or NOTHING}",
        f"operator {row.operator}",
        f"method {row.method}",
        f"sieve {row.sieve or 'not named'}",
        f"outcome {row.outcome}",
        f"decision {row.decision}",
        f"review {row.review or NOTHING}",
    ]


def typed_filter(text: str) -> dict[str, str]:
    """The arguments of the question for what was typed: words, and filters written as WORD:VALUE."""
    words: list[str] = []
    wanted: dict[str, str] = {}
    for word in text.split():
        name, colon, value = word.partition(":")
        if colon and name.lower() in FILTER_WORDS:
            wanted[FILTER_WORDS[name.lower()]] = value
        else:
            words.append(word)
    return ({"text": " ".join(words)} if words else {}) | {
        name: value for name, value in wanted.items() if value
    }


CYCLES: dict[str, tuple[str, ...]] = {
    "outcome": ("", *OUTCOMES),
    "decision": ("", *DECISIONS),
    "review": ("", *REVIEWS),
}


def next_value(name: str, value: str) -> str:
    """The value after this one, round and round; empty takes the filter away."""
    values = CYCLES[name]
    return values[(values.index(value) + 1) % len(values)] if value in values else ""
