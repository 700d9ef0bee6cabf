"""`--data` and `--bench` are taken by every command, before and after its name."""

from __future__ import annotations

import copy
from collections.abc import Iterator
from typing import Any

from typer.core import TyperGroup

from logger.app.cli_base import GLOBALS

COMMON = ("data", "bench")


class CommonOptions(TyperGroup):
    """The root of the commands. Each command that does not name a common option itself takes it all the same:
    who types one command after another, or through an alias, need not know which of them reads which.
    """

    def __init__(self, **attrs: Any) -> None:
        super().__init__(**attrs)
        # Only what every version of the library has is used of its parameters: they are copied, not made.
        common = [each for each in self.params if each.name in COMMON]
        for command in _below(self):
            named = {name for each in command.params for name in each.opts}
            command.params += [_quiet(each) for each in common if not named & set(each.opts)]


def _below(group: Any) -> Iterator[Any]:
    for command in group.commands.values():
        yield command
        if hasattr(command, "commands"):
            yield from _below(command)


def _quiet(option: Any) -> Any:
    """The same option as one that help does not show, kept as if it had been given before the command."""
    quiet = copy.copy(option)
    quiet.hidden, quiet.expose_value, quiet.callback = True, False, _keep
    return quiet


def _keep(context: Any, option: Any, value: Any) -> Any:
    if value is not None and not context.resilient_parsing:
        setattr(GLOBALS, option.name, value)
    return value
