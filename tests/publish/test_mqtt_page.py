"""docs/mqtt.md names every field that is sent, and no longer than that stays true."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from logger.publish.schemas import schema
from logger.publish.topics import KINDS, Kind

PAGE = (Path(__file__).parents[2] / "docs" / "mqtt.md").read_text(encoding="utf-8")
NAMED = set(re.findall(r"`([a-z][a-z0-9_]*)`", PAGE))


@pytest.mark.parametrize("kind", [kind for kind in KINDS if kind != "record"])
def test_every_field_of_a_message_is_explained(kind: Kind) -> None:
    assert set(schema(kind)["properties"]) <= NAMED


def test_every_topic_is_in_the_table() -> None:
    assert all(f"| `{kind}` |" in PAGE for kind in KINDS)


def test_no_field_is_explained_that_does_not_exist() -> None:
    """Names with a unit or an underscore are field names."""
    known = {name for kind in KINDS for name in schema(kind)["properties"]}
    assert {name for name in NAMED if "_" in name} - known == set()
