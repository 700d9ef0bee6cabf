"""Messages as bytes: envelope and body, checked against their model, plain JSON without NaN.

A duplicate delivery carries the same `seq` and `message_id`; a consumer keeps the first
(INSERT OR IGNORE by site, bench, seq).
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from datetime import datetime
from typing import Annotated, Any, Literal

from pydantic import Field, ValidationError

from logger.core.ports import OutboxItem
from logger.publish.bodies import (
    Body,
    EventBody,
    LatestBody,
    LiveBody,
    ReadingsBody,
    RecordBody,
    StatusBody,
    UtcText,
)
from logger.publish.errors import PayloadError
from logger.publish.topics import Kind, Topics

SCHEMA_VERSION = 1
LARGEST_SEQ = 2**53 - 1
"""The largest integer that every JSON reader keeps exactly."""
HISTORICAL_AFTER_S = 10.0
DELIVERY_FIELDS = ("seq", "message_id", "created_at", "published_at", "historical")
"""What the way to the plant adds to a record; leave them out when checking `record_sha256`."""


class Envelope(Body):
    """In every message. `schema` names kind and version: how to read it."""

    site: str
    bench: str
    published_at: UtcText


class Numbered(Envelope):
    """In every message that went through the outbox, and in `latest`."""

    seq: Annotated[int, Field(ge=1, le=LARGEST_SEQ)]
    """Without gaps over record, event and readings of one bench."""
    message_id: Annotated[str, Field(min_length=1)]
    created_at: UtcText
    historical: bool
    """True when the message was sent more than 10 s after it was made."""


class StatusMessage(StatusBody, Envelope):
    """Topic status: retained, QoS 1, and the last will."""

    schema_name: Literal["lastgrain/status/1"] = Field(alias="schema")


class LiveMessage(LiveBody, Envelope):
    """Topic live: QoS 0, once a second."""

    schema_name: Literal["lastgrain/live/1"] = Field(alias="schema")


class EventMessage(EventBody, Numbered):
    """Topic event: QoS 1, in order."""

    schema_name: Literal["lastgrain/event/1"] = Field(alias="schema")


class ReadingsMessage(ReadingsBody, Numbered):
    """Topic readings: QoS 1, in order, optional."""

    schema_name: Literal["lastgrain/readings/1"] = Field(alias="schema")


class RecordMessage(RecordBody, Numbered):
    """Topic record: QoS 1, in order."""

    schema_name: Literal["lastgrain/record/1"] = Field(alias="schema")


class LatestMessage(LatestBody, Numbered):
    """Topic latest: QoS 1, retained. `seq` and `message_id` are those of the record."""

    schema_name: Literal["lastgrain/latest/1"] = Field(alias="schema")


MESSAGES: dict[Kind, type[Envelope]] = {
    "status": StatusMessage,
    "live": LiveMessage,
    "event": EventMessage,
    "record": RecordMessage,
    "latest": LatestMessage,
    "readings": ReadingsMessage,
}


def numbered_message(topics: Topics, item: OutboxItem, published_at: str) -> bytes:
    """An outbox item on the wire. Raises PayloadError."""
    _require_whole(item)
    return _encode(item.kind, _numbered(topics, item.kind, item, published_at), item.body)


def latest_message(topics: Topics, record: OutboxItem, published_at: str) -> bytes:
    """The retained summary of a record. Raises PayloadError."""
    _require_whole(record)
    return _encode("latest", _numbered(topics, "latest", record, published_at), latest_body(record.body))


def _require_whole(item: OutboxItem) -> None:
    if not item.body:
        raise PayloadError(
            f"Message {item.seq} was altered in the store and is not sent: look for it in a backup "
            "(`lastgrain runs verify`)."
        )


def plain_message(topics: Topics, kind: Literal["status", "live"], body: dict[str, Any], now: str) -> bytes:
    """A status or live message. Raises PayloadError."""
    return _encode(kind, _envelope(topics, kind, now), body)


def latest_body(record: Mapping[str, Any]) -> dict[str, Any]:
    """A record's summary, flat, so that the simplest consumer can read it. What is missing is null."""
    nested = {part: record.get(part) or {} for part in ("sample", "method", "result", "limits")}
    # A record of a version that knew no assessment reports what was weighed.
    assessed = record.get("assessment") or nested["result"]
    budget, decision = assessed.get("budget") or {}, assessed.get("decision") or {}
    summary: dict[str, Any] = {
        name: nested[part].get(field) for name, (part, field) in _LATEST_NESTED.items()
    }
    summary |= {name: assessed.get(name) for name in ("residue_pct", "passing_pct")}
    summary |= {"expanded_u_pct": budget.get("expanded_u_pct"), "decision": decision.get("outcome")}
    summary |= {name: record.get(name) for name in _LATEST_TOP}
    return summary | {"deviations": len(record.get("deviations") or ())}


_LATEST_TOP = (
    "run_id", "revision", "review", "simulated", "aperture_um", "tested_at", "outcome", "reason",
    "record_sha256",
)  # fmt: skip
_LATEST_NESTED = {
    "sample_id": ("sample", "sample_id"),
    "lot": ("sample", "lot"),
    "point": ("sample", "point"),
    "sampled_at": ("sample", "sampled_at"),
    "method_id": ("method", "id"),
    "method_revision": ("method", "revision"),
    "charge_g": ("result", "charge_g"),
    "residue_g": ("result", "residue_g"),
    "raw_residue_pct": ("result", "residue_pct"),
    "residue_max_pct": ("limits", "residue_max_pct"),
    "residue_min_pct": ("limits", "residue_min_pct"),
}


def schema_name(kind: Kind) -> str:
    """What the field `schema` of a message says."""
    return f"lastgrain/{kind}/{SCHEMA_VERSION}"


def _envelope(topics: Topics, kind: Kind, published_at: str) -> dict[str, Any]:
    return {
        "schema": schema_name(kind),
        "site": topics.site,
        "bench": topics.bench,
        "published_at": published_at,
    }


def _numbered(topics: Topics, kind: Kind, item: OutboxItem, published_at: str) -> dict[str, Any]:
    return {
        **_envelope(topics, kind, published_at),
        "seq": item.seq,
        "message_id": item.message_id,
        "created_at": item.created_at,
        "historical": is_historical(item.created_at, published_at),
    }


def is_historical(created_at: str, published_at: str) -> bool:
    """Whether more than 10 s lie between making and sending (both UTC texts)."""
    try:
        late = datetime.fromisoformat(published_at) - datetime.fromisoformat(created_at)
    except ValueError:
        return True
    return late.total_seconds() > HISTORICAL_AFTER_S


def _encode(kind: Kind, envelope: Mapping[str, Any], body: Mapping[str, Any]) -> bytes:
    clash = sorted(name for name in envelope.keys() & body.keys() if envelope[name] != body[name])
    if clash:
        raise PayloadError(f"A {kind} message says {', '.join(clash)} in two different ways.")
    message = {**envelope, **body}
    try:
        text = json.dumps(message, ensure_ascii=False, allow_nan=False, separators=(",", ":")).encode()
        MESSAGES[kind].model_validate_json(text)
        return text
    except ValidationError as error:
        raise PayloadError(f"A {kind} message does not fit its schema: {_first_fault(error)}.") from error
    except (TypeError, ValueError) as error:
        raise PayloadError(f"A {kind} message cannot be written as JSON: {error}.") from error


def _first_fault(error: ValidationError) -> str:
    fault = error.errors(include_url=False, include_input=False)[0]
    where = ".".join(str(part) for part in fault["loc"])
    return f"{where}: {fault['msg']}" if where else str(fault["msg"])
