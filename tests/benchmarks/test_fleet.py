"""A small fleet through the same outages as the large one that a person starts."""

from __future__ import annotations

import pytest

from tests.benchmarks.fleet import storm
from tests.benchmarks.fleet_parts import messages_a_run
from tests.real import require_binary

pytestmark = [pytest.mark.asyncio, pytest.mark.real, pytest.mark.full]


async def test_every_record_of_a_small_fleet_is_there_once_after_outages() -> None:
    require_binary("mosquitto")
    found = await storm(4, 10, pace=0.2)
    assert (found.records, found.missing) == (40, 0)
    assert found.messages == 40 * messages_a_run()
