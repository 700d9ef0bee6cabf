"""What a run of a sample begins with: the sieve that is next, and the portion that is carried over."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from logger.core.method import Method
from logger.core.run.commands import Refused
from logger.core.run.plan import CarriedPortion
from logger.core.worklist.job import NextStep, RunMade


def with_next_sieve(args: Mapping[str, Any], step: NextStep | None, registered: bool) -> dict[str, Any]:
    """The arguments of a start, with the aperture that is next where neither they nor a sieve name one."""
    if registered or step is None or args.get("aperture_um") is not None:
        return dict(args)
    return {**args, "aperture_um": step.aperture_um}


def carried_portion(
    method: Method, step: NextStep | None, runs: Sequence[RunMade], aperture_um: float
) -> CarriedPortion | None:
    """The portion that lies on the sieve before; None for a fresh one.

    Raises Refused for a sieve that one portion cannot be carried to now.
    """
    finest = method.sieve.all_um[0]
    if method.sieve.portion != "same" or aperture_um == finest:
        return None
    if step is None or step.portion != "same" or step.aperture_um != aperture_um or step.carried_g is None:
        next_um = finest if step is None else step.aperture_um
        raise Refused(
            "One portion is carried from the finest sieve upwards, each sieve in its turn: "
            f"next is {next_um:g} µm, not {aperture_um:g} µm."
        )
    run_id = next(run.run_id for run in runs if run.number == step.carried_from)
    return CarriedPortion(from_run=step.carried_from or 0, run_id=run_id, mass_g=step.carried_g)
