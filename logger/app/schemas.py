"""JSON Schemas of everything that others may want to check."""

from __future__ import annotations

from typing import Any, get_args

from pydantic import TypeAdapter

from logger.publish.asyncapi import asyncapi
from logger.publish.schemas import schema as message_schema
from logger.publish.topics import Kind
from logger.settings.key_texts import FILES, described

MESSAGES: tuple[Kind, ...] = get_args(Kind)
KINDS = (*MESSAGES, *FILES, "asyncapi")
DIALECT = "https://json-schema.org/draft/2020-12/schema"


def schema_of(kind: str) -> dict[str, Any]:
    """The schema of a published message or of a configuration file, or all messages as AsyncAPI 3."""
    if kind == "asyncapi":
        return asyncapi()
    if kind in FILES:
        schema = described(kind, TypeAdapter(FILES[kind]).json_schema())
        return {"$schema": DIALECT, "$id": f"lastgrain/{kind}/1", **schema}
    return message_schema(next(name for name in MESSAGES if name == kind))
