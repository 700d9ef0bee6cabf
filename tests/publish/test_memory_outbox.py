"""The tests' own outbox keeps the contract of the port."""

from __future__ import annotations

from typing import Any

import pytest

from logger.core.ports import MessageKind
from tests.contracts.outbox_suite import OutboxSuite, OutboxUnderTest
from tests.publish.memory_outbox import MemoryOutbox


class TestMemoryOutbox(OutboxSuite):
    @pytest.fixture
    def box(self) -> OutboxUnderTest:
        outbox = MemoryOutbox()

        async def add(kind: MessageKind, body: dict[str, Any]) -> None:
            outbox.add(kind, body)

        async def reopen() -> MemoryOutbox:
            return outbox

        return OutboxUnderTest(outbox=outbox, add=add, reopen=reopen)
