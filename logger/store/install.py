"""The id of this installation: made once, kept in the store, used as the MQTT client id."""

from __future__ import annotations

import secrets
import sqlite3


def install_id(connection: sqlite3.Connection) -> str:
    """The stored id, made at the first call."""
    connection.execute(
        "INSERT OR IGNORE INTO meta VALUES ('install_id', ?)", (f"lastgrain-{secrets.token_hex(8)}",)
    )
    row = connection.execute("SELECT value FROM meta WHERE key = 'install_id'").fetchone()
    return str(row[0])
