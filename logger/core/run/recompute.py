"""Corrections of what was entered, and the figures that follow from them where a recomputation is right.

Right it is where the same run with the right figures would have gone the same way: weighings that were typed, at
a balance beside the rig, whose charge and loads are still possible and whose endpoint still is one.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import asdict
from itertools import pairwise
from typing import Any

from logger.core.interval_rules import WeighingPoint, judge_interval
from logger.core.method import Method
from logger.core.record import record_endpoint, record_weighing
from logger.core.record_assessment import kept
from logger.core.refusal import ResultError
from logger.core.register.planned import PlannedSieve
from logger.core.review import Change
from logger.core.run.commands import Refused
from logger.core.run.events import Event, EventKind
from logger.core.run.facts import RunFacts
from logger.core.run.plan import plain_json
from logger.core.run.result import assess_run, determination, result_data, twice_as_long_loss_pct
from logger.core.run.weigh import decision_data
from logger.core.text import clean_text
from logger.core.weighing import BalanceSpec

_SAMPLE = {"sample_id": 64, "lot": 64, "point": 64, "sampled_at": 40}
_LONGEST_REMARK = 500
_INSTEAD = "declare the run invalid instead (`lastgrain runs invalidate`) and test again"


def read_changes(body: Mapping[str, Any], facts: RunFacts, wanted: Mapping[str, Any]) -> list[Change]:
    """What differs from the record: `sample_id`, `lot`, `point`, `sampled_at`, `remark`, `tare_g`, and
    `weighings` by their number from 0, the charge. Raises Refused naming what cannot be corrected."""
    unknown = sorted(set(wanted) - {*_SAMPLE, "remark", "tare_g", "weighings"})
    if unknown:
        raise Refused(f"There is nothing to correct that is called {', '.join(unknown)}.")
    found = [_sample_change(body, name, wanted[name]) for name in _SAMPLE if wanted.get(name) is not None]
    remark = clean_text("remark", wanted.get("remark") or "", _LONGEST_REMARK)
    found += [Change(what="remark", before=None, after=remark)] if remark else []
    if wanted.get("tare_g") is not None:
        _require_typed(facts.tare_typed, "The tare")
        found.append(Change(what="tare_g", before=body["tare_g"], after=_grams("tare_g", wanted["tare_g"])))
    weighings = wanted.get("weighings") or {}
    if not isinstance(weighings, Mapping):
        raise Refused("weighings must say the mass for each number.")
    found += [_weighing_change(body, str(number), mass) for number, mass in sorted(weighings.items())]
    return [change for change in found if change.before != change.after]


def _sample_change(body: Mapping[str, Any], name: str, given: object) -> Change:
    text = clean_text(name.replace("_", " "), given, _SAMPLE[name])
    if name == "sample_id" and not text:
        raise Refused("A run has a sample: type its id.")
    return Change(what=f"sample.{name}", before=body["sample"][name], after=text)


def _weighing_change(body: Mapping[str, Any], number: str, given: object) -> Change:
    weighings = body["weighings"]
    if not number.isdecimal() or not number.isascii() or int(number) >= len(weighings):
        raise Refused(
            f"There is no weighing {number[:8]!r} in this run; it has 0 (the charge) to {len(weighings) - 1}."
        )
    weighed = weighings[int(number)]
    _require_typed(weighed["typed"], f"Weighing {number}")
    what = f"weighings.{int(number)}.gross_g"
    return Change(what=what, before=weighed["gross_g"], after=_grams(what, given))


def _require_typed(typed: bool, what: str) -> None:
    if not typed:
        raise Refused(f"{what} was read from the balance, not typed: if it is wrong, {_INSTEAD}.")


def _grams(name: str, given: object) -> float:
    if isinstance(given, bool) or not isinstance(given, int | float) or not math.isfinite(given):
        raise Refused(f"{name} must be a mass in g, not {given!r}.")
    return round(float(given), 6)


def recomputed(
    facts: RunFacts,
    changes: list[Change],
    method: Method,
    spec: BalanceSpec,
    planned: PlannedSieve | None,
) -> dict[str, Any]:
    """The record's fields that follow from corrected masses; nothing when no mass was corrected.

    Changes `facts`. Raises Refused where the run would have gone another way with these masses.
    """
    if not any(change.what.endswith("_g") for change in changes):
        return {}
    if method.weighing.mode == "live":
        raise Refused(f"A run that was weighed while the jet ran is not computed again: {_INSTEAD}.")
    plain = {"changes": [asdict(change) for change in changes]}
    facts.apply(Event(EventKind.CORRECTED, 0, facts.ended_utc, plain))
    if not facts.weighings:
        return {"tare_g": facts.tare_g}
    _require_possible(facts, method, spec)
    fields: dict[str, Any] = {
        "tare_g": facts.tare_g,
        "weighings": [asdict(record_weighing(weighed, facts.charge_g)) for weighed in facts.weighings],
    }
    if not facts.result:
        return fields
    facts.decision = _decision(facts, method, spec)
    return (
        fields | {"endpoint": asdict_or_none(record_endpoint(facts))} | _figures(facts, method, spec, planned)
    )


def _require_possible(facts: RunFacts, method: Method, spec: BalanceSpec) -> None:
    charge_g, slack_g = facts.charge_g or 0.0, 5 * spec.net_u_g
    target_g = (facts.plan.get("portion") or {}).get("mass_g", method.charge.mass_g)
    if abs(charge_g - target_g) > method.charge.tolerance_g + 1e-9:
        raise Refused(
            f"The charge would be {charge_g:g} g; the method asks for {target_g:g} g within "
            f"{method.charge.tolerance_g:g} g: {_INSTEAD}."
        )
    loads_g = [weighed.load_g for weighed in facts.weighings]
    rises = any(later > earlier + slack_g for earlier, later in pairwise(loads_g))
    if rises or min(loads_g) < -slack_g:
        raise Refused("With these masses the load would rise, or fall below nothing: look at them again.")


def _decision(facts: RunFacts, method: Method, spec: BalanceSpec) -> dict[str, Any]:
    """The newest decision on the masses as they are now, of the weighings that it was made on.

    Each decision before must still be to go on, and the newest to stop where the run ended at its endpoint.
    """
    points = [WeighingPoint(weighed.effective_s, weighed.load_g) for weighed in facts.weighings]
    decision = facts.decision
    for count in range(2, facts.decided_on + 1):
        try:
            judged = judge_interval(method, points[0].load_g, points[:count], spec.mass_u_g)
        except ValueError as error:
            raise Refused(f"These masses cannot be meant: {error}.") from None
        ended = facts.outcome == "endpoint" and count == facts.decided_on
        if judged.stop and not ended:
            said = judged.text.rstrip(".")
            raise Refused(
                f"With these masses the run would have ended at weighing {count - 1} ({said}): {_INSTEAD}."
            )
        if ended and not judged.stop:
            raise Refused(
                f"With these masses the run would not have stopped there ({'; '.join(judged.open_conditions)}): "
                f"{_INSTEAD}."
            )
        decision = decision_data(judged)
    return decision


def _figures(
    facts: RunFacts, method: Method, spec: BalanceSpec, planned: PlannedSieve | None
) -> dict[str, Any]:
    try:
        found = determination(facts, method, spec)
        assessed = assess_run(facts, method, spec, planned, found)
    except ResultError as refusal:
        raise Refused(f"No result follows from these masses: {refusal}.") from None
    difference = {"live_difference_pct": facts.result.get("live_difference_pct")}
    whole = plain_json(kept(assessed, twice_as_long_loss_pct(facts, method)))
    return {"result": result_data(found) | difference, "assessment": whole}


def asdict_or_none(part: Any) -> dict[str, Any] | None:
    """A dataclass as JSON values; None stays None."""
    return None if part is None else asdict(part)
