"""The console in a real terminal: drawn, hung up, terminated, resized, and where it cannot draw."""

from __future__ import annotations

import contextlib
import os
import signal
import subprocess
import sys
import termios
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from logger.console.terminal import why_not_drawn
from tests.console.terminal_run import PROGRAM, ROOT, TerminalRun, fake_service

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="needs a pseudo terminal")
END_S = 2.0
"""An ended console is gone within this time."""
MAIN_SCREEN, CURSOR_SHOWN = "\x1b[?1049l", "\x1b[?25h"


@pytest.fixture(scope="module")
def bench(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    """A fake service that shows a run whose figures move."""
    path = tmp_path_factory.mktemp("bench") / "bench.sock"
    with fake_service(path, "sieving", "moving"):
        yield path


def test_it_is_ready_in_under_two_seconds_and_leaves_by_key(bench: Path) -> None:
    started = time.monotonic()
    with TerminalRun(bench) as run:
        run.wait_for("SIEVING")
        assert time.monotonic() - started < 2.0
        run.type("q")
        run.wait_for("Leave this console?")
        run.type("y")
        assert run.end(END_S) == 0
        run.drain(0.1)
        assert run.text.rindex(MAIN_SCREEN) < run.text.rindex("The service goes on, and so does a run.")
        assert CURSOR_SHOWN in run.text
        assert termios.tcgetattr(run._slave) == run.before


@pytest.mark.parametrize("name", ["SIGTERM", "SIGINT", "SIGHUP"])
def test_a_signal_restores_the_screen_and_ends(name: str, bench: Path) -> None:
    with TerminalRun(bench) as run:
        run.wait_for("SIEVING")
        run.process.send_signal(getattr(signal, name))
        assert run.end(END_S) == 130
        run.drain(0.1)
        assert MAIN_SCREEN in run.text
        assert CURSOR_SHOWN in run.text
        assert termios.tcgetattr(run._slave) == run.before
        assert "Traceback" not in run.text


def test_control_c_leaves_at_once(bench: Path) -> None:
    with TerminalRun(bench) as run:
        run.wait_for("SIEVING")
        run.type("\x03")
        assert run.end(END_S) == 130


@pytest.mark.parametrize("ignored", [False, True], ids=["hup-default", "hup-ignored"])
def test_a_closed_terminal_ends_it_and_never_spins(ignored: bool, bench: Path) -> None:
    """Ignored as under nohup: then no signal comes, and only the terminal itself tells."""
    with TerminalRun(bench, ignore_hup=ignored) as run:
        run.wait_for("SIEVING")
        run.hang_up()
        code = _wait(run.process, END_S + 0.5)
        assert code == 130


def test_a_terminal_that_takes_no_more_output_does_not_hold_up_the_end(bench: Path) -> None:
    """Nobody reads: the console's writes block, as with a stalled connection. It ends all the same."""
    with TerminalRun(bench, size=(400, 100)) as run:
        run.wait_for("SIEVING")
        time.sleep(4)
        run.process.send_signal(signal.SIGTERM)
        assert _wait(run.process, END_S + 0.5) == 130
        assert termios.tcgetattr(run._slave) == run.before


def _wait(process: subprocess.Popen[bytes], seconds: float) -> int:
    """Exit code without reading what it writes."""
    deadline = time.monotonic() + seconds
    while process.poll() is None:
        assert time.monotonic() < deadline, f"still running after {seconds} s"
        time.sleep(0.02)
    return process.returncode


def test_resizing_down_to_nothing_and_back(bench: Path) -> None:
    with TerminalRun(bench) as run:
        run.wait_for("SIEVING")
        for size in ((20, 5), (1, 1), (400, 100), (20, 5)):
            run.resize(*size)
            run.drain(0.4)
            assert run.process.poll() is None, size
        seen = len(run.text)
        for columns in (19, 18, 17, 16, 15):
            # Several changes in a moment may reach the program as one signal, before the last size stands.
            run.resize(columns, 5)
            run.drain(1.0)
        assert "too small:" in run.text[seen:]
        run.resize(80, 24)
        run.wait_for("IN BAND")
        run.process.send_signal(signal.SIGTERM)
        assert run.end(END_S) == 130
        assert "Traceback" not in run.text


@pytest.mark.parametrize(
    "env",
    [{"TERM": "dumb"}, {"LC_ALL": "C"}, {"PYTHONIOENCODING": "latin-1"}],
    ids=["dumb", "no-utf8-locale", "latin-1"],
)
def test_where_it_cannot_draw_it_writes_lines(env: dict[str, str], bench: Path) -> None:
    with TerminalRun(bench, env=env) as run:
        run.wait_for("Do now: Sieving: keep the pressure in its band.")
        assert "The console writes lines instead of drawing." in run.text
        assert "\x1b" not in run.text
        if "TERM" not in env:
            assert run.text.isascii()
        run.type("tapped\n")
        run.wait_for("Done.")
        run.type("quit\n")
        assert run.end(END_S) == 0


@pytest.mark.parametrize("name", ["SIGTERM", "SIGINT", "SIGHUP"])
def test_a_signal_ends_line_mode(name: str, bench: Path) -> None:
    with TerminalRun(bench, env={"TERM": "dumb"}) as run:
        run.wait_for("Do now")
        run.process.send_signal(getattr(signal, name))
        assert run.end(END_S) == 130
        assert "Traceback" not in run.text
        assert "Fatal" not in run.text


@pytest.mark.parametrize("ignored", [False, True], ids=["hup-default", "hup-ignored"])
def test_line_mode_ends_with_its_terminal(ignored: bool, bench: Path) -> None:
    with TerminalRun(bench, ignore_hup=ignored, env={"TERM": "dumb"}) as run:
        run.wait_for("Do now")
        run.hang_up()
        assert _wait(run.process, END_S + 0.5) in (0, 130)


def test_the_end_of_input_ends_line_mode(bench: Path) -> None:
    done = subprocess.run(
        [sys.executable, "-c", PROGRAM, str(bench)],
        stdin=subprocess.DEVNULL,
        capture_output=True,
        cwd=ROOT,
        timeout=10,
        text=True,
        check=False,
    )
    assert done.returncode == 0
    assert done.stderr == ""
    assert "Input or output is no terminal." in done.stdout


def test_a_reader_that_goes_away_ends_line_mode(bench: Path) -> None:
    """As with `lastgrain | head -1`."""
    reading, writing = os.pipe()
    stdin, keep = os.pipe()
    process = subprocess.Popen(
        [sys.executable, "-c", PROGRAM, str(bench)], stdin=stdin, stdout=writing, cwd=ROOT
    )
    os.close(writing)
    os.read(reading, 10)
    os.close(reading)
    try:
        assert _wait(process, 10) == 0
    finally:
        process.kill()
        process.wait()
        for descriptor in (stdin, keep):
            with contextlib.suppress(OSError):
                os.close(descriptor)


@pytest.mark.full
def test_on_a_slow_link_pictures_are_dropped_and_keys_are_not(bench: Path) -> None:
    """Four kilobytes a second, a quarter of what is drawn: a key is answered after one picture, not after all."""
    with TerminalRun(bench, size=(140, 45)) as run:
        run.wait_for("SIEVING")
        run.trickle(10.0, 4000)
        run.type("q")
        assert run.trickle(15.0, 4000, "Leave this console?"), "nothing but old pictures"


@pytest.mark.full
@pytest.mark.parametrize(("size", "keys"), [((80, 24), ""), ((140, 45), ""), ((140, 45), "gv")])
def test_it_draws_four_pictures_a_second_with_little_cpu(
    size: tuple[int, int], keys: str, bench: Path
) -> None:
    """The bench with its charts and five earlier runs, and the charts alone on the whole screen.

    The target is 5 % of a core on the reference machine; the limit leaves room for a busy one.
    """
    with TerminalRun(bench, size=size) as run:
        run.wait_for("SIEVING")
        for key in keys:
            run.type(key)
            run.drain(0.5)
        run.drain(2)
        before = run.cpu_s()
        run.drain(10)
        assert (run.cpu_s() - before) / 10 < 0.08


@pytest.mark.parametrize(
    ("environment", "encoding", "interactive", "sentence"),
    [
        ({"TERM": "xterm"}, "utf-8", True, ""),
        ({"TERM": "xterm", "LC_ALL": "de_DE.UTF-8"}, "UTF-8", True, ""),
        ({"TERM": "xterm", "LC_ALL": "en_US.utf8"}, "utf8", True, ""),
        ({"TERM": "dumb"}, "utf-8", True, "This terminal cannot be drawn on (TERM)."),
        ({}, "utf-8", True, "This terminal cannot be drawn on (TERM)."),
        ({"TERM": "xterm", "LC_ALL": "C"}, "utf-8", True, "This terminal's locale is not UTF-8."),
        ({"TERM": "xterm"}, "iso8859-1", True, "This terminal's locale is not UTF-8."),
        ({"TERM": "xterm"}, "utf-8", False, "Input or output is no terminal."),
    ],
)
def test_where_it_can_draw(
    environment: dict[str, str], encoding: str, interactive: bool, sentence: str
) -> None:
    assert why_not_drawn(environment, encoding, interactive) == sentence
