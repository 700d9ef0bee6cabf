"""Both kinds of local socket: the Unix one, and the loopback port with its token for systems without it."""

from __future__ import annotations

import asyncio
import stat
from pathlib import Path

import pytest

from logger.service import local_socket
from logger.service.local_socket import answers, open_local, serve_local
from tests.drivers.peers import run_async

LIMIT = 1024


@pytest.fixture(params=["unix", "loopback"])
def kind(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> str:
    monkeypatch.setattr(local_socket, "has_unix_sockets", lambda: request.param == "unix")
    return str(request.param)


async def echo(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
    writer.write(await reader.readline())
    writer.close()


def test_a_line_comes_back_and_the_place_is_private(kind: str, tmp_path: Path) -> None:
    path = tmp_path / "service.sock"

    async def body() -> bytes:
        server = await serve_local(echo, path, LIMIT)
        assert stat.S_IMODE(path.stat().st_mode) == 0o600
        assert await asyncio.to_thread(answers, path)
        reader, writer = await open_local(path, LIMIT)
        writer.write(b"hello\n")
        line = await reader.readline()
        writer.close()
        server.close()
        return line

    assert run_async(body()) == b"hello\n"


def test_a_place_where_nobody_serves_does_not_answer(kind: str, tmp_path: Path) -> None:
    path = tmp_path / "service.sock"
    assert not answers(path)
    path.write_text("1 token\n" if kind == "loopback" else "")
    assert not answers(path)
    path.write_text("nonsense")
    with pytest.raises(OSError, match=r"."):
        run_async(open_local(path, LIMIT))


def test_whoever_does_not_know_the_token_gets_no_further(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(local_socket, "has_unix_sockets", lambda: False)
    path = tmp_path / "service.sock"

    async def body() -> bytes:
        server = await serve_local(echo, path, LIMIT)
        port = int(path.read_text().split()[0])
        reader, writer = await asyncio.open_connection("127.0.0.1", port)
        writer.write(b"wrong\nhello\n")
        line = await reader.read()
        writer.close()
        server.close()
        return line

    assert run_async(body()) == b""
