"""The same tests over a pseudo-terminal and over TCP."""

from __future__ import annotations

import asyncio
import time
from collections.abc import Sequence

import pytest

from drivers import port_reader
from drivers.line_codec import LineCodec
from drivers.link_error import LinkError, LinkTrouble
from drivers.profile import SerialSettings
from drivers.serial_transport import SerialTransport
from drivers.tcp_transport import TcpTransport
from drivers.transport import Chunk, Transport, TransportHooks, tcp_address
from tests.drivers.dialects import shipped
from tests.drivers.peers import Peer, PtyPeer, TcpPeer, run_async, until, with_peer


class Heard:
    """What a transport reported."""

    def __init__(self, batch_s: float = 0.0) -> None:
        self.chunks: list[Chunk] = []
        self.batches: list[bytes] = []
        self.lost: list[LinkError] = []
        self.hooks = TransportHooks(time.monotonic_ns, self.on_data, self.lost.append, batch_s)

    def on_data(self, chunks: Sequence[Chunk]) -> None:
        self.chunks += chunks
        self.batches.append(b"".join(data for data, _ in chunks))

    @property
    def data(self) -> bytes:
        return b"".join(data for data, _ in self.chunks)


def transport_to(port: str, heard: Heard) -> Transport:
    address = tcp_address(port)
    if address is not None:
        return TcpTransport(port, address, heard.hooks, 5.0)
    return SerialTransport(port, SerialSettings(), heard.hooks)


def test_bytes_go_both_ways_in_any_pieces(peer: Peer) -> None:
    async def body(peer: Peer) -> None:
        heard = Heard()
        transport = transport_to(peer.port, heard)
        await transport.open()
        transport.write(b"W\r\n")
        transport.write(b"W\r\n")
        await until(lambda: peer.received == b"W\r\nW\r\n")
        for piece in (b"S", b" +", b"  412.356 g\r", b"\n\x00\xff"):
            await peer.write(piece)
            await asyncio.sleep(0.01)
        await until(lambda: heard.data == b"S +  412.356 g\r\n\x00\xff")
        await transport.close()
        await transport.close()
        assert heard.lost == []

    run_async(with_peer(peer, body))


def test_an_unplug_is_told_once_and_within_a_second(peer: Peer) -> None:
    async def body(peer: Peer) -> None:
        heard = Heard()
        transport = transport_to(peer.port, heard)
        await transport.open()
        await peer.write(b"x")
        await until(lambda: heard.data == b"x")
        start = time.monotonic()
        await peer.unplug()
        await until(lambda: heard.lost, within_s=1.0)
        assert time.monotonic() - start < 1.0
        transport.write(b"W\r\n")  # into the void: no further report, no exception
        await asyncio.sleep(0.05)
        await transport.close()
        (error,) = heard.lost
        assert error.trouble is LinkTrouble.LOST
        assert error.sentence.startswith(f"the link at {peer.port} was lost (")

    run_async(with_peer(peer, body))


def test_fifty_thousand_lines_arrive(peer: Peer) -> None:
    profile = shipped("streamed-line-balance")
    count = 50_000
    lines = [b"g " + f"{i % 9000},00".rjust(11).encode() + b" = %04d\r" % (i % 10_000) for i in range(count)]

    async def body(peer: Peer) -> None:
        heard = Heard()
        codec = LineCodec(profile)
        transport = transport_to(peer.port, heard)
        await transport.open()
        await peer.write(b"\r" + b"".join(lines))
        size = 1 + sum(map(len, lines))
        await until(lambda: len(heard.data) == size, within_s=30)
        await transport.close()
        for data, at_ns in heard.chunks:
            codec.receive(data, at_ns)
        readings = codec.readings()
        assert [reading.value for reading in readings] == [i % 9000 for i in range(count)]
        assert codec.counters.rejected == codec.counters.repeated == 0

    run_async(with_peer(peer, body))


def test_a_port_that_is_not_there_is_said_at_once(peer: Peer) -> None:
    async def body(peer: Peer) -> None:
        await peer.unplug()
        transport = transport_to(peer.port, Heard())
        with pytest.raises(LinkError) as caught:
            await transport.open()
        assert peer.port in caught.value.sentence
        assert caught.value.trouble in (LinkTrouble.ABSENT, LinkTrouble.FAILED)
        await transport.close()

    run_async(with_peer(peer, body))


def test_opening_can_be_cancelled(peer: Peer) -> None:
    async def body(peer: Peer) -> None:
        heard = Heard()
        transport = transport_to(peer.port, heard)
        opening = asyncio.create_task(transport.open())
        await asyncio.sleep(0)
        opening.cancel()
        await asyncio.wait([opening])
        await transport.close()
        assert heard.lost == []

    run_async(with_peer(peer, body))


def test_arrival_is_stamped_while_the_loop_is_busy(pty_peer: PtyPeer) -> None:
    async def body(peer: Peer) -> None:
        heard = Heard()
        transport = transport_to(peer.port, heard)
        await transport.open()
        await peer.write(b"first")
        time.sleep(0.3)  # noqa: ASYNC251 - the loop is meant to be blocked
        await until(lambda: heard.data == b"first")
        assert time.monotonic_ns() - heard.chunks[0][1] > 250_000_000
        await transport.close()

    run_async(with_peer(pty_peer, body))


def test_lines_in_quick_succession_share_a_batch_and_keep_their_stamps(pty_peer: PtyPeer) -> None:
    async def body(peer: Peer) -> None:
        heard = Heard(batch_s=60.0)
        transport = transport_to(peer.port, heard)
        await transport.open()
        transport.collect()  # nothing waits, so the first bytes come at once
        for piece in (b"a", b"b", b"c"):
            await peer.write(piece)
            await asyncio.sleep(0.05)
        assert heard.batches == [b"a"]
        transport.collect()
        assert heard.batches == [b"a", b"bc"]
        first, second, third = (at_ns for _, at_ns in heard.chunks)
        assert second - first > 40_000_000
        assert third - second > 40_000_000
        await peer.write(b"d")
        await until(lambda: heard.batches == [b"a", b"bc", b"d"], within_s=1.0)  # nothing waits for ever
        await transport.close()

    run_async(with_peer(pty_peer, body))


def test_what_waits_for_its_batch_is_told_before_the_loss(pty_peer: PtyPeer) -> None:
    async def body(peer: Peer) -> None:
        heard = Heard(batch_s=60.0)
        transport = transport_to(peer.port, heard)
        await transport.open()
        transport.collect()
        await peer.write(b"a")
        await until(lambda: heard.batches)
        await peer.write(b"b")
        await asyncio.sleep(0.05)
        await peer.unplug()
        await until(lambda: heard.lost)
        assert heard.data == b"ab"
        await transport.close()

    run_async(with_peer(pty_peer, body))


def test_a_second_opener_is_refused_and_told_who_holds_the_port(pty_peer: PtyPeer) -> None:
    async def body(peer: Peer) -> None:
        first, second = Heard(), Heard()
        holder = transport_to(peer.port, first)
        await holder.open()
        real_name = str(pty_peer.link.resolve())
        with pytest.raises(LinkError) as caught:
            await transport_to(real_name, second).open()
        assert caught.value.trouble is LinkTrouble.IN_USE
        assert caught.value.sentence == (
            f"port {real_name} is already used by this program itself: "
            "end it there first, or correct the port in the bench file."
        )
        await peer.write(b"x")
        await until(lambda: first.data == b"x")
        await holder.close()
        again = transport_to(real_name, second)
        await again.open()
        await again.close()

    run_async(with_peer(pty_peer, body))


def test_nothing_listens_is_a_plain_sentence() -> None:
    async def body(peer: Peer) -> None:
        port = peer.port
        await peer.unplug()
        with pytest.raises(LinkError, match=f"^nothing listens at {port}: start what serves"):
            await transport_to(port, Heard()).open()

    run_async(with_peer(TcpPeer(), body))


@pytest.mark.parametrize(
    ("port", "address"),
    [
        ("socket://127.0.0.1:4001", ("127.0.0.1", 4001)),
        ("socket://[::1]:4001", ("::1", 4001)),
        ("/dev/ttyUSB0", None),
        ("COM3", None),
    ],
)
def test_a_port_is_a_device_or_an_address(port: str, address: tuple[str, int] | None) -> None:
    assert tcp_address(port) == address


@pytest.mark.parametrize(
    "port", ["socket://host", "socket://:1", "tcp://a:1", "socket://a:x", "socket://a:99999"]
)
def test_a_malformed_address_is_refused(port: str) -> None:
    with pytest.raises(LinkError, match="is not understood: write a device path"):
        tcp_address(port)


def test_a_reader_that_cannot_wait_is_a_lost_link_not_a_hang(
    pty_peer: PtyPeer, monkeypatch: pytest.MonkeyPatch
) -> None:
    """As with more than a thousand open files, which `select` cannot wait for."""

    def refuse(descriptors: Sequence[int], longest_s: float) -> list[int]:
        raise ValueError("filedescriptor out of range in select()")

    monkeypatch.setattr(port_reader, "wait_ready", refuse)

    async def body(peer: Peer) -> None:
        heard = Heard()
        transport = transport_to(peer.port, heard)
        await transport.open()
        await until(lambda: heard.lost)
        async with asyncio.timeout(5.0):
            await transport.close()
        (error,) = heard.lost
        assert "out of range" in error.sentence

    run_async(with_peer(pty_peer, body))


def test_settings_that_the_port_refuses_are_an_error_not_a_hang(pty_peer: PtyPeer) -> None:
    async def body(peer: Peer) -> None:
        transport = SerialTransport(peer.port, SerialSettings(baud=-1), Heard().hooks)
        async with asyncio.timeout(5.0):
            with pytest.raises(LinkError, match=r"cannot be opened \(.*baud.*\)"):
                await transport.open()

    run_async(with_peer(pty_peer, body))
