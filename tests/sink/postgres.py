"""A PostgreSQL server of its own for a test, in a scratch folder, reached by a socket in it.

Debian keeps the server's programs in a folder of the version. The server refuses to run as root, so for root
everything is done as the user `postgres` (or `nobody`).
"""

from __future__ import annotations

import os
import pwd
import shutil
import subprocess
import tempfile
from pathlib import Path
from types import TracebackType

from tests.real import require_binary


class Postgres:
    """One server. `kill` is an immediate stop, as by a power cut of its machine; `start` recovers."""

    def __init__(self) -> None:
        found = sorted(Path("/usr/lib/postgresql").glob("*/bin"), key=lambda path: int(path.parent.name))
        self._bin = found[-1] if found else Path(require_binary("initdb")).parent
        self._folder = Path(tempfile.mkdtemp(prefix="lastgrain-pg-"))
        self._data = self._folder / "data"
        self._user = _unprivileged_user()
        if self._user:
            shutil.chown(self._folder, self._user)
        self.name = self._user or pwd.getpwuid(os.getuid()).pw_name

    @property
    def url(self) -> str:
        return f"postgresql://{self.name}@/postgres?host={self._folder}"

    def _run(self, program: str, *arguments: str) -> None:
        prefix = ["runuser", "-u", self._user, "--"] if self._user else []
        with (self._folder / "errors").open("ab") as errors:
            done = subprocess.run(
                [*prefix, str(self._bin / program), *arguments],
                cwd=self._folder,
                stdin=subprocess.DEVNULL,
                stdout=subprocess.DEVNULL,
                stderr=errors,
                check=False,
            )
        assert done.returncode == 0, (self._folder / "errors").read_text()

    def start(self) -> None:
        options = f"-c listen_addresses= -c unix_socket_directories={self._folder} -c shared_buffers=16MB"
        log = str(self._folder / "log")
        self._run("pg_ctl", "-D", str(self._data), "-w", "-s", "-o", options, "-l", log, "start")

    def kill(self) -> None:
        self._run("pg_ctl", "-D", str(self._data), "-w", "-s", "-m", "immediate", "stop")

    def __enter__(self) -> Postgres:
        self._run("initdb", "-D", str(self._data), "-A", "trust", "-U", self.name, "-E", "UTF8", "-N")
        self.start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.kill()
        shutil.rmtree(self._folder)


def _unprivileged_user() -> str:
    """Whom to be instead of root; empty when we are somebody else already."""
    if os.geteuid() != 0:
        return ""
    known = {entry.pw_name for entry in pwd.getpwall()}
    return "postgres" if "postgres" in known else "nobody"
