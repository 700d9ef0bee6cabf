"""Kept runs as traces: what replay, attrition and ruggedness read when a run is given by its number."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from pydantic import TypeAdapter

from logger.app.export import trace_csv
from logger.app.kept_runs import frozen_method, frozen_spec
from logger.app.paths import DataFolder
from logger.core.method import Method
from logger.core.rig import Rig
from logger.core.run.facts import fold
from logger.core.trace import Trace, parse_trace
from logger.store import history

_NUMBER = re.compile(r"\d{1,7}", re.ASCII)


@dataclass(frozen=True, slots=True)
class StoredRun:
    """One kept run with the method and the rig that it froze."""

    trace: Trace
    method: Method
    rig: Rig


def is_run_number(name: str) -> bool:
    """Whether a name on the command line means a kept run: digits only, and no file of that name."""
    return _NUMBER.fullmatch(name) is not None and not Path(name).exists()


def stored_run(data: DataFolder, which: str) -> StoredRun:
    """Raises StoreError for a run that is not there, TraceError for one without a single weighing."""
    with history.reading(data.store) as connection:
        row = history.find_run(connection, which)
        facts = fold(history.run_events(connection, row.run_id))
        readings = history.run_readings(connection, row.run_id)
    text = trace_csv(row.run_id, facts, readings)
    trace = parse_trace(text.splitlines(), f"run {row.number}")
    method = frozen_method(facts.plan)
    return StoredRun(trace, method, _frozen_rig(facts.plan, method))


def _frozen_rig(plan: Mapping[str, Any], method: Method) -> Rig:
    """The run's rig file; without one what its balance says, as the check before the run took it."""
    if plan.get("rig") is not None:
        return TypeAdapter(Rig).validate_json(json.dumps(plan["rig"]))
    spec = frozen_spec(plan)
    return Rig(
        readability_g=spec.readability_g,
        white_sd_g=spec.repeatability_g if method.weighing.mode == "interval" else None,
    )
