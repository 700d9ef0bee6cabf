"""What the shell completes: runs, methods and profiles. Quick, and silent when there is nothing to read."""

from __future__ import annotations

import contextlib
import sqlite3
import tomllib
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

from logger.app.paths import data_folder
from logger.store.schema import read_only

MOST = 50


def run_numbers(incomplete: str) -> list[tuple[str, str]]:
    """Numbers of the newest runs, each with sample and day."""
    store = data_folder(None).store
    if not store.exists():
        return []
    query = "SELECT number, sample_id, substr(started_at, 1, 10) FROM run ORDER BY number DESC LIMIT ?"
    with contextlib.suppress(sqlite3.Error), closing(read_only(store)) as connection:
        rows = connection.execute(query, (MOST,)).fetchall()
        return [(str(n), f"{sample} {day}") for n, sample, day in rows if str(n).startswith(incomplete)]
    return []


def method_ids(incomplete: str) -> list[tuple[str, str]]:
    """Ids of the methods of the bench in the data folder and of the shipped ones, each with its title."""
    return [found for found in _methods() if found[0].startswith(incomplete)]


def _methods() -> Iterator[tuple[str, str]]:
    from logger.settings.files import config_dir

    seen: set[str] = set()
    for folder in (data_folder(None).root, config_dir() / "methods"):
        for path in sorted(folder.glob("*.toml")):
            method_id, title = _id_and_title(path)
            if method_id and method_id not in seen:
                seen.add(method_id)
                yield method_id, title


def _id_and_title(path: Path) -> tuple[str, str]:
    try:
        head = tomllib.loads(path.read_text(encoding="utf-8")).get("method", {})
    except (OSError, ValueError, RecursionError, AttributeError):
        return "", ""
    return str(head.get("id", "")), str(head.get("title", ""))
