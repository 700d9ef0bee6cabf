"""The way between a bench's service and its consoles, on this machine only: the one place that knows which kind.

A Unix socket in a folder that no one else can enter. Where the system has none (Windows), a port of the loopback
address instead: its number and a token stand in a private file at the socket's path, and a connection says the
token first. Any program of the machine can reach such a port; only one that may read the file gets further.
"""

from __future__ import annotations

import asyncio
import hmac
import os
import secrets
import socket
import sys
from collections.abc import Awaitable, Callable
from pathlib import Path

LOOPBACK = "127.0.0.1"
GREETING_S = 5.0
PROBE_S = 1.0

Attend = Callable[[asyncio.StreamReader, asyncio.StreamWriter], Awaitable[None]]


def has_unix_sockets() -> bool:
    """Whether asyncio can serve them here."""
    return sys.platform != "win32"


async def open_local(path: Path, limit: int) -> tuple[asyncio.StreamReader, asyncio.StreamWriter]:
    """Connects to the service at `path`. Raises OSError."""
    if has_unix_sockets():
        return await asyncio.open_unix_connection(str(path), limit=limit)
    port, token = _place(path)
    reader, writer = await asyncio.open_connection(LOOPBACK, port, limit=limit)
    writer.write(token.encode("ascii") + b"\n")
    return reader, writer


async def serve_local(attend: Attend, path: Path, limit: int) -> asyncio.Server:
    """Serves at `path`, which only this user can read from then on. Raises OSError."""
    if has_unix_sockets():
        server = await asyncio.start_unix_server(attend, str(path), limit=limit)
        _make_private(path)
        return server
    token = secrets.token_hex(16)

    async def attend_known(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        if await _says(token, reader):
            await attend(reader, writer)
        else:
            writer.close()

    server = await asyncio.start_server(attend_known, LOOPBACK, 0, limit=limit)
    _note_place(path, server.sockets[0].getsockname()[1], token)
    return server


def answers(path: Path) -> bool:
    """Whether a service listens at `path`."""
    try:
        if has_unix_sockets():
            with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as probe:
                probe.settimeout(PROBE_S)
                probe.connect(str(path))
            return True
        with socket.create_connection((LOOPBACK, _place(path)[0]), PROBE_S):
            return True
    except OSError:
        return False


async def _says(token: str, reader: asyncio.StreamReader) -> bool:
    try:
        async with asyncio.timeout(GREETING_S):
            line = await reader.readline()
    except (TimeoutError, OSError, ValueError):
        return False
    return hmac.compare_digest(line.strip(), token.encode("ascii"))


def _make_private(path: Path) -> None:
    path.chmod(0o600)


def _note_place(path: Path, port: int, token: str) -> None:
    fresh = path.with_suffix(".new")
    fresh.unlink(missing_ok=True)
    with os.fdopen(
        os.open(fresh, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "w", encoding="ascii"
    ) as stream:
        stream.write(f"{port} {token}\n")
    fresh.replace(path)


def _place(path: Path) -> tuple[int, str]:
    """Port and token. Raises OSError, also for a file that says neither."""
    try:
        port, token = path.read_text(encoding="ascii").split()
        return int(port), token
    except ValueError:
        raise FileNotFoundError(f"{path} names no service") from None
