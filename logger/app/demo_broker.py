"""A broker for the demo and the tests: a child process on 127.0.0.1, MQTT 5 only, nothing kept.

Not for the plant: no TLS, no passwords, no memory.
"""

from __future__ import annotations

import contextlib
import socket
import tempfile
from pathlib import Path
from types import TracebackType
from typing import Any

HOST = "127.0.0.1"

_RUMQTTD = """\
id = 0
[router]
id = 0
max_connections = 200
max_outgoing_packet_count = 200
max_segment_size = 16777216
max_segment_count = 8
[v5.1]
name = "demo"
listen = "{host}:{port}"
next_connection_delay_ms = 1
[v5.1.connections]
connection_timeout_ms = 60000
max_payload_size = 1048576
max_inflight_count = 100
dynamic_filters = true
"""


class DemoBrokerError(Exception):
    """No demo broker; the text says why and what to do."""


class DemoBroker:
    """A running broker. Ends with `stop`, as a context manager, or with this process."""

    def __init__(self, port: int, process: Any, config: tempfile.TemporaryDirectory[str]) -> None:
        self.host = HOST
        self.port = port
        self._process = process
        self._config = config

    @property
    def url(self) -> str:
        """mqtt://host:port"""
        return f"mqtt://{self.host}:{self.port}"

    def stop(self) -> None:
        """Ends the child and frees the port; safe to call twice."""
        self._process.stop()
        self._config.cleanup()

    def __enter__(self) -> DemoBroker:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.stop()


def start_broker(port: int = 0) -> DemoBroker:
    """Starts it (about 0.1 s, blocking). Port 0 takes a free one. Raises DemoBrokerError."""
    try:
        import iotcore
    except ImportError as error:
        raise DemoBrokerError(
            "The demo's own broker is not installed: install Lastgrain with its [demo] extra, or name a "
            "broker with --broker URL."
        ) from error
    config = tempfile.TemporaryDirectory(prefix="lastgrain-broker-")
    try:
        chosen = port or _free_port()
        path = Path(config.name) / "broker.toml"
        path.write_text(_RUMQTTD.format(host=HOST, port=chosen), encoding="utf-8")
        process = iotcore.Broker(config_path=str(path))
        process.start()
    except (OSError, RuntimeError, ValueError) as error:
        with contextlib.suppress(OSError):
            config.cleanup()
        raise DemoBrokerError(f"The demo's own broker did not start on {HOST}:{chosen}: {error}.") from error
    return DemoBroker(chosen, process, config)


def _free_port() -> int:
    with socket.socket() as probe:
        probe.bind((HOST, 0))
        port: int = probe.getsockname()[1]
        return port
