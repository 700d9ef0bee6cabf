"""The demo's broker: on this computer only, MQTT 5 only, gone with its parent."""

from __future__ import annotations

import asyncio
import os
import signal
import socket
import subprocess
import sys
import time

import aiomqtt
import pytest

from logger.app.demo_broker import DemoBrokerError, start_broker

HOLD = """
import time
from logger.app.demo_broker import start_broker
broker = start_broker()
print(broker.port, flush=True)
time.sleep(60)
"""


def answers(host: str, port: int) -> bool:
    try:
        with socket.create_connection((host, port), 0.5):
            return True
    except OSError:
        return False


def test_it_frees_its_port_and_may_be_stopped_twice() -> None:
    broker = start_broker()
    assert answers("127.0.0.1", broker.port)
    assert broker.url == f"mqtt://127.0.0.1:{broker.port}"
    broker.stop()
    broker.stop()
    assert not answers("127.0.0.1", broker.port)


def test_it_listens_on_the_loopback_only() -> None:
    """127.0.0.2 is this computer too, and would answer if every address were open."""
    with start_broker() as broker:
        assert answers("127.0.0.1", broker.port)
        assert not answers("127.0.0.2", broker.port)


@pytest.mark.asyncio
async def test_it_speaks_mqtt_5_only() -> None:
    with start_broker() as broker:
        async with aiomqtt.Client("127.0.0.1", broker.port, protocol=aiomqtt.ProtocolVersion.V5):
            pass
        old = aiomqtt.Client("127.0.0.1", broker.port, protocol=aiomqtt.ProtocolVersion.V311, timeout=0.5)
        with pytest.raises(aiomqtt.MqttError):
            await asyncio.wait_for(old.__aenter__(), 3)


def test_a_taken_port_is_a_sentence() -> None:
    with socket.create_server(("127.0.0.1", 0)) as held:
        port = held.getsockname()[1]
        with pytest.raises(DemoBrokerError, match=f"did not start on 127.0.0.1:{port}"):
            start_broker(port)


def test_without_the_extra_the_way_out_is_named(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "iotcore", None)
    with pytest.raises(DemoBrokerError, match=r"\[demo\] extra.*--broker URL"):
        start_broker()


def test_it_dies_with_a_parent_that_was_killed() -> None:
    parent = subprocess.Popen([sys.executable, "-c", HOLD], stdout=subprocess.PIPE)
    assert parent.stdout is not None
    with parent.stdout:
        port = int(parent.stdout.readline())
    assert answers("127.0.0.1", port)
    os.kill(parent.pid, signal.SIGKILL)
    parent.wait(5)
    deadline = time.monotonic() + 5
    while answers("127.0.0.1", port):
        assert time.monotonic() < deadline, "the broker outlived its parent"
        time.sleep(0.05)
