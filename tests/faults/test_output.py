"""What the commands write where the terminal cannot show everything."""

from __future__ import annotations

import os
import subprocess
import sys

import pytest


@pytest.mark.parametrize("encoding", ["ascii", "iso8859-5"])
def test_a_terminal_without_our_letters_gets_escapes_and_no_traceback(encoding: str) -> None:
    """The list of methods holds µm; these encodings have no µ."""
    environment = os.environ | {"PYTHONIOENCODING": encoding, "PYTHONUTF8": "0"}
    command = [sys.executable, "-m", "logger.cli", "method", "list"]
    done = subprocess.run(command, capture_output=True, timeout=60, env=environment, check=False)
    assert done.returncode == 0, done.stderr
    assert b"Traceback" not in done.stderr
    assert b"filler-45-interval" in done.stdout
    with pytest.raises(UnicodeEncodeError):
        "45 µm".encode(encoding)
