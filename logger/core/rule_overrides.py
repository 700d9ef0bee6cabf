"""What-if rules: `loss-rate`, `limit_pct_per_min=0.05`, ... put on top of a method. Pure."""

from __future__ import annotations

import difflib
from collections.abc import Sequence
from dataclasses import fields, replace
from typing import Any, get_args

from logger.core.method import Endpoint, Method, RuleName

_OWN = {
    "loss-rate": ("limit_pct_per_min",),
    "relative-change": ("change_pct", "change_g", "small_residue_pct", "small_change_pct"),
    "fixed-time": ("time_s",),
}
_ENDPOINT = tuple(f.name for f in fields(Endpoint))
_WEIGHING = ("mode", "rest_s", "first_interval_s", "interval_s", "propose_interval")


class OverrideError(ValueError):
    """A what-if that cannot be meant; the text says which and what to do."""


def with_overrides(method: Method, items: Sequence[str]) -> Method:
    """The method with each `RULE` or `key=value` applied in turn.

    Keys are those of the method file's tables [endpoint] and [weighing]. A change of rule drops the keys
    that belong to other rules. Raises OverrideError.
    """
    endpoint: dict[str, Any] = {}
    weighing: dict[str, Any] = {}
    for item in items:
        key, value = _split(item)
        (weighing if key in _WEIGHING else endpoint)[key] = value
    foreign = _foreign_keys(endpoint.get("rule", method.endpoint.rule))
    cleared = {name: None for name in foreign if getattr(method.endpoint, name) is not None}
    try:
        return replace(
            method,
            endpoint=replace(method.endpoint, **{**cleared, **endpoint}),
            weighing=replace(method.weighing, **weighing),
        )
    except ValueError as error:
        raise OverrideError(f"--rule {' '.join(items)}: {error}") from error


def _foreign_keys(rule: str) -> list[str]:
    return [key for owner, keys in _OWN.items() if owner != rule for key in keys]


def _split(item: str) -> tuple[str, Any]:
    if item in get_args(RuleName):
        return "rule", item
    key, equals, text = (part.strip() for part in item.partition("="))
    known = (*_ENDPOINT, *_WEIGHING)
    if not equals or key not in known:
        near = difflib.get_close_matches(key, (*get_args(RuleName), *known), n=1)
        hint = f"; did you mean {near[0]}?" if near else ""
        raise OverrideError(f"--rule {item}: neither a rule nor key=value of [endpoint] or [weighing]{hint}")
    return key, _value(key, text, item)


def _value(key: str, text: str, item: str) -> Any:
    choices = {
        "rule": get_args(RuleName),
        "combine": ("either", "both"),
        "mode": ("live", "interval"),
        "propose_interval": ("true", "false"),
    }.get(key)
    if choices is not None:
        if text not in choices:
            raise OverrideError(f"--rule {item}: {key} must be one of {', '.join(choices)}")
        return text == "true" if key == "propose_interval" else text
    try:
        value = float(text)
    except ValueError:
        value = float("nan")
    if not abs(value) < float("inf"):
        raise OverrideError(f"--rule {item}: {key} needs a plain number, not {text!r}")
    return value
