"""How the broker is reached, and where its password comes from."""

from __future__ import annotations

import os
import re
import stat
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

from logger.publish.errors import SecretError

PASSWORD_VARIABLE = "LASTGRAIN_BROKER_PASSWORD"
CREDENTIAL_NAME = "lastgrain-broker-password"

_HOST = re.compile(r"[A-Za-z0-9](?:[A-Za-z0-9._:-]{0,252})?\Z", re.ASCII)
_CLIENT_ID = re.compile(r"[A-Za-z0-9_-]{1,64}\Z", re.ASCII)


@dataclass(frozen=True, slots=True, kw_only=True)
class BrokerSettings:
    """One broker. TLS unless `insecure`. Times in s; raises ValueError with a sentence."""

    host: str
    client_id: str
    """Stored install id: two programs with the same one throw each other out."""
    port: int = 8883
    username: str | None = None
    password: str | None = field(default=None, repr=False)
    insecure: bool = False
    """Plain MQTT. Shown at all times; never a fallback."""
    ca_file: str | None = None
    """PEM file of the plant's own authority; the system's authorities when None."""
    cert_file: str | None = None
    key_file: str | None = None
    keepalive_s: int = 15
    publish_timeout_s: float = 5.0
    beat_s: float = 10.0
    """An acknowledged status message after this silence finds a half-open link."""

    def __post_init__(self) -> None:
        if not _HOST.match(self.host):
            raise ValueError(f"broker host = {self.host!r} is not a host name or address")
        if not 0 < self.port < 65536:
            raise ValueError(f"broker port must be 1 to 65535, not {self.port}")
        if not _CLIENT_ID.match(self.client_id):
            raise ValueError("broker client id must be 1 to 64 letters, digits, hyphens or underscores")
        if self.insecure and (self.ca_file or self.cert_file or self.key_file):
            raise ValueError("broker insecure = true and certificate files contradict each other: drop one")
        if (self.cert_file is None) != (self.key_file is None):
            raise ValueError("broker cert_file and key_file belong together: give both or none")
        if self.username is None and self.password is not None:
            raise ValueError("a broker password needs a username")

    @property
    def address(self) -> str:
        """host:port for sentences."""
        return f"[{self.host}]:{self.port}" if ":" in self.host else f"{self.host}:{self.port}"


def load_password(
    password_file: str | Path | None = None, environ: Mapping[str, str] | None = None
) -> str | None:
    """The broker password, None when none is set anywhere.

    Order: environment variable, password file (0600 on POSIX), service credentials directory. Never
    the command line, which other users can read. Raises SecretError.
    """
    environ = os.environ if environ is None else environ
    if PASSWORD_VARIABLE in environ:
        return _not_empty(environ[PASSWORD_VARIABLE], f"the environment variable {PASSWORD_VARIABLE}")
    if password_file is not None:
        path = Path(password_file)
        _refuse_readable_by_others(path)
        return _read(path)
    directory = environ.get("CREDENTIALS_DIRECTORY")
    if directory and (Path(directory) / CREDENTIAL_NAME).is_file():
        return _read(Path(directory) / CREDENTIAL_NAME)
    return None


def _refuse_readable_by_others(path: Path) -> None:
    try:
        mode = path.stat().st_mode
    except OSError as error:
        raise SecretError(f"{path}: the broker password file cannot be read ({error.strerror}).") from error
    if os.name == "posix" and stat.S_IMODE(mode) & 0o077:
        raise SecretError(
            f"{path}: other users can read the broker password (mode {stat.S_IMODE(mode):04o}). "
            f"Run: chmod 600 {path}"
        )


def _read(path: Path) -> str:
    try:
        text = path.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        raise SecretError(f"{path}: the broker password file cannot be read as UTF-8 text.") from error
    return _not_empty(text.removesuffix("\n").removesuffix("\r"), str(path))


def _not_empty(secret: str, where: str) -> str:
    if not secret:
        raise SecretError(f"{where}: the broker password is empty.")
    return secret
