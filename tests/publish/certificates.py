"""Certificates made for one test run by the trustme library; nothing of them is kept."""

from __future__ import annotations

import ssl
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

import trustme


@dataclass
class Plant:
    """An invented plant's authority, with its certificate in `ca_file`."""

    folder: Path
    ca: trustme.CA

    @property
    def ca_file(self) -> str:
        return str(self.folder / "ca.pem")

    def server(self, host: str = "localhost", *, days_left: float = 30.0) -> ssl.SSLContext:
        """A server's context with a certificate for `host`; negative days: expired."""
        context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
        self.ca.issue_cert(host, not_after=datetime.now(UTC) + timedelta(days=days_left)).configure_cert(
            context
        )
        return context

    def files(self, name: str, *identities: str) -> tuple[str, str]:
        """Certificate and key as PEM files."""
        made = self.ca.issue_cert(*identities)
        cert, key = self.folder / f"{name}.pem", self.folder / f"{name}.key"
        cert.write_bytes(b"".join(blob.bytes() for blob in made.cert_chain_pems))
        made.private_key_pem.write_to_path(str(key))
        return str(cert), str(key)


def plant(folder: Path) -> Plant:
    """A new authority."""
    ca = trustme.CA()
    ca.cert_pem.write_to_path(str(folder / "ca.pem"))
    return Plant(folder, ca)
