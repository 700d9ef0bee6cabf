"""The thread that reads all ports: pipes in place of ports."""

from __future__ import annotations

import errno
import os
import threading
import time
from collections.abc import Callable, Iterator

import pytest

from drivers import port_reader
from drivers.port_io import read_now
from drivers.port_reader import PortReader

pytestmark = pytest.mark.skipif(os.name == "nt", reason="each port has its own reader there")


class Pipe:
    """A port whose other end is `feed`."""

    def __init__(self) -> None:
        self.descriptor, self._feed = os.pipe()
        self.heard = b""
        self.quiets = 0
        self.failures: list[Exception] = []

    def feed(self, data: bytes) -> None:
        os.write(self._feed, data)

    def unplug(self) -> None:
        os.close(self._feed)
        self._feed = -1

    def read_ready(self) -> None:
        self.heard += read_now(self.descriptor)

    def quiet(self) -> None:
        self.quiets += 1

    def gone(self, error: Exception) -> None:
        self.failures.append(error)

    def close(self) -> None:
        for end in (self.descriptor, self._feed):
            if end >= 0:
                os.close(end)


@pytest.fixture
def pipes() -> Iterator[list[Pipe]]:
    made = [Pipe(), Pipe()]
    yield made
    for pipe in made:
        pipe.close()


def soon(met: Callable[[], bool]) -> None:
    end_s = time.monotonic() + 5.0
    while not met():
        assert time.monotonic() < end_s
        time.sleep(0.005)


def readers() -> int:
    return sum(thread.name == "port reader" for thread in threading.enumerate())


def test_each_port_hears_its_own_bytes(pipes: list[Pipe]) -> None:
    subject = PortReader()
    for at, pipe in enumerate(pipes):
        subject.add(pipe)
        pipe.feed(b"%d" % at)
    soon(lambda: [pipe.heard for pipe in pipes] == [b"0", b"1"])
    assert readers() == 1
    soon(lambda: all(pipe.quiets for pipe in pipes))
    for pipe in pipes:
        subject.remove(pipe)
    assert readers() == 0


def test_a_removed_port_hears_no_more_and_may_come_again(pipes: list[Pipe]) -> None:
    subject = PortReader()
    for pipe in pipes:
        subject.add(pipe)
    subject.remove(pipes[0])
    for pipe in pipes:
        pipe.feed(b"x")
    soon(lambda: pipes[1].heard == b"x")
    assert pipes[0].heard == b""
    subject.add(pipes[0])
    soon(lambda: pipes[0].heard == b"x")
    for pipe in (*pipes, *pipes):
        subject.remove(pipe)
    assert readers() == 0
    subject.add(pipes[0])
    pipes[0].feed(b"y")
    soon(lambda: pipes[0].heard == b"xy")
    subject.remove(pipes[0])
    assert readers() == 0


def test_a_lost_port_is_told_once_and_the_other_goes_on(pipes: list[Pipe]) -> None:
    subject = PortReader()
    for pipe in pipes:
        subject.add(pipe)
    pipes[0].unplug()
    soon(lambda: bool(pipes[0].failures))
    pipes[1].feed(b"still here")
    soon(lambda: pipes[1].heard == b"still here")
    assert len(pipes[0].failures) == 1
    assert pipes[1].failures == []
    for pipe in pipes:
        subject.remove(pipe)
    assert readers() == 0


def test_when_waiting_itself_fails_every_port_is_told(
    pipes: list[Pipe], monkeypatch: pytest.MonkeyPatch
) -> None:
    def fail(descriptors: object, longest_s: float) -> list[int]:
        raise ValueError("file descriptor out of range")

    subject = PortReader()
    monkeypatch.setattr(port_reader, "wait_ready", fail)
    subject.add(pipes[0])
    soon(lambda: bool(pipes[0].failures))
    subject.remove(pipes[0])
    monkeypatch.undo()
    subject.add(pipes[1])
    pipes[1].feed(b"x")
    soon(lambda: pipes[1].heard == b"x")
    subject.remove(pipes[1])


def test_a_fault_at_one_quiet_port_leaves_the_other_alone(
    pipes: list[Pipe], monkeypatch: pytest.MonkeyPatch
) -> None:
    def fail() -> None:
        raise RuntimeError("a fault of the program")

    monkeypatch.setattr(pipes[0], "quiet", fail)
    subject = PortReader()
    for pipe in pipes:
        subject.add(pipe)
    soon(lambda: bool(pipes[0].failures))
    pipes[1].feed(b"x")
    soon(lambda: pipes[1].heard == b"x")
    assert len(pipes[0].failures) == 1
    assert pipes[1].failures == []
    for pipe in pipes:
        subject.remove(pipe)
    assert readers() == 0


@pytest.mark.parametrize("scarce", ["files", "threads"])
def test_a_port_that_could_not_be_added_is_never_read(
    pipes: list[Pipe], monkeypatch: pytest.MonkeyPatch, scarce: str
) -> None:
    """Its number is soon that of another file, whose bytes are none of the reader's business."""

    def no_files() -> tuple[int, int]:
        raise OSError(errno.EMFILE, "Too many open files")

    def no_threads(thread: threading.Thread) -> None:
        raise RuntimeError("can't start new thread")

    subject = PortReader()
    with monkeypatch.context() as patched:
        if scarce == "files":
            patched.setattr(os, "pipe", no_files)
        else:
            patched.setattr(threading.Thread, "start", no_threads)
        with pytest.raises(OSError, match=r"Too many open files|start new thread"):
            subject.add(pipes[0])
    subject.add(pipes[1])
    for pipe in pipes:
        pipe.feed(b"x")
    soon(lambda: pipes[1].heard == b"x")
    subject.remove(pipes[1])
    assert pipes[0].heard == b""
    assert readers() == 0


def test_ports_come_and_go_from_several_threads() -> None:
    subject = PortReader()
    done: list[int] = []

    def use(which: int) -> None:
        for _ in range(100):
            pipe = Pipe()
            subject.add(pipe)
            pipe.feed(b"x")
            soon(lambda pipe=pipe: pipe.heard == b"x")  # type: ignore[misc]
            subject.remove(pipe)
            pipe.close()
        done.append(which)

    threads = [threading.Thread(target=use, args=(which,)) for which in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(30)
    assert sorted(done) == [0, 1, 2, 3]
    assert readers() == 0
