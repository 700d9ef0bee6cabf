"""From a topic and bytes to a message that can be kept, or the reason why not. Pure: no clock, no I/O."""

from __future__ import annotations

import json
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Literal, NoReturn

from pydantic import ValidationError

from logger.publish.bodies import LatestBody
from logger.publish.payloads import LARGEST_SEQ, MESSAGES, latest_body, schema_name
from logger.publish.topics import ROOT, Kind

Fault = Literal["malformed", "unknown-version", "conflict", "not-storable"]
WANTED: tuple[Kind, ...] = ("record", "event", "readings", "status")
"""`latest` only repeats a record, and `live` is never for results."""
_TIMES = ("published_at", "created_at", "utc", "started_utc", "since")


class Unfit(Exception):  # noqa: N818 - it says what the message is
    """A message that cannot be kept as what it claims to be; the text is the reason."""

    def __init__(self, fault: Fault, reason: str) -> None:
        super().__init__(reason)
        self.fault = fault


@dataclass(frozen=True, slots=True, kw_only=True)
class Delivery:
    """A message that fits its schema. `text` is the JSON as it came; `flat` is the summary of a record."""

    site: str
    bench: str
    kind: Kind
    fields: dict[str, Any]
    text: str
    flat: dict[str, Any]

    @property
    def seq(self) -> int:
        """Its number; 0 for a status, which has none."""
        return int(self.fields.get("seq", 0))


def read_delivery(topic: str, payload: bytes) -> Delivery:
    """The message. Raises Unfit."""
    site, bench, kind = _places(topic)
    text, fields = _json(payload)
    _check_version(kind, fields)
    try:
        MESSAGES[kind].model_validate_json(text)
        flat = latest_body(fields) if kind == "record" else {}
        if flat:
            LatestBody.model_validate(flat)
    except ValidationError as error:
        fault = error.errors(include_url=False, include_input=False)[0]
        where = ".".join(str(part) for part in fault["loc"])
        raise Unfit("malformed", f"{where}: {fault['msg']}" if where else fault["msg"]) from None
    except (AttributeError, TypeError, ValueError) as error:
        raise Unfit("malformed", f"a part has the wrong shape ({error})") from None
    if (fields["site"], fields["bench"]) != (site, bench):
        raise Unfit("malformed", f"says {fields['site']}/{fields['bench']} on the topic of {site}/{bench}")
    _check_times(fields)
    _check_storable(fields, flat)
    return Delivery(site=site, bench=bench, kind=kind, fields=fields, text=text, flat=flat)


def _places(topic: str) -> tuple[str, str, Kind]:
    levels = topic.removeprefix(f"{ROOT}/").split("/")
    kind = next((wanted for wanted in WANTED if wanted == levels[-1]), None)
    if not topic.startswith(f"{ROOT}/") or len(levels) != 3 or kind is None:
        raise Unfit("malformed", "the topic is not one of a bench")
    return levels[0], levels[1], kind


def _json(payload: bytes) -> tuple[str, dict[str, Any]]:
    try:
        text = payload.decode("utf-8")
        found = json.loads(text, parse_constant=_no_constant)
    except UnicodeDecodeError:
        raise Unfit("malformed", "not UTF-8") from None
    except (ValueError, RecursionError) as error:
        raise Unfit("malformed", f"not JSON ({error})") from None
    if not isinstance(found, dict):
        raise Unfit("malformed", "no JSON object")
    return text, found


def _no_constant(name: str) -> NoReturn:
    raise ValueError(f"{name} is no JSON number")


def _check_version(kind: Kind, fields: dict[str, Any]) -> None:
    said = fields.get("schema")
    if said == schema_name(kind):
        return
    if isinstance(said, str) and said.startswith(f"lastgrain/{kind}/"):
        raise Unfit("unknown-version", f"{said[:80]}; this sink knows {schema_name(kind)}")
    raise Unfit("malformed", f"schema is not {schema_name(kind)}")


def _check_times(fields: dict[str, Any]) -> None:
    for name in _TIMES:
        if name in fields:
            try:
                datetime.fromisoformat(fields[name])
            except ValueError:
                raise Unfit("malformed", f"{name}: {fields[name]} is no date and time") from None


def _check_storable(fields: dict[str, Any], flat: dict[str, Any]) -> None:
    """What becomes a column must be text that a database keeps, and a number that fits."""
    for name, value in (*fields.items(), *flat.items()):
        if isinstance(value, str) and ("\0" in value or not _encodes(value)):
            raise Unfit("not-storable", f"{name} holds a character that databases do not keep")
        if isinstance(value, int) and abs(value) > LARGEST_SEQ:
            raise Unfit("not-storable", f"{name} is too large a number")


def _encodes(value: str) -> bool:
    try:
        value.encode()
    except UnicodeEncodeError:
        return False
    return True
