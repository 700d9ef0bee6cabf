"""Reviews, corrections and sending again for the command line."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

from logger.app.cli_base import say
from logger.app.paths import DataFolder
from logger.app.register import read_register
from logger.app.runs import show_run
from logger.app.secret_input import NO_TERMINAL, NOT_UTF8, ask_password
from logger.core.refusal import ResultError
from logger.core.register.people import People, anyone, find_person
from logger.core.run.commands import Refused
from logger.store.history import find_run, reading, record_body

NOBODY = (
    "Nobody is registered on this bench: a run is signed by a registered reviewer (`lastgrain people add`)."
)


def signing(
    data: DataFolder, which: str, accept: bool | None, by: str, why: str, file: Path | None
) -> dict[str, Any]:
    """The request of a signature; asks at the terminal for what was not given. Raises Refused, StoreError."""
    people = read_register(data).people
    if not anyone(people):
        raise Refused(NOBODY)
    seen = _seen(data, which)
    if accept is None or not by:
        say(str(show_run(data, which, json_out=False)))
    if accept is None:
        accept = _asked("Accept or reject this run? ", ("accept", "reject")) == "accept"
    by = by or _asked("Your id: ")
    if not accept and not why:
        why = _asked("Why is it rejected? ")
    do = "accept" if accept else "reject"
    return {"do": do, "run": which, "why": why, "seen": seen} | author(people, by, file)


def author(people: People, by: str, file: Path | None) -> dict[str, Any]:
    """Who does it, with the password once there are people. Raises Refused."""
    if not anyone(people):
        return {"by": by}
    person = find_person(people, by)
    return {"by": person.id, "password": ask_password(f"{person.name} ({person.id})", file)}


def people_of(data: DataFolder) -> People:
    """The people as the register has them. Raises StoreError."""
    return read_register(data).people


def read_weighings(texts: list[str]) -> dict[str, float]:
    """Weighings given as NUMBER:GRAMS. Raises `ResultError`."""
    found: dict[str, float] = {}
    for text in texts:
        number, colon, grams = text.partition(":")
        try:
            found[number.strip()] = float(grams)
        except ValueError:
            colon = ""
        if not colon:
            raise ResultError(f"--weighing is written NUMBER:GRAMS, for example 2:413.25, not {text!r}")
    return found


def run_numbers(data: DataFolder, which: str) -> tuple[int, int]:
    """A run as the range of its own number. Raises StoreError."""
    with reading(data.store) as connection:
        number = find_run(connection, which).number
    return number, number


def _seen(data: DataFolder, which: str) -> str:
    with reading(data.store) as connection:
        body = record_body(connection, find_run(connection, which).run_id)
    if body is None:
        raise Refused(f"Run {which} has no record yet: it is still open.")
    return str(body["record_sha256"])


def _asked(prompt: str, answers: tuple[str, ...] = ()) -> str:
    if not sys.stdin.isatty():
        raise Refused(
            f"{NO_TERMINAL} And say with options what you decide: --accept or --reject, --by, --why."
        )
    while True:
        print(prompt, end="", file=sys.stderr, flush=True)
        try:
            line = sys.stdin.readline()
        except UnicodeDecodeError:
            raise Refused(NOT_UTF8) from None
        if not line:
            raise Refused("Nothing was signed.")
        text = line.strip()
        found = [answer for answer in answers if answer.startswith(text.lower())] if text else []
        if found or (text and not answers):
            return found[0] if found else text
