from __future__ import annotations

import io

import pytest

from logger.app.progress import progress, tracked


class Terminal(io.StringIO):
    def isatty(self) -> bool:
        return True


def shown_on(terminal: io.StringIO) -> str:
    with progress("Runs [of S-1]", total=4, stream=terminal) as bar:
        bar.advance(2)
        bar.reach(3)
    return terminal.getvalue()


def test_a_pipe_gets_nothing() -> None:
    assert shown_on(io.StringIO()) == ""


def test_a_terminal_gets_a_bar_with_its_title_as_it_was_given(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("TERM", "xterm-256color")
    shown = shown_on(Terminal())

    assert "Runs [of S-1]" in shown
    assert "75%" in shown


def test_no_colour_is_honoured(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("TERM", "xterm-256color")
    monkeypatch.delenv("NO_COLOR", raising=False)
    assert "\x1b[38;5;" in shown_on(Terminal())
    monkeypatch.setenv("NO_COLOR", "1")
    assert "\x1b[38;5;" not in shown_on(Terminal())


def test_a_dumb_terminal_gets_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("TERM", "dumb")
    assert shown_on(Terminal()) == ""


def test_items_pass_through_in_order() -> None:
    assert list(tracked(iter([3, 1, 2]), "Items", 3)) == [3, 1, 2]
