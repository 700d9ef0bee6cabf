"""Kept runs as the result side takes them: method, balance, sieve and weighings from the run's own journal."""

from __future__ import annotations

import json
import math
import sqlite3
from collections.abc import Mapping
from typing import Any

from pydantic import TypeAdapter, ValidationError

from logger.core.joining import Belonging, KeptRun
from logger.core.method import Method
from logger.core.register.planned import planned_sieve
from logger.core.run.facts import RunFacts, fold
from logger.core.run.result import determination, endpoint_term
from logger.core.run_list import RunLine
from logger.core.weighing import BalanceSpec
from logger.store import history
from logger.store.errors import StoreError


def kept_run(connection: sqlite3.Connection, run_id: str) -> KeptRun:
    """One run with its frozen method, balance and sieve. Raises StoreError for one that cannot be read."""
    row = history.find_run(connection, run_id)
    body = history.record_body(connection, row.run_id)
    facts = fold(history.run_events(connection, row.run_id))
    plan = facts.plan
    method, spec = frozen_method(plan), frozen_spec(plan)
    done = body is not None and body["result"] is not None
    return KeptRun(
        number=row.number,
        run_id=row.run_id,
        started_at=row.started_at,
        outcome="" if body is None else body["outcome"],
        review="unreviewed" if body is None else body["review"],
        reason="" if body is None else body["reason"],
        belongs=_belonging(plan, row),
        method=method,
        spec=spec,
        planned=planned_sieve(plan.get("sieve")),
        found=determination(facts, method, spec) if done else None,
        term=endpoint_term(facts, method, spec) if done else None,
    )


def run_facts(connection: sqlite3.Connection, run_id: str) -> RunFacts:
    """What the run's journal tells. Raises StoreError."""
    return fold(history.run_events(connection, run_id))


def frozen_method(plan: Mapping[str, Any]) -> Method:
    """The method as a run froze it. Raises StoreError for one that this version cannot read."""
    try:
        return TypeAdapter(Method).validate_json(json.dumps(plan["method"]))
    except ValidationError as error:
        fault = error.errors(include_url=False)[0]
        raise StoreError(
            f"Run {plan.get('run_id', '')} was made with a method that this version cannot read ({fault['msg']}): "
            "use the version that its record names."
        ) from None


def frozen_spec(plan: Mapping[str, Any]) -> BalanceSpec:
    """The balance as a run froze it."""
    known = {name: value for name, value in plan["bench"]["balance"].items() if value is not None}
    return BalanceSpec(**({"repeatability_dof": math.inf} | known))


def _belonging(plan: dict[str, Any], line: RunLine) -> Belonging:
    """Sample and lot as corrected; all else as frozen."""
    head = plan["method"]["method"]
    return Belonging(
        sample_id=line.sample_id,
        lot=line.lot,
        method_id=head["id"],
        revision=head["revision"],
        method_sha256=plan["method_sha256"],
        aperture_um=plan["aperture_um"],
        sieve_id=plan.get("sieve_id", ""),
        simulated=plan["simulated"],
    )
