"""Weighing the sieve on a platform that carries the whole unit: each time as a difference, with and without it.

Dust that stays in housing or hose stays on the platform. It would be taken for residue if the platform were
only read once; the difference weighs the sieve alone, and the live load is reconciled with it afterwards.
"""

from __future__ import annotations

from logger.core.run.commands import Refused
from logger.core.run.events import EventKind as E
from logger.core.run.run import Run
from logger.core.run.states import RunState
from logger.core.sieve_checks import LEAST_SIEVE_G


def take_platform(run: Run, now_ns: int, gross_g: float, extra: dict[str, object]) -> str | None:
    """The steps in which the sieve itself is not yet weighed: a sentence, or None when it is now.

    Raises Refused when the sieve is not where it should be.
    """
    if run.state is RunState.TARING:
        return _before(run, now_ns, gross_g, extra)
    if run.state is RunState.WEIGHING and run.facts.sieve_read_g is None:
        return _with_residue(run, now_ns, gross_g, extra)
    return None


def _before(run: Run, now_ns: int, gross_g: float, extra: dict[str, object]) -> str | None:
    before_g, digits = run.facts.platform_before_g, run.plan.bench.balance.decimals
    if before_g is None or gross_g < before_g - LEAST_SIEVE_G:
        # Lighter than before: the sieve was still on the rig at the first reading, which is taken again.
        run.emit(E.PLATFORM_WEIGHED, now_ns, gross_g=gross_g, when="before", **extra)
        return f"Platform without sieve: {gross_g:.{digits}f} g."
    if gross_g < before_g + LEAST_SIEVE_G:
        raise Refused(
            "The platform weighs no more than before: put the empty sieve on the rig. If it stood there before, "
            "take it off and accept once more."
        )
    return None


def _with_residue(run: Run, now_ns: int, gross_g: float, extra: dict[str, object]) -> str:
    digits = run.plan.bench.balance.decimals
    if gross_g < (run.facts.platform_before_g or 0.0) + 0.5 * sieve_g(run):
        raise Refused(
            f"The platform shows {gross_g:.{digits}f} g: leave the sieve on the rig for this reading."
        )
    run.emit(E.SIEVE_READ, now_ns, gross_g=gross_g, **extra)
    return f"With residue: {gross_g:.{digits}f} g. Now lift the sieve off the rig."


def sieve_g(run: Run) -> float:
    """Mass of the empty sieve, from the two readings before the charge."""
    return (run.facts.tare_g or 0.0) - (run.facts.platform_before_g or 0.0)


def weighed_gross_g(run: Run, gross_g: float) -> float:
    """What the balance would show for the sieve with its residue if nothing had stayed on the platform.

    Interval mode: the reading itself. Live mode: `gross_g` is the platform without the sieve, and its shift
    since the first reading is taken off. Raises Refused while the sieve is still on it.
    """
    if not run.live_mode:
        return gross_g
    read_g = run.facts.sieve_read_g or 0.0
    if gross_g > read_g - 0.5 * sieve_g(run):
        raise Refused("The platform still carries the sieve: lift it off the rig, with its residue.")
    return round(read_g - (gross_g - (run.facts.platform_before_g or 0.0)), 6)
