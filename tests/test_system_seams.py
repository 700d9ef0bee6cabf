"""What only some systems have stands behind one seam each, so that another system needs a change in one place."""

from __future__ import annotations

import ast
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent

PORTS = ("drivers/port_lock.py", "simulators/ports.py")
"""The drivers' and the virtual rig's: they share no code on purpose."""
SOCKET = ("logger/service/local_socket.py",)
LOCKS = ("logger/store/lock.py",)
SIGNALS = ("logger/app/signals.py", "logger/console/terminal.py")
"""The service's, and the terminal's, which the console owns."""
USERS = ("logger/store/place.py",)

MODULES: dict[str, tuple[str, ...]] = {
    "fcntl": (*PORTS, *LOCKS),
    "termios": (*PORTS, *SIGNALS),
    "tty": PORTS,
    "pty": PORTS,
    "signal": SIGNALS,
    "resource": (),
    "grp": (),
    "pwd": (),
    "selectors": (),
    "msvcrt": LOCKS,
}
NAMES: dict[str, tuple[str, ...]] = {
    "AF_UNIX": SOCKET,
    "open_unix_connection": SOCKET,
    "start_unix_server": SOCKET,
    "add_signal_handler": SIGNALS,
    "fork": (),
    "forkpty": (),
    "killpg": (),
    "setsid": (),
    "preexec_fn": (),
    "getuid": (),
    "geteuid": USERS,
    "openpty": PORTS,
    "ttyname": PORTS,
    "fchmod": PORTS,
    "pread": PORTS,
    "pwrite": PORTS,
    "O_CLOEXEC": PORTS,
    "O_NOFOLLOW": PORTS,
} | {
    f"SIG{name}": SIGNALS for name in ("TERM", "INT", "HUP", "KILL", "STOP", "CONT", "WINCH", "USR1", "ALRM")
}


def modules_in(source: str) -> Iterator[str]:
    """Every module imported, wherever in the file."""
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Import):
            yield from (alias.name.split(".")[0] for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            yield (node.module or "").split(".")[0]


def names_in(source: str) -> Iterator[str]:
    """Every name taken from a module, attribute and keyword used, wherever in the file."""
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.ImportFrom):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.Attribute):
            yield node.attr
        elif isinstance(node, ast.keyword) and node.arg:
            yield node.arg


def offenders(found_in: Callable[[str], Iterator[str]], only: dict[str, tuple[str, ...]]) -> list[str]:
    return [
        f"{path.relative_to(ROOT)}: {name}"
        for folder in ("logger", "drivers", "simulators")
        for path in sorted((ROOT / folder).rglob("*.py"))
        for name in sorted(set(found_in(path.read_text(encoding="utf-8"))))
        if name in only and str(path.relative_to(ROOT)) not in only[name]
    ]


def test_modules_of_one_system_are_imported_behind_their_seam_alone() -> None:
    assert offenders(modules_in, MODULES) == []


def test_calls_and_flags_of_one_system_are_used_behind_their_seam_alone() -> None:
    assert offenders(names_in, NAMES) == []


@pytest.mark.parametrize(
    "source",
    [
        "import fcntl",
        "def f():\n    import termios",
        "os.getuid()",
        "run(preexec_fn=x)",
        "from signal import SIGHUP",
    ],
)
def test_the_rule_bites(source: str) -> None:
    assert set(MODULES) & set(modules_in(source)) or set(NAMES) & set(names_in(source))
