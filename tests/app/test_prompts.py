"""Lines for the person fit the terminal."""

from __future__ import annotations

import asyncio
import os
import sys
from typing import ClassVar

import pytest

from logger.app.prompts import Terminal, ask_choice, wrapped


def test_a_long_question_breaks_between_words() -> None:
    question = "Where does the balance stand? beside the rig, or under the whole sieving unit [beside]:"
    lines = wrapped(question, 79).split("\n")
    assert [len(line) <= 79 for line in lines] == [True, True]
    assert " ".join(lines) == question


def test_a_path_is_never_broken_and_short_lines_stay() -> None:
    path = "/data/" + "a" * 90
    shown = wrapped(f"  1  one\n  2  two\n{path}: there is no such file", 79)
    assert shown.startswith("  1  one\n  2  two\n")
    assert path in shown


def test_what_is_no_text_is_asked_for_again(monkeypatch: pytest.MonkeyPatch) -> None:
    master, slave = os.openpty()
    said: list[str] = []

    def say(text: str) -> None:
        said.append(text)
        os.write(master, "mühle\n".encode())

    terminal = Terminal()
    monkeypatch.setattr(terminal, "say", say)
    os.write(master, b"m\xfchle\n")
    with os.fdopen(slave, encoding="utf-8") as stdin:
        monkeypatch.setattr(sys, "stdin", stdin)
        assert asyncio.run(asyncio.wait_for(terminal.ask("Site:"), 5)) == "mühle"
    os.close(master)
    assert len(said) == 1
    assert "not UTF-8" in said[0]


@pytest.mark.asyncio
async def test_a_raised_two_is_no_number() -> None:
    class Typing:
        answers: ClassVar = ["\u00b2", "2"]

        def say(self, text: str) -> None: ...

        async def ask(self, question: str) -> str:
            return str(self.answers.pop(0))

    assert await ask_choice(Typing(), "Which?", ["a", "b"]) == 1
