"""What the doctor says: one finding a matter, each with its place and what to do."""

from __future__ import annotations

import shutil
import sys
import textwrap
from collections.abc import Iterable, Sequence
from dataclasses import asdict, dataclass
from typing import Any, Literal

from logger.app.cli_base import EXIT_BROKER, EXIT_INSTRUMENT, EXIT_OK, EXIT_STORE, EXIT_USAGE

Level = Literal["ok", "hint", "wrong"]
Area = Literal["computer", "data folder", "bench file", "instruments", "store", "broker", "service"]

_EXITS: dict[Area, int] = {
    "computer": EXIT_USAGE,
    "data folder": EXIT_STORE,
    "bench file": EXIT_USAGE,
    "instruments": EXIT_INSTRUMENT,
    "store": EXIT_STORE,
    "broker": EXIT_BROKER,
    "service": EXIT_INSTRUMENT,
}
"""In the order of what is met first: exit code of the first area with something wrong."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """`ok` is in order, `hint` can be lived with, `wrong` stops a run or costs data. `todo` is empty when in order."""

    area: Area
    level: Level
    what: str
    where: str = ""
    todo: str = ""


def ok(area: Area, what: str, where: str = "") -> Finding:
    """In order."""
    return Finding(area=area, level="ok", what=what, where=where)


def hint(area: Area, what: str, todo: str, where: str = "") -> Finding:
    """Can be lived with."""
    return Finding(area=area, level="hint", what=what, where=where, todo=todo)


def wrong(area: Area, what: str, todo: str, where: str = "") -> Finding:
    """Stops a run, or costs data."""
    return Finding(area=area, level="wrong", what=what, where=where, todo=todo)


def exit_code(findings: Iterable[Finding]) -> int:
    """That of the first area in which something is wrong, 0 when nothing is."""
    bad = {finding.area for finding in findings if finding.level == "wrong"}
    return next((code for area, code in _EXITS.items() if area in bad), EXIT_OK)


def as_json(findings: Sequence[Finding]) -> dict[str, Any]:
    """One document."""
    return {"sound": exit_code(findings) == EXIT_OK, "findings": [asdict(finding) for finding in findings]}


_SIGNS: dict[Level, str] = {"ok": "ok   ", "hint": "hint ", "wrong": "WRONG"}


def page(findings: Sequence[Finding]) -> str:
    """For a person: a block an area, what is wrong once more at the end."""
    lines: list[str] = []
    for area in dict.fromkeys(finding.area for finding in findings):
        lines += [area]
        lines += [line for finding in findings if finding.area == area for line in _lines(finding)]
    counts = {level: sum(finding.level == level for finding in findings) for level in _SIGNS}
    hints = f"{counts['hint']} hint{'' if counts['hint'] == 1 else 's'}"
    lines.append(f"{counts['wrong']} wrong, {hints}, {counts['ok']} in order.")
    return "\n".join(lines)


def _lines(finding: Finding) -> list[str]:
    where = f"{finding.where}: " if finding.where else ""
    indent = " " * 8
    found = _wrapped(f"  {_SIGNS[finding.level]} {where}{finding.what}", indent)
    todo = _wrapped(f"{indent}To do: {finding.todo}", indent) if finding.todo else []
    return [*found, *todo]


def _wrapped(text: str, indent: str) -> list[str]:
    """Names and commands with hyphens stay whole."""
    width = min(100, shutil.get_terminal_size().columns) if sys.stdout.isatty() else 100
    return textwrap.wrap(
        text, width, subsequent_indent=indent, break_on_hyphens=False, break_long_words=False
    )
