"""Reference pages made from the source: every key of the configuration files, every command."""

from __future__ import annotations

from typing import Any

import typer

from logger.cli import app
from logger.settings.key_texts import FILES, Key, keys_of

_MADE = "Generated from the source by `python -m tests.write_docs`; a test compares the two."

_TITLES = {"method": "Method file", "bench": "Bench file", "rig": "Rig file"}
_INTRODUCTIONS = {
    "method": "TOML, examples in `config/methods/`. A used revision never changes: give a changed method a new one.",
    "bench": "TOML, examples in `config/benches/`; `lastgrain setup` writes one, `lastgrain doctor` tries it.",
    "rig": "TOML, written by `lastgrain blank`. What is missing is estimated in the run, with less power.",
}


def config_page() -> str:
    """docs/reference-config.md."""
    parts = [
        f"# Configuration files\n\n{_MADE}\n\nUnknown keys are refused with file, line and the nearest valid name.",
        "Instrument profiles have [a page of their own](../config/profiles/README.md).",
    ]
    for kind in FILES:
        parts.append(f"## {_TITLES[kind]}\n\n{_INTRODUCTIONS[kind]}")
        parts += [_table(name, keys) for name, keys in _by_table(keys_of(kind)).items()]
    return "\n\n".join(parts) + "\n"


def _by_table(keys: list[Key]) -> dict[str, list[Key]]:
    tables: dict[str, list[Key]] = {}
    for key in keys:
        tables.setdefault(key.table, []).append(key)
    return tables


def _table(name: str, keys: list[Key]) -> str:
    head = f"### `[{name}]`\n\n" if name else ""
    rows = [f"| `{key.name}` | {key.meaning} | {key.allowed} | {_default(key)} |" for key in keys]
    return head + "\n".join(["| key | meaning | allowed | default |", "| --- | --- | --- | --- |", *rows])


def _default(key: Key) -> str:
    return "required" if key.required else f"`{key.default}`" if key.default else "-"


def command_page() -> str:
    """docs/reference-commands.md."""
    root: Any = typer.main.get_command(app)
    parts = [f"# Commands\n\n{_MADE}", _exit_codes(), _command("lastgrain", root)]
    parts += [_command(f"lastgrain {path}", command) for path, command in _walk(root)]
    return "\n\n".join(parts) + "\n"


def every_command() -> list[str]:
    """Every command's words, such as `runs list`."""
    return [path for path, _ in _walk(typer.main.get_command(app))]


def _exit_codes() -> str:
    return (
        "Exit codes: 0 ok, 1 a fault of the program, 2 usage or configuration, 3 refused, 4 instrument, 5 store or "
        "verify, 6 broker, 130 interrupted. `--json`: standard output is exactly one document (`replay`: one line an "
        "input); the rest goes to standard error. `--data DIR` (or `LASTGRAIN_DATA`) and `--bench FILE` may stand "
        "before or after the command, of every one; one that has no use for them pays no heed."
    )


def _walk(group: Any, before: str = "") -> list[tuple[str, Any]]:
    found: list[tuple[str, Any]] = []
    for name, command in sorted(group.commands.items()):
        if getattr(command, "hidden", False):
            continue
        path = f"{before} {name}".strip()
        found += [(path, command)] if not hasattr(command, "commands") else _walk(command, path)
    return found


def _command(path: str, command: Any) -> str:
    shown = [each for each in command.params if not getattr(each, "hidden", False)]
    arguments = [each for each in shown if each.param_type_name == "argument"]
    options = [each for each in shown if each.param_type_name == "option" and each.name not in _EVERYWHERE]
    usage = " ".join([path, *(_argument(each) for each in arguments)])
    rows = [f"- `{_argument(each)}`: {each.help}" for each in arguments if each.help]
    rows += [f"- `{_option(each)}`{_meaning(each)}" for each in options]
    text = " ".join((command.help or "").split())
    return "\n\n".join([f"## `{usage}`", text, *(["\n".join(rows)] if rows else [])])


_EVERYWHERE = frozenset({"data", "bench", "help", "json_out", "install_completion", "show_completion"})


def _argument(argument: Any) -> str:
    name = argument.metavar or argument.name.upper()
    shown = f"{name}..." if argument.nargs == -1 and not name.endswith("...") else name
    return shown if argument.required or shown.startswith("[") else f"[{shown}]"


def _option(option: Any) -> str:
    names = ", ".join([*option.opts, *option.secondary_opts])
    if option.is_flag or option.is_bool_flag:
        return names
    kind = str(option.type_descriptor.annotation)
    return f"{names} {option.metavar or ('NUMBER' if 'int' in kind or 'float' in kind else 'TEXT')}"


def _meaning(option: Any) -> str:
    said = option.help or ""
    default = option.default
    plain = isinstance(default, str | int | float) and not isinstance(default, bool) and default != ""
    words = " ".join(filter(None, [said, f"Default {default}." if plain else ""]))
    return f": {words}" if words else ""
