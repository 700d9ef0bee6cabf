"""Finds the line of a key in a TOML text, which the standard parser does not tell."""

from __future__ import annotations

import re
from collections.abc import Sequence

_TABLE = re.compile(r"^\s*\[\[?\s*([^\]]+?)\s*\]\]?\s*(#.*)?$")
_KEY = re.compile(r"""^\s*(?:"([^"]+)"|'([^']+)'|([A-Za-z0-9_\-.]+))\s*=""")


def line_of(text: str, path: Sequence[str | int]) -> int | None:
    """1-based line of the longest part of `path` that stands in the text; None when no part does."""
    wanted = [str(part) for part in path if not isinstance(part, int)]
    for depth in range(len(wanted), 0, -1):
        line = _find(text, wanted[:depth])
        if line is not None:
            return line
    return None


def _find(text: str, wanted: list[str]) -> int | None:
    table: list[str] = []
    for number, line in enumerate(text.splitlines(), start=1):
        if header := _TABLE.match(line):
            table = [part.strip(" \"'") for part in header.group(1).split(".")]
            if table == wanted:
                return number
        elif key := _KEY.match(line):
            name = next(group for group in key.groups() if group)
            if [*table, *name.split(".")] == wanted:
                return number
    return None
