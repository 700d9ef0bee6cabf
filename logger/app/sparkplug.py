"""The second way to the plant, where the bench file asks for it."""

from __future__ import annotations

from collections.abc import Awaitable, Callable
from typing import Any

from logger.app.clock import BenchClock
from logger.app.plan import software
from logger.core.ports import PlantLink
from logger.core.snapshot import BrokerView
from logger.publish.settings import BrokerSettings
from logger.settings import Bench
from logger.sparkplug.node import Names
from logger.sparkplug.publisher import SparkplugOptions, SparkplugPublisher
from logger.store.sparkplug_memory import SparkplugMemory
from logger.store.writer import Writer


class BothWays:
    """The JSON publisher with the Sparkplug node beside it; the screen shows the first, which is the source."""

    def __init__(self, first: PlantLink, second: SparkplugPublisher) -> None:
        self._first, self._second = first, second

    def view(self) -> BrokerView:
        """How the first stands."""
        return self._first.view()

    def set_live(self, values: dict[str, Any]) -> None:
        """To both."""
        self._first.set_live(values)
        self._second.set_live(values)


Jobs = dict[str, Callable[[], Awaitable[None]]]


def with_sparkplug(
    plant: PlantLink, bench: Bench, broker: BrokerSettings | None, writer: Writer, clock: BenchClock
) -> tuple[PlantLink, Jobs]:
    """The way to the plant with the node beside it and its job, or as it was, when nobody asked for it."""
    asked = bench.sparkplug
    if asked is None or broker is None:
        return plant, {}
    options = SparkplugOptions(
        names=Names(asked.group or bench.site, bench.bench),
        primary_host=asked.primary_host,
        software=software(),
    )
    node = SparkplugPublisher(broker, options, SparkplugMemory(writer), clock)
    return BothWays(plant, node), {"sparkplug": node.run}
