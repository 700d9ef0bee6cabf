from __future__ import annotations

import asyncio
import contextlib
import os
from collections.abc import AsyncIterator, Callable
from pathlib import Path

import pytest
import pytest_asyncio

from simulators.ports import Port, PtyPort, TcpPort

pytestmark = pytest.mark.asyncio


Read = Callable[[], bytes | None]
"""What has arrived: None when nothing has, empty bytes when the other end is gone."""


class Reader:
    """The other end of a cable, opened as an ordinary program would."""

    def __init__(self, read: Read, write: Callable[[bytes], object], close: Callable[[], object]) -> None:
        self.read, self.write, self.close = read, write, close

    async def until(self, length: int) -> bytes:
        data = b""
        async with asyncio.timeout(5):
            while len(data) < length:
                data += self.read() or b""
                await asyncio.sleep(0.002)
        return data

    async def is_hung_up(self) -> bool:
        for _ in range(200):
            if self.read() == b"":
                return True
            await asyncio.sleep(0.005)
        return False


def open_pty(path: str) -> Reader:
    fd = os.open(path, os.O_RDWR | os.O_NOCTTY | os.O_NONBLOCK)

    def read() -> bytes | None:
        try:
            return os.read(fd, 65_536)
        except BlockingIOError:
            return None
        except OSError:
            return b""

    return Reader(read, lambda data: os.write(fd, data), lambda: os.close(fd))


async def open_tcp(address: str) -> Reader:
    host, port = address.removeprefix("socket://").split(":")
    reader, writer = await asyncio.open_connection(host, int(port))
    buffer = bytearray()

    async def fill() -> None:
        with contextlib.suppress(ConnectionError):
            while data := await reader.read(65_536):
                buffer.extend(data)

    task = asyncio.create_task(fill())

    def read() -> bytes | None:
        data = bytes(buffer)
        buffer.clear()
        return data if data or task.done() else None

    def close() -> None:
        task.cancel()
        writer.close()

    return Reader(read, writer.write, close)


async def open_port(port: Port) -> Reader:
    return open_pty(port.address) if isinstance(port, PtyPort) else await open_tcp(port.address)


@pytest_asyncio.fixture(params=["pty", "tcp"])
async def port(request: pytest.FixtureRequest, tmp_path: Path) -> AsyncIterator[Port]:
    subject: Port = PtyPort(tmp_path / "links" / "mass") if request.param == "pty" else TcpPort()
    yield subject
    await subject.unplug()


async def test_bytes_go_both_ways(port: Port) -> None:
    got: list[bytes] = []
    await port.plug(got.append)
    reader = await open_port(port)
    reader.write(b"W\r\n")
    for _ in range(200):
        await asyncio.sleep(0.005)
        if got:
            break
    assert b"".join(got) == b"W\r\n"
    every_byte = bytes(range(256)) * 4
    port.send(every_byte)
    assert await reader.until(1024) == every_byte
    reader.close()


async def test_a_burst_of_2000_lines_arrives_whole(port: Port) -> None:
    await port.plug(lambda _: None)
    reader = await open_port(port)
    await asyncio.sleep(0.02)
    lines = [f"g  {k:10d} = {k % 10000:04d}\r".encode() for k in range(2000)]
    for line in lines:
        port.send(line)
    assert await reader.until(sum(map(len, lines))) == b"".join(lines)
    reader.close()


async def test_an_unplugged_port_is_gone_and_comes_back_under_its_address(port: Port) -> None:
    await port.plug(lambda _: None)
    address = port.address
    reader = await open_port(port)
    await asyncio.sleep(0.02)
    await port.unplug()
    port.send(b"nobody hears this")
    assert await reader.is_hung_up()
    reader.close()
    with pytest.raises((FileNotFoundError, ConnectionRefusedError)):
        await open_port(port)
    await port.plug(lambda _: None)
    assert port.address == address
    again = await open_port(port)
    await asyncio.sleep(0.02)
    port.send(b"hello")
    assert await again.until(5) == b"hello"
    again.close()


async def test_plugging_twice_is_the_same_as_once(port: Port) -> None:
    await port.plug(lambda _: None)
    address = port.address
    await port.plug(lambda _: None)
    assert port.address == address
    await port.unplug()
    await port.unplug()


async def test_what_nobody_fetched_for_seconds_is_lost(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("simulators.ports.STALE_S", 0.05)
    subject = PtyPort(tmp_path / "mass")
    await subject.plug(lambda _: None)
    for k in range(3000):
        subject.send(f"old {k:06d}\r".encode())
    await asyncio.sleep(0.1)
    for k in range(100):
        subject.send(f"new {k:06d}\r".encode())
    reader = open_pty(subject.address)
    got = b""
    for _ in range(40):
        got += reader.read() or b""
        await asyncio.sleep(0.005)
    assert got.count(b"new") >= 99
    assert got.count(b"old") < 10
    reader.close()
    await subject.unplug()
