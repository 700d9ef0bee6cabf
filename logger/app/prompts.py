"""Questions to a person in plain lines, for screen readers and dumb terminals alike.

Questions go to stderr, so that stdout stays free for an answer that a machine reads.
"""

from __future__ import annotations

import asyncio
import shutil
import sys
import textwrap
import threading
from collections.abc import Callable
from typing import Protocol

from logger.core.text import printable_text


class Stopped(Exception):  # noqa: N818  the person's wish
    """The person wants no more: q, or the end of the input."""


class Person(Protocol):
    """Whoever answers."""

    def say(self, text: str) -> None:
        """One or more lines to read."""
        ...

    async def ask(self, question: str) -> str:
        """One line typed, blanks around it taken off. Raises Stopped."""
        ...


class Terminal:
    """The person at the terminal; answers may be piped in, a line each."""

    def say(self, text: str) -> None:
        """Writes to stderr."""
        print(_fitted(text), file=sys.stderr, flush=True)

    async def ask(self, question: str) -> str:
        """Waits for a line without holding up what goes on meanwhile."""
        loop = asyncio.get_running_loop()
        answer: asyncio.Future[str] = loop.create_future()

        def read() -> None:
            loop.call_soon_threadsafe(_deliver, answer, _read_line(self.say))

        print(_fitted(question) + " ", end="", file=sys.stderr, flush=True)
        # A daemon: Ctrl-C must end the program although the terminal has said nothing yet.
        threading.Thread(target=read, name="answer", daemon=True).start()
        line = await answer
        if not line or line.strip() in ("q", "Q"):
            raise Stopped
        return line.strip()


def wrapped(text: str, width: int) -> str:
    """Lines broken between words, kept as they are where they fit; a path or name is never broken."""
    return "\n".join(
        textwrap.fill(
            line,
            width,
            subsequent_indent=" " * (len(line) - len(line.lstrip())),
            break_long_words=False,
            break_on_hyphens=False,
            replace_whitespace=False,
        )
        if len(line) > width
        else line
        for line in text.split("\n")
    )


def _fitted(text: str) -> str:
    shown = printable_text(text)
    return wrapped(shown, shutil.get_terminal_size().columns - 1) if sys.stderr.isatty() else shown


def _read_line(say: Callable[[str], None]) -> str:
    """A line of stdin; what is no text is asked for again."""
    while True:
        try:
            return sys.stdin.readline()
        except UnicodeDecodeError:
            say("That is not UTF-8 text: set the terminal to UTF-8, or type it without accents.")


def _deliver(answer: asyncio.Future[str], line: str) -> None:
    if not answer.done():
        answer.set_result(line)


async def ask_yes(person: Person, question: str, default: bool) -> bool:
    """Yes or no; anything else is asked again."""
    while True:
        typed = (await person.ask(f"{question} [{'Y/n' if default else 'y/N'}]")).lower()
        if typed in ("", "y", "yes", "n", "no"):
            return default if not typed else typed.startswith("y")
        person.say("Type y or n.")


async def ask_choice(person: Person, question: str, choices: list[str]) -> int:
    """The place of the choice, from 0; its number or its text is typed."""
    lines = [f"  {number}  {choice}" for number, choice in enumerate(choices, 1)]
    person.say("\n".join([question, *lines]))
    while True:
        typed = await person.ask(f"Number, 1 to {len(choices)}:")
        if typed.isascii() and typed.isdigit() and 1 <= int(typed) <= len(choices):
            return int(typed) - 1
        if typed in choices:
            return choices.index(typed)
        person.say(f"Type a number from 1 to {len(choices)}, or q to stop.")


async def ask_secret(question: str) -> str:
    """A secret typed without being shown; empty where no terminal is there to hide it."""
    if not sys.stdin.isatty():
        return ""
    import getpass

    try:
        return await asyncio.to_thread(getpass.getpass, printable_text(question) + " ")
    except (EOFError, UnicodeDecodeError):
        raise Stopped from None
