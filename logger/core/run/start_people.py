"""Who runs, by which approved method, and why again: the checks of a start that need people and history."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from logger.core.method import Method
from logger.core.register.methods import Approval, in_force, why_unapproved
from logger.core.register.people import People, anyone, require_role
from logger.core.register.policy import CheckPolicy
from logger.core.register.state import RegisterState
from logger.core.run.commands import Refused
from logger.core.run.plan import Sample

Note = tuple[str, str]


def check_operator(sample: Sample, people: People, policy: CheckPolicy) -> tuple[Sample, str | None]:
    """The sample with the operator's id as registered, and the operator's name; None for a typed one.

    Raises Refused, once there are people, for anyone who is no registered operator, unless the bench's
    rule is `people = "optional"`.
    """
    if not anyone(people):
        return sample, None
    try:
        person = require_role(people, sample.operator_id, "operator")
    except Refused:
        if policy.people == "required":
            raise
        return sample, None
    return replace(sample, operator_id=person.id), person.name


def check_approval(
    method: Method, plain: Mapping[str, Any], state: RegisterState, policy: CheckPolicy, utc: str
) -> tuple[Approval | None, list[Note]]:
    """The approval in force, or a deviation. Nothing is asked on a bench where no method was ever approved.

    `plain` is the method as JSON values; the approval comes without its copy of them. Raises Refused where the
    bench's rule says that it blocks.
    """
    if not state.approvals:
        return None, []
    reason = why_unapproved(state.approvals, method, plain, utc[:10])
    if not reason:
        held = in_force(state.approvals, method.method.id, utc[:10])
        return None if held is None else replace(held, frozen={}), []
    head = method.method
    text = f"Method {head.id} revision {head.revision} is not approved: {reason}."
    if policy.unapproved_method == "blocks":
        raise Refused(f"{text} Have it approved (`lastgrain method approve {head.id}`), or take another one.")
    return None, [("method-not-approved", text)]
