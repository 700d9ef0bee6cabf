"""A bench as an edge node with one device: which messages it sends, with which numbers. Pure; time is an argument.

Rules of ISO/IEC 20237 (Sparkplug 3.0), read in the text of its conformance tests: a birth has seq 0 and the
bdSeq of the will; every other message but the death counts on, 255 is followed by 0; a death has no seq; data goes
by alias; births and data at QoS 0, nothing is retained.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from logger.sparkplug.metrics import DEVICE, DEVICE_METRICS, LIVE, NODE_METRICS, RESULT, Known
from logger.sparkplug.wire import REBIRTH, DataType, Metric, NotACommand, Value, asks_for_rebirth, payload

NAMESPACE = "spBv1.0"
_LARGEST_COUNT = 256


@dataclass(frozen=True, slots=True)
class Names:
    """Group (the site unless named otherwise) and node (the bench)."""

    group: str
    node: str

    def topic(self, kind: str, device: str = "") -> str:
        """`spBv1.0/GROUP/KIND/NODE`, and the device below it."""
        return "/".join([NAMESPACE, self.group, kind, self.node, *([device] if device else [])])

    @staticmethod
    def state(host: str) -> str:
        """Where a host says whether it is there."""
        return f"{NAMESPACE}/STATE/{host}"


@dataclass(frozen=True, slots=True)
class Sent:
    """A message to be published."""

    topic: str
    payload: bytes


class EdgeNode:
    """Holds the newest value of every metric, and the count of the session."""

    def __init__(self, names: Names, software: str) -> None:
        self.names = names
        self._values: dict[str, Value] = {known.name: None for known in (*NODE_METRICS, *DEVICE_METRICS)}
        self._values["Properties/software"] = software
        self._bdseq = 0
        self._seq = 0
        self._born = False
        self.ignored = 0
        """Commands that were none, or asked for something else than births."""

    def death(self, bdseq: int, now_ms: int) -> Sent:
        """For the will of a connection, and before a disconnect. Nothing but data follows from it."""
        self._bdseq, self._born = bdseq, False
        return Sent(self.names.topic("NDEATH"), payload(now_ms, [self._bdseq_metric(now_ms)], None))

    def birth(self, now_ms: int) -> list[Sent]:
        """Node, then device, with every value as it is now. Also what a rebirth sends."""
        self._seq, self._born = 0, True
        first = [
            self._bdseq_metric(now_ms),
            Metric(name=REBIRTH, timestamp_ms=now_ms, datatype=DataType.BOOLEAN, value=False),
        ]
        node = [*first, *(self._announced(known, now_ms) for known in NODE_METRICS)]
        device = [self._announced(known, now_ms) for known in DEVICE_METRICS]
        return [self._counted("NBIRTH", "", now_ms, node), self._counted("DBIRTH", DEVICE, now_ms, device)]

    def live(self, now_ms: int, values: Mapping[str, Any]) -> list[Sent]:
        """What changed in the live picture; the values are kept for a birth in any case."""
        return self._changed(DEVICE_METRICS, LIVE, values, now_ms, "DDATA", DEVICE)

    def result(self, now_ms: int, flat: Mapping[str, Any]) -> list[Sent]:
        """The record that is now the newest, in its flat form."""
        return self._changed(DEVICE_METRICS, RESULT, flat, now_ms, "DDATA", DEVICE)

    def outbox(self, now_ms: int, values: Mapping[str, Any]) -> list[Sent]:
        """How the way to the plant stands."""
        return self._changed(NODE_METRICS, "Outbox", values, now_ms, "NDATA", "")

    def earlier_result(self, now_ms: int, made_ms: int, flat: Mapping[str, Any]) -> list[Sent]:
        """A record that is not the newest: marked historical, dated when it was made; no current value changes."""
        if not self._born:
            return []
        metrics = [
            Metric(
                alias=known.alias,
                timestamp_ms=made_ms,
                datatype=known.datatype,
                value=_fitting(known, flat.get(known.name.removeprefix(f"{RESULT}/"))),
                historical=True,
            )
            for known in DEVICE_METRICS
            if known.name.startswith(f"{RESULT}/")
        ]
        return [self._counted("DDATA", DEVICE, now_ms, metrics)]

    def command(self, topic: str, command: bytes) -> bool:
        """Whether a message asks for births. Anything else is counted, and nothing follows from it."""
        if topic == self.names.topic("NCMD"):
            try:
                if asks_for_rebirth(command):
                    return True
            except NotACommand:
                pass
        self.ignored += 1
        return False

    def _bdseq_metric(self, now_ms: int) -> Metric:
        return Metric(name="bdSeq", timestamp_ms=now_ms, datatype=DataType.INT64, value=self._bdseq)

    def _announced(self, known: Known, now_ms: int) -> Metric:
        return Metric(
            name=known.name,
            alias=known.alias,
            timestamp_ms=now_ms,
            datatype=known.datatype,
            value=self._values[known.name],
            unit=known.unit,
        )

    def _changed(
        self,
        metrics: tuple[Known, ...],
        branch: str,
        values: Mapping[str, Any],
        now_ms: int,
        kind: str,
        device: str,
    ) -> list[Sent]:
        news = []
        for known in metrics:
            head, _, name = known.name.partition("/")
            if head != branch:
                continue
            value = _fitting(known, values.get(name))
            if value != self._values[known.name]:
                self._values[known.name] = value
                news.append(
                    Metric(alias=known.alias, timestamp_ms=now_ms, datatype=known.datatype, value=value)
                )
        return [self._counted(kind, device, now_ms, news)] if news and self._born else []

    def _counted(self, kind: str, device: str, now_ms: int, metrics: list[Metric]) -> Sent:
        made = Sent(self.names.topic(kind, device), payload(now_ms, metrics, self._seq))
        self._seq = (self._seq + 1) % _LARGEST_COUNT
        return made


def next_bdseq(bdseq: int) -> int:
    """One more a connection; 255 is followed by 0."""
    return (bdseq + 1) % _LARGEST_COUNT


def _fitting(known: Known, value: Any) -> Value:
    """The value as its type, null when it is of another."""
    if known.datatype is DataType.DOUBLE:
        return float(value) if isinstance(value, int | float) and not isinstance(value, bool) else None
    if known.datatype is DataType.INT64:
        return value if isinstance(value, int) and not isinstance(value, bool) else None
    wanted = bool if known.datatype is DataType.BOOLEAN else str
    return value if isinstance(value, wanted) else None


class HostWatch:
    """Whether the primary host is there, by its STATE messages; one that is older than the last is ignored."""

    def __init__(self) -> None:
        self.online = False
        self._last_ms = -1
        self.ignored = 0

    def heard(self, message: bytes) -> None:
        """`{"online": true, "timestamp": ms}`; anything else is counted and ignored."""
        try:
            found = json.loads(message)
            online, stamp_ms = found["online"], found["timestamp"]
        except (ValueError, KeyError, TypeError, RecursionError):
            online, stamp_ms = None, None
        if not isinstance(online, bool) or type(stamp_ms) is not int or stamp_ms < self._last_ms:
            self.ignored += 1
            return
        self.online, self._last_ms = online, stamp_ms
