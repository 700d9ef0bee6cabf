"""Every screen of the console with something to show, found by itself so that a new one cannot be forgotten.

A screen that is a place needs nothing here. Any other class in the screens folder needs a line in OPENED, or
in BASES when it is only there to be inherited from. What a screen asks the service is answered from
`kept_examples.found`.
"""

from __future__ import annotations

import importlib
import inspect
import pkgutil
from collections.abc import Callable, Iterator, Sequence
from typing import Any

from textual.screen import Screen

from logger.console import forms, screens, shift_forms
from logger.console.app import LEAVE, LEAVE_AND_END
from logger.console.keys import USES
from logger.console.places import PLACES
from logger.console.screens.balance_check_screen import BalanceCheckScreen
from logger.console.screens.cautions_screen import CautionsScreen
from logger.console.screens.compare_screen import CompareScreen
from logger.console.screens.confirm_screen import ConfirmScreen
from logger.console.screens.form_screen import FormScreen, Values
from logger.console.screens.help_screen import NOTES, HelpScreen
from logger.console.screens.new_run_screen import NewRunScreen
from logger.console.screens.places_screen import PlacesScreen
from logger.console.screens.pressure_zero_screen import PressureZeroScreen
from logger.console.screens.review_run_screen import ReviewRunScreen
from logger.console.screens.run_screen import RunScreen
from logger.console.screens.sign_screen import SignScreen, accept_form, reject_form
from logger.console.shift_rows import CheckWeightRow
from logger.core.snapshot import Snapshot
from logger.service.client import Reply

AnyScreen = Screen[Any]
Opened = Callable[[Snapshot], Sequence[AnyScreen]]


async def _send(values: Values) -> Reply:
    return Reply(False, "Nothing is sent here.")


async def _send_any(value: object) -> Reply:
    return Reply(False, "Nothing is sent here.")


WEIGHTS = (CheckWeightRow("W-200", 200.0, 0.003), CheckWeightRow("W-500", 500.0, 0.005))


def _forms(snapshot: Snapshot) -> list[AnyScreen]:
    asked = [*forms.REASONS.values(), forms.TYPE_WEIGHT, forms.NOTE, forms.SIEVE_FINDING]
    asked += [shift_forms.AIR, shift_forms.BAG, shift_forms.FILTER, shift_forms.DRILL, shift_forms.WITHDRAW]
    asked.append(forms.take_controls("j.tester", snapshot.controls_held_by))
    return [FormScreen(form, _send) for form in asked]


def _cautions(snapshot: Snapshot) -> list[AnyScreen]:
    return [CautionsScreen(snapshot.cautions, due, "j.tester", _send) for due in (True, False)]


OPENED: dict[str, Opened] = {
    "FormScreen": _forms,
    "CautionsScreen": _cautions,
    "ConfirmScreen": lambda snapshot: [
        ConfirmScreen(words, "leave", "stay") for words in (LEAVE, LEAVE_AND_END)
    ],
    "HelpScreen": lambda snapshot: [HelpScreen("THE BENCH", [(use.key, use.help) for use in USES], NOTES[0])],
    "NewRunScreen": lambda snapshot: [NewRunScreen(snapshot.methods, "", "j.tester", _send)],
    "PlacesScreen": lambda snapshot: [PlacesScreen()],
    "PressureZeroScreen": lambda snapshot: [PressureZeroScreen(_send_any)],
    "BalanceCheckScreen": lambda snapshot: [BalanceCheckScreen(WEIGHTS, _send_any)],
    "RunScreen": lambda snapshot: [RunScreen(40)],
    "ReviewRunScreen": lambda snapshot: [ReviewRunScreen(40)],
    "SignScreen": lambda snapshot: [SignScreen(form(40), _send) for form in (accept_form, reject_form)],
    "CompareScreen": lambda snapshot: [CompareScreen((40, 38))],
}
BASES = {"BoardScreen", "ReadingScreen", "ScrolledScreen", "WatchedScreen"}
ELSEWHERE = {"BenchScreen", "WaitScreen"}
"""Drawn by tests of their own: the one under all others, and the one before it."""


def classes() -> set[str]:
    """Names of all screen classes in the folder."""
    found = set()
    for module in pkgutil.iter_modules(screens.__path__):
        loaded = importlib.import_module(f"{screens.__name__}.{module.name}")
        members = inspect.getmembers(loaded, inspect.isclass)
        found |= {
            name for name, each in members if issubclass(each, Screen) and each.__module__ == loaded.__name__
        }
    return found


def every_screen(snapshot: Snapshot) -> Iterator[tuple[str, AnyScreen]]:
    """Each once, with a name for messages: the places, then the others."""
    for place in PLACES:
        yield f"place {place.label}", place.make_screen()
    for name, opened in OPENED.items():
        for number, screen in enumerate(opened(snapshot), 1):
            yield f"{name} {number}", screen
