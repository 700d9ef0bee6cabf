"""Outside check: pymodbus, which shares no code with the simulator, is the master."""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import AsyncIterator
from pathlib import Path

import pytest

from simulators.ports import PortKind
from simulators.serve import serve

pytest.importorskip("pymodbus.client", reason="pymodbus is not installed")
from pymodbus import FramerType
from pymodbus.client import AsyncModbusSerialClient, AsyncModbusTcpClient

pytestmark = [pytest.mark.asyncio, pytest.mark.real]


@contextlib.asynccontextmanager
async def served(kind: PortKind, link_dir: Path) -> AsyncIterator[dict[str, str]]:
    ready: asyncio.Future[dict[str, str]] = asyncio.get_running_loop().create_future()
    task = asyncio.create_task(
        serve(
            "demo-filler",
            2,
            kind=kind,
            link_dir=link_dir,
            on_ready=ready.set_result,
            pressure_dialect="modbus-pressure",
            permit="modbus",
        )
    )
    try:
        yield await asyncio.wait_for(ready, 5)
    finally:
        task.cancel()
        with contextlib.suppress(asyncio.CancelledError):
            await task


def client_for(address: str) -> AsyncModbusTcpClient | AsyncModbusSerialClient:
    if address.startswith("socket://"):
        port = int(address.rsplit(":", 1)[1])
        return AsyncModbusTcpClient("127.0.0.1", port=port, framer=FramerType.RTU, timeout=1, retries=0)
    return AsyncModbusSerialClient(address, baudrate=19_200, timeout=1, retries=0)


@pytest.mark.parametrize("kind", ["tcp", "pty"])
async def test_pymodbus_reads_the_transducer_and_moves_the_relay(kind: PortKind, tmp_path: Path) -> None:
    """RTU framing on TCP and on a serial line (computed with pymodbus 3.16)."""
    async with served(kind, tmp_path) as addresses:
        transducer, relay = client_for(addresses["pressure"]), client_for(addresses["permit"])
        assert await transducer.connect()
        assert await relay.connect()
        registers = await transducer.read_input_registers(0, count=2, device_id=1)
        value = transducer.convert_from_registers(registers.registers, transducer.DATATYPE.FLOAT32)
        assert isinstance(value, float)
        assert abs(value) < 10.0
        assert (await transducer.read_holding_registers(100, count=1, device_id=1)).isError()
        assert (await relay.read_coils(0, count=1, device_id=2)).bits[0] is False
        assert not (await relay.write_coil(0, True, device_id=2)).isError()
        assert (await relay.read_coils(0, count=1, device_id=2)).bits[0] is True
        assert not (await relay.write_coil(0, False, device_id=2)).isError()
        assert (await relay.read_coils(0, count=1, device_id=2)).bits[0] is False
        transducer.close()
        relay.close()
