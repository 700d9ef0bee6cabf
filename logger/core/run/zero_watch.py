"""The zero of a bench balance, seen while the sieve is on the rig: the pan is free then."""

from __future__ import annotations

from logger.core.run.events import EventKind as E
from logger.core.run.run import Run
from logger.core.run.states import JET, RunState

SMALL_SHARE = 0.1
"""Of the charge: what lies on a pan that is used for something else is more than this."""


def watch_zero(run: Run, now_ns: int) -> None:
    """Looks at a steady pan. Far below zero someone tared: the run becomes invalid."""
    if run.live_mode or run.facts.tare_g is None or run.state is RunState.COMPUTING:
        return
    steady_g = run.mass.steady_g(now_ns)
    if steady_g is None:
        return
    if steady_g < -run.plan.bench.zero_tolerance_g or _tared_with_sieve_on(run, steady_g):
        digits = run.plan.bench.balance.decimals
        reason = f"the balance was tared or zeroed under load: it shows {steady_g:.{digits}f} g"
        run.emit(E.INVALIDATED, now_ns, reason=reason)
    elif run.state in JET or run.state is RunState.RELEASING:
        _note(run, steady_g)


def _note(run: Run, steady_g: float) -> None:
    """The pan may be used for other things meanwhile: the newest small reading counts, else the smallest."""
    if abs(steady_g) <= run.plan.bench.zero_tolerance_g:
        run.zero_g = round(steady_g, 6)
    if run.state is not RunState.SIEVING:  # before and after it the sieve itself may stand on the pan
        return
    small_g, before_g = SMALL_SHARE * run.plan.charge_target_g, run.free_pan_g
    if abs(steady_g) <= small_g or before_g is None:
        run.free_pan_g = steady_g
    elif abs(before_g) > small_g:
        run.free_pan_g = min(before_g, steady_g, key=abs)


def note_moved_zero(run: Run, now_ns: int) -> None:
    """Call it at a weighing: a free pan that was steady beside zero is a deviation."""
    free_g, run.free_pan_g = run.free_pan_g, None
    if free_g is None or abs(free_g) <= run.plan.bench.zero_tolerance_g:
        return
    off_pct = 100 * abs(free_g) / (run.facts.charge_g or 1.0)
    text = (
        f"With the sieve away the balance showed {free_g:.{run.plan.bench.balance.decimals}f} g: its zero has moved, "
        f"or something lay on the pan. The residue may be off by {off_pct:.2f} % of the charge."
    )
    run.deviation(now_ns, "balance-zero", text)


def _tared_with_sieve_on(run: Run, steady_g: float) -> bool:
    """The display shows about the charge alone while a sieve many times heavier should be under it."""
    charge_g, tare_g = run.plan.charge_target_g, run.facts.tare_g or 0.0
    about_charge = 0.5 * charge_g < steady_g < 2 * charge_g
    return run.state is RunState.CHARGING and about_charge and tare_g > 4 * charge_g
