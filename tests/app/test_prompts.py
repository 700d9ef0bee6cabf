"""Lines for the person fit the terminal."""

from __future__ import annotations

from logger.app.prompts import wrapped


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
