"""What changed between two JSON Schemas of one kind of message, and whether that breaks a consumer.

The rule of a major version: a field may be added, and may not be required. Everything else breaks: either a
new message would not fit the old schema, or an old document would not fit the new one.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

Node = dict[str, Any]
SAME = ("pattern", "format", "minimum", "maximum", "exclusiveMinimum", "exclusiveMaximum", "minLength")
SAME_TOO = ("maxLength", "minItems", "maxItems", "uniqueItems", "x-ucum", "dependentRequired", "const")


@dataclass(frozen=True, slots=True)
class Change:
    """One difference; `where` is a path of field names."""

    where: str
    what: str
    breaking: bool


def changes(old: Node, new: Node) -> list[Change]:
    """All differences between two schemas, in the order of the old one."""
    return list(_Walk(old, new).compare(old, new, ""))


def breaking(old: Node, new: Node) -> list[str]:
    """The differences that the rule forbids."""
    return [f"{change.where}: {change.what}" for change in changes(old, new) if change.breaking]


class _Walk:
    def __init__(self, old_root: Node, new_root: Node) -> None:
        self._old_root, self._new_root = old_root, new_root

    def compare(self, old: Node, new: Node, where: str) -> Iterator[Change]:
        old_ways, new_ways = self._ways(old, self._old_root), self._ways(new, self._new_root)
        old_types, new_types = sorted(map(_type, old_ways)), sorted(map(_type, new_ways))
        if old_types != new_types:
            yield Change(where, f"was {' or '.join(old_types)}, is {' or '.join(new_types)}", True)
            return
        if old.get("x-ucum") != new.get("x-ucum"):
            yield Change(where, f"unit was {old.get('x-ucum')}, is {new.get('x-ucum')}", True)
        pairs = zip(sorted(old_ways, key=_type), sorted(new_ways, key=_type), strict=True)
        for old_way, new_way in pairs:
            yield from self._compare_way(old_way, new_way, where)

    def _compare_way(self, old: Node, new: Node, where: str) -> Iterator[Change]:
        for word in (*SAME, *SAME_TOO):
            if old.get(word) != new.get(word):
                yield Change(where, f"{word} was {old.get(word)!r}, is {new.get(word)!r}", True)
        if set(map(str, old.get("enum", ()))) != set(map(str, new.get("enum", ()))):
            yield Change(where, f"words were {old.get('enum')}, are {new.get('enum')}", True)
        yield from self._compare_fields(old, new, where)
        yield from self._compare_elements(old, new, where)

    def _compare_fields(self, old: Node, new: Node, where: str) -> Iterator[Change]:
        had, has = old.get("properties", {}), new.get("properties", {})
        for name in had:
            if name not in has:
                yield Change(_in(where, name), "removed", True)
            else:
                yield from self.compare(had[name], has[name], _in(where, name))
        for name in has:
            if name not in had:
                types = " or ".join(sorted(map(_type, self._ways(has[name], self._new_root))))
                yield Change(_in(where, name), f"added ({types})", False)
        must_have, had_to = set(new.get("required", ())), set(old.get("required", ()))
        for name in sorted(must_have - had_to):
            yield Change(_in(where, name), "required now: older documents do not have it", True)
        for name in sorted(had_to & has.keys() - must_have):
            yield Change(_in(where, name), "no longer required: consumers count on it", True)

    def _compare_elements(self, old: Node, new: Node, where: str) -> Iterator[Change]:
        for word in ("items", "additionalProperties"):
            before, after = old.get(word, True), new.get(word, True)
            if isinstance(before, dict) and isinstance(after, dict):
                yield from self.compare(before, after, f"{where}[]")
            elif before != after:
                yield Change(where, f"{word} was {before!r}, is {after!r}", True)

    def _ways(self, node: Node, root: Node) -> list[Node]:
        """What a value may be: the parts of anyOf, references followed."""
        if "$ref" in node:
            return self._ways(_follow(node["$ref"], root), root)
        if "anyOf" in node:
            return [way for part in node["anyOf"] for way in self._ways(part, root)]
        return [node]


def _follow(reference: str, root: Node) -> Node:
    found: Any = root
    for part in reference.removeprefix("#/").split("/"):
        found = found[part]
    assert isinstance(found, dict)
    return found


def _type(way: Node) -> str:
    return str(way.get("type", "constant" if "const" in way or "enum" in way else "anything"))


def _in(where: str, name: str) -> str:
    return f"{where}.{name}" if where else name
