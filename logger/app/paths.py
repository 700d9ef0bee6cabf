"""Where a bench keeps its things. Folders 0700, files 0600."""

from __future__ import annotations

import hashlib
import os
import tempfile
from dataclasses import dataclass
from pathlib import Path

from platformdirs import user_data_path, user_runtime_path

from logger.settings import ConfigError
from logger.store.place import our_user

_LONGEST_SOCKET_PATH = 100
"""Unix socket paths end at 104 to 108 bytes."""


DEMO_BENCH = "demo-bench.toml"
"""The bench file that the demo writes into its folder; its ports are there only while it runs."""


@dataclass(frozen=True, slots=True)
class DataFolder:
    """One bench's data."""

    root: Path

    @property
    def store(self) -> Path:
        """The SQLite file."""
        return self.root / "lastgrain.sqlite"

    @property
    def lock(self) -> Path:
        """Held by the running service."""
        return self.root / "service.lock"

    @property
    def log(self) -> Path:
        """What the service said when nobody watched."""
        return self.root / "service.log"

    @property
    def socket(self) -> Path:
        """The local socket; moves to the runtime folder where the data folder's path is too long for one."""
        near = self.root / "control" / "service.sock"
        if len(str(near)) <= _LONGEST_SOCKET_PATH:
            return near
        name = hashlib.sha256(str(self.root).encode()).hexdigest()[:16]
        return _runtime_root() / name / "service.sock"

    def prepare(self) -> None:
        """Make the folders, closed to others. Raises ConfigError with the path."""
        for folder in (self.root, self.socket.parent):
            try:
                folder.mkdir(parents=True, exist_ok=True, mode=0o700)
                folder.chmod(0o700)
            except OSError as error:
                raise ConfigError(
                    folder, f"cannot be made or closed to others ({error.strerror}); name another with --data"
                ) from None
            if not os.access(folder, os.W_OK):
                raise ConfigError(folder, "cannot be written; name another folder with --data")


def _runtime_root() -> Path:
    root = user_runtime_path("lastgrain")
    if len(str(root)) + 40 > _LONGEST_SOCKET_PATH:
        root = Path(tempfile.gettempdir()) / f"lastgrain-{our_user(0)}"
    return root


def data_folder(given: Path | None) -> DataFolder:
    """The folder asked for, else LASTGRAIN_DATA, else the user's data folder of the system."""
    named = given or (Path(os.environ["LASTGRAIN_DATA"]) if os.environ.get("LASTGRAIN_DATA") else None)
    return DataFolder((named or user_data_path("lastgrain")).expanduser().absolute())
