"""Texts from outside come out literal, printable and no wider than asked."""

from __future__ import annotations

import unicodedata

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from logger.console.literal import cells, fit, literal, pad, wrap
from tests.console.examples import HOSTILE

ANY_TEXT = st.text(st.characters()) | st.sampled_from(HOSTILE)


@settings(deadline=None)
@given(ANY_TEXT, st.integers(0, 80))
def test_what_is_shown_is_printable_and_fits(text: str, limit: int) -> None:
    shown = literal(text, limit)
    assert cells(shown) <= limit
    assert all(unicodedata.category(char)[0] != "C" and char not in "\u2028\u2029" for char in shown)


@settings(deadline=None)
@given(st.text(st.characters(min_codepoint=32, max_codepoint=126), max_size=80))
def test_plain_text_is_not_changed(text: str) -> None:
    assert literal(text) == text


@pytest.mark.parametrize(
    ("text", "shown"),
    [
        ("[bold]x[/]", "[bold]x[/]"),
        ("\x1b[31mred", "\\x1b[31mred"),
        ("a\u202eb", "a\\u202eb"),
        ("a\u200bb", "a\\u200bb"),
        ("a\ud800b", "a\\ud800b"),
        ("a\U000e0001b", "a\\U000e0001b"),
        ("a\u00a0b", "a b"),
        ("tab\tnew\n", "tab\\x09new\\x0a"),
    ],
)
def test_the_unseen_is_escaped(text: str, shown: str) -> None:
    assert literal(text) == shown


def test_too_long_ends_with_an_ellipsis() -> None:
    assert literal("x" * 10_000, 10) == "x" * 9 + "…"
    assert fit("日本語", 5) == "日本…"
    assert fit("日本語", 4) == "日…"
    assert fit("abc", 3) == "abc"
    assert fit("abc", 0) == ""


@settings(deadline=None)
@given(ANY_TEXT, st.integers(1, 80))
def test_padded_text_is_exactly_as_wide(text: str, width: int) -> None:
    assert cells(pad(literal(text, 200), width)) == width


@settings(deadline=None)
@given(ANY_TEXT, st.integers(2, 80))
def test_wrapping_loses_nothing_and_fits(text: str, width: int) -> None:
    shown = literal(text, 400)
    lines = wrap(shown, width)
    assert all(0 < cells(line) <= width for line in lines)
    assert "".join("".join(lines).split()) == "".join(shown.split())
