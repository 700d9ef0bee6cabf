"""Why no connection came about: from the library's errors to a sentence for each cause."""

from __future__ import annotations

import socket
import ssl

import aiomqtt
from aiomqtt.exceptions import MqttConnectError
from paho.mqtt.reasoncodes import ReasonCode

from logger.publish.errors import ConnectFailed
from logger.publish.reasons import COMES_BACK, connack_sentence
from logger.publish.settings import BrokerSettings
from logger.publish.tls import handshake_cut_sentence, tls_sentence

CLOSED_UNANSWERED = "closed before CONNACK"
LIBRARY_TIMEOUT = "Operation timed out"
"""aiomqtt's words when CONNACK does not come; the time-out of the socket has others."""


def connect_failure(error: aiomqtt.MqttError, settings: BrokerSettings) -> ConnectFailed:
    """The library's error as ours, with the cause that the library hides."""
    where = settings.address
    if isinstance(error, MqttConnectError) and isinstance(error.rc, ReasonCode):
        code, name = error.rc.value, error.rc.getName()
        return ConnectFailed(connack_sentence(code, name, settings), refused=code not in COMES_BACK)
    # The library hides the cause with `from None`, yet Python still keeps it as the context.
    cause = error.__context__
    if isinstance(cause, ssl.SSLError) and not isinstance(cause, ssl.SSLEOFError):
        return ConnectFailed(tls_sentence(cause, where), refused=True)
    if isinstance(cause, ConnectionResetError | ssl.SSLEOFError) and not settings.insecure:
        return ConnectFailed(handshake_cut_sentence(where), refused=True)
    if isinstance(cause, socket.gaierror):
        return ConnectFailed(f"The host name {settings.host} is not known to this computer's name service.")
    if isinstance(cause, ConnectionRefusedError):
        return ConnectFailed(f"Nothing listens at {where}: is the broker running?")
    if isinstance(cause, OSError) and cause.strerror:
        return ConnectFailed(f"{where} cannot be reached: {cause.strerror}.")
    return ConnectFailed(_silence_sentence(str(error), settings))


def _silence_sentence(what: str, settings: BrokerSettings) -> str:
    """For a peer that took its time instead of answering; `what` is the library's text."""
    where, wait = settings.address, f"{settings.publish_timeout_s:.0f} s"
    if CLOSED_UNANSWERED in what:
        return _closed_sentence(settings)
    if "handshake" in what:
        return f"{where} took the connection but gave no TLS answer in {wait}: frozen, or its plain port."
    if what == LIBRARY_TIMEOUT:
        return (
            f"{where} took the connection but gave no MQTT 5 answer in {wait}: it is frozen, speaks only "
            "MQTT 3.1.1, or is no MQTT broker."
        )
    return f"{where} does not answer (waited {wait})."


def _closed_sentence(settings: BrokerSettings) -> str:
    if settings.insecure:
        hint = "it may be the TLS port (insecure = true is set), or a broker without MQTT 5"
    else:
        hint = "it may want a client certificate, or has no MQTT 5"
    return f"{settings.address} closed the connection without an MQTT 5 answer: {hint}."
