"""What of the way to the plant needs a person."""

from __future__ import annotations

from logger.core.snapshot import AlarmView, BrokerView


def broker_alarms(broker: BrokerView) -> tuple[AlarmView, ...]:
    """Refusals and messages set aside, as alarms. An outage is none: messages are kept and sent later."""
    found = []
    if broker.state == "refused":
        found.append(AlarmView(key="broker-refused", level="warning", text=broker.text))
    if broker.set_aside:
        text = "A message will never reach the plant; see the broker line and send its run again."
        found.append(AlarmView(key="broker-set-aside", level="warning", text=text))
    return tuple(found)
