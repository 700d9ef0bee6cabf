"""The documentation against the program: generated pages, links, commands that are named."""

from __future__ import annotations

import re
import tomllib
from functools import cache
from pathlib import Path

import pytest
import typer

from logger.cli import app
from logger.settings import key_texts
from logger.settings.key_texts import FILES, keys_of
from tests.write_docs import DOCS, pages

ROOT = DOCS.parent
TEXTS = sorted([*DOCS.glob("*.md"), *ROOT.glob("*.md"), *ROOT.glob("config/**/*.md")])


@pytest.mark.parametrize("name", sorted(pages()))
def test_generated_pages_are_as_the_source_makes_them(name: str) -> None:
    """`python -m tests.write_docs` writes them anew."""
    assert (DOCS / name).read_text(encoding="utf-8") == pages()[name]


@pytest.mark.parametrize("kind", FILES)
def test_every_key_has_its_text_and_no_text_is_without_key(kind: str) -> None:
    texts = tomllib.loads(Path(key_texts.__file__).with_name("keys.toml").read_text(encoding="utf-8"))[kind]
    named = {(table, name) for table, keys in texts.items() for name in keys}
    assert named == {(key.table, key.name) for key in keys_of(kind)}


@pytest.mark.parametrize("path", TEXTS, ids=lambda path: str(path.relative_to(ROOT)))
def test_links_between_pages_lead_somewhere(path: Path) -> None:
    targets = re.findall(r"\]\(([^)#\s]+)(?:#[^)]*)?\)", path.read_text(encoding="utf-8"))
    missing = [target for target in targets if "://" not in target and not (path.parent / target).exists()]
    assert missing == []


@cache
def _commands() -> set[str]:
    found: set[str] = set()

    def walk(group: object, before: str) -> None:
        for name, command in getattr(group, "commands", {}).items():
            found.add(f"{before}{name}")
            walk(command, f"{before}{name} ")

    walk(typer.main.get_command(app), "")
    return found


@pytest.mark.parametrize("path", TEXTS, ids=lambda path: str(path.relative_to(ROOT)))
def test_only_commands_that_exist_are_named(path: Path) -> None:
    known = _commands()
    groups = {name.split()[0] for name in known if " " in name}
    for first, second in re.findall(
        r"`lastgrain ([a-z][a-z-]*)\b(?! \d)(?: ([a-z][a-z-]*)\b)?", path.read_text(encoding="utf-8")
    ):
        assert first in known, f"there is no command lastgrain {first}"
        if first in groups and second:
            assert f"{first} {second}" in known, f"there is no command lastgrain {first} {second}"


def test_every_page_is_reached_from_the_index() -> None:
    linked = set(re.findall(r"\]\(([a-z0-9-]+\.md)\)", (DOCS / "README.md").read_text(encoding="utf-8")))
    assert {path.name for path in DOCS.glob("*.md")} - {"README.md"} == linked
