"""Passwords typed at a terminal: what cannot be read is refused in words, and never shown."""

from __future__ import annotations

import getpass
import io
import traceback

import pytest

from logger.app.secret_input import ask_password
from logger.core.run.commands import Refused


def test_a_password_in_another_encoding_is_a_sentence_without_it(monkeypatch: pytest.MonkeyPatch) -> None:
    # getpass reads /dev/tty, which tests do not have; the stream it makes of it is this one.
    tty = io.TextIOWrapper(io.BytesIO(b"geheim\xe4\n"), encoding="utf-8")
    monkeypatch.setattr(getpass, "getpass", lambda prompt: tty.readline())
    monkeypatch.setattr("sys.stdin.isatty", lambda: True, raising=False)
    with pytest.raises(Refused, match="not UTF-8") as refused:
        ask_password("Anna", None)
    assert refused.value.__suppress_context__
    assert "geheim" not in "".join(traceback.format_exception(refused.value))
