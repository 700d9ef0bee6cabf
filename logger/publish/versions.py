"""Versions of the message schemas that were handed out: files that never change again.

`schema_versions/MAJOR.MINOR/` holds for each kind of message its JSON Schema and examples as they were
published. Within a major, fields are only added. `python -m tests.publish.freeze` writes a new folder.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from logger.publish.topics import Kind

FOLDER = Path(__file__).parent / "schema_versions"


def versions() -> list[str]:
    """All that were handed out, oldest first, such as `1.0`."""
    names = [path.name for path in FOLDER.iterdir() if path.is_dir()]
    return sorted(names, key=lambda name: tuple(int(part) for part in name.split(".")))


def version_schema(version: str, kind: Kind) -> dict[str, Any]:
    """The JSON Schema as it was handed out."""
    return _read(FOLDER / version / f"{kind}.schema.json")


def version_examples(version: str, kind: Kind) -> list[dict[str, Any]]:
    """Messages as they were sent under this version."""
    return [_read(path) for path in sorted((FOLDER / version).glob(f"{kind}.example*.json"))]


def _read(path: Path) -> dict[str, Any]:
    found: dict[str, Any] = json.loads(path.read_text(encoding="utf-8"))
    return found
