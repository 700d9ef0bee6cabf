"""MQTT 5 properties of what is sent: how the payload is to be read, before anyone has read it."""

from __future__ import annotations

from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties


def json_properties(schema: str = "", packet: int = PacketTypes.PUBLISH) -> Properties:
    """JSON in UTF-8; with the name of its schema, so that a bridge can sort without parsing."""
    properties: Properties = Properties(packet)  # type: ignore[no-untyped-call]
    properties.ContentType = "application/json"
    properties.PayloadFormatIndicator = 1
    if schema:
        properties.UserProperty = ("schema", schema)
    return properties


def session_properties(session_s: int, most_in_flight: int) -> Properties:
    """For a CONNECT whose session outlives the connection."""
    properties: Properties = Properties(PacketTypes.CONNECT)  # type: ignore[no-untyped-call]
    properties.SessionExpiryInterval = session_s
    properties.ReceiveMaximum = most_in_flight
    return properties
