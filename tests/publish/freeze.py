"""Hands out a version of the message schemas: `python -m tests.publish.freeze 1.1`.

Writes schemas and examples of today's code into `logger/publish/schema_versions/`, from then on to be kept
as they are, and the page of changes. Refuses what breaks the rule of a major version.
"""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import Any

from logger.core.record import ChainHead, build_record
from logger.publish.payloads import latest_message, numbered_message, plain_message
from logger.publish.schemas import current_schema
from logger.publish.topics import KINDS, Kind, Topics
from logger.publish.versions import FOLDER, version_schema, versions
from tests.publish.samples import EVENT, LIVE, READINGS, SENT, STATUS, item, record
from tests.publish.schema_changes import breaking, changes
from tests.store.quick_runs import real_run

PAGE = Path(__file__).parents[2] / "docs" / "schema-changes.md"
LAB = Topics("lab", "a1")
HEAD = """# Changes of the message schemas

Made by `python -m tests.publish.freeze`. The rule: within a major version fields are only added, and an added
field is never required. A field never changes its meaning, type or unit, and never goes; the words of a closed
list stay the same. Anything else is a new major version under a new topic root. A test compares the code
with every version below, and its examples with the code. `lastgrain schema KIND` prints what the code has now.
"""


def todays_examples() -> dict[Kind, list[dict[str, Any]]]:
    """Messages as this code sends them, made of invented data and of a whole run in virtual time."""
    run = real_run()
    whole = build_record(run.run_id, run.facts, ChainHead(4, "2" * 64)).body()
    demo = Topics(whole["site"], whole["bench"])
    records = [(LAB, item("record", record().body())), (demo, item("record", whole))]
    return {
        "status": [json.loads(plain_message(LAB, "status", STATUS, SENT))],
        "live": [json.loads(plain_message(LAB, "live", LIVE, SENT))],
        "event": [json.loads(numbered_message(LAB, item("event", EVENT), SENT))],
        "readings": [json.loads(numbered_message(LAB, item("readings", READINGS), SENT))],
        "record": [json.loads(numbered_message(bench, each, SENT)) for bench, each in records],
        "latest": [json.loads(latest_message(bench, each, SENT)) for bench, each in records],
    }


def page() -> str:
    """The page of changes, from the versions alone."""
    parts = [HEAD]
    known = versions()
    for before, after in zip(["", *known], known, strict=False):
        parts.append(f"\n## {after}\n\n" + (_added(before, after) if before else "The first one.\n"))
    return "".join(parts)


def _added(before: str, after: str) -> str:
    lines = [
        f"- `{kind}`: `{change.where}` {change.what}\n"
        for kind in KINDS
        for change in changes(version_schema(before, kind), version_schema(after, kind))
    ]
    return "".join(lines) or "No field was added.\n"


def _text(document: dict[str, Any]) -> str:
    return json.dumps(document, indent=1, ensure_ascii=False) + "\n"


def main() -> int:
    """Writes a folder that does not exist yet."""
    version = sys.argv[1]
    folder = FOLDER / version
    for kind in KINDS:
        for known in versions():
            if broken := breaking(version_schema(known, kind), current_schema(kind)):
                print(f"{kind} breaks {known}: {broken}", file=sys.stderr)
                return 1
    files = {f"{kind}.schema": current_schema(kind) for kind in KINDS}
    for kind, examples in todays_examples().items():
        files |= {f"{kind}.example-{number}": example for number, example in enumerate(examples, 1)}
    folder.mkdir(parents=True)
    for name, document in files.items():
        (folder / f"{name}.json").write_text(_text(document), encoding="utf-8")
    PAGE.write_text(page(), encoding="utf-8")
    return 0


if __name__ == "__main__":
    sys.exit(main())
