"""Standard input, output and error of a command: there in any case, and closed without a traceback."""

from __future__ import annotations

import io
import os
import sys

from logger.app.cli_base import EXIT_OK, EXIT_STORE, say


def prepare_streams() -> None:
    """A stream that was closed by the caller takes everything and gives nothing; a letter that a terminal lacks,
    such as µ, is escaped."""
    sys.stdin = sys.stdin or _nothing("r")
    sys.stdout = sys.stdout or _nothing("w")
    sys.stderr = sys.stderr or _nothing("w")
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="backslashreplace")


def _nothing(mode: str) -> io.TextIOWrapper:
    # It lives as long as the program.
    return io.TextIOWrapper(io.FileIO(os.devnull, mode), encoding="utf-8")


def finished(code: int) -> int:
    """Hands out what is still in the buffer, and gives the exit code: all is well when nobody reads on."""
    try:
        sys.stdout.flush()
    except BrokenPipeError:
        _drop_rest()
        return EXIT_OK
    except OSError as error:
        _drop_rest()
        say(f"The output or a file cannot be written: {error.strerror}.")
        return code or EXIT_STORE
    return code


def _drop_rest() -> None:
    """Else the interpreter tries once more at its end, and complains."""
    sys.stdout = _nothing("w")
