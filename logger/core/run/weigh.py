"""The weighings: tare, charge, load; and what follows from each."""

from __future__ import annotations

from dataclasses import dataclass

from logger.core.interval_rules import IntervalJudgement, WeighingPoint, judge_interval
from logger.core.record_assessment import kept
from logger.core.residue import Residue, ResultError, reconcile
from logger.core.run.commands import Refused
from logger.core.run.events import EventKind as E
from logger.core.run.jet import beside_band
from logger.core.run.plan import plain_json
from logger.core.run.platform import sieve_g, take_platform, weighed_gross_g
from logger.core.run.result import assess_run, determination, result_data, twice_as_long_loss_pct
from logger.core.run.run import Run
from logger.core.run.states import WEIGHED, RunState
from logger.core.run.zero_watch import note_moved_zero
from logger.core.sieve_checks import LEAST_SIEVE_G, judge_tare

WEIGHING_STATES = WEIGHED


@dataclass(frozen=True, slots=True)
class Typed:
    """A weight that was typed: by whom, who need not be the run's operator, and why."""

    mass_g: float
    by: str
    reason: str


def take_weight(run: Run, now_ns: int, typed: Typed | None = None) -> str:
    """Take the steady reading, or a typed one, as the weighing that the state asks for.

    Returns a sentence. Raises Refused with what to do; a typed weight that is refused is no deviation.
    """
    gross_g = typed.mass_g if typed is not None else run.mass.steady_g(now_ns)
    if gross_g is None:
        raise Refused(run.mass.why_not_steady(now_ns))
    gross_g = round(gross_g, 6)
    if typed is None:
        return _take(run, now_ns, gross_g, {})
    taken = _take(run, now_ns, gross_g, {"typed": True, "by": typed.by, "reason": typed.reason})
    text = f"A weight was typed by {typed.by}, not read: {gross_g:g} g ({typed.reason})."
    run.deviation(now_ns, "typed-weight", text)
    return taken


def _take(run: Run, now_ns: int, gross_g: float, extra: dict[str, object]) -> str:
    if run.live_mode and run.state is not RunState.CHARGING:
        taken = take_platform(run, now_ns, gross_g, extra)
        if taken is not None:
            return taken
    if run.state is RunState.TARING:
        return _tare(run, now_ns, gross_g, extra)
    if run.state is RunState.CHARGING:
        return _charge(run, now_ns, gross_g, extra)
    if run.state is RunState.WEIGHING:
        sieve_gross_g = weighed_gross_g(run, gross_g)
        if run.live_mode:
            run.emit(E.PLATFORM_WEIGHED, now_ns, gross_g=gross_g, when="after")
        return _load(run, now_ns, sieve_gross_g, extra)
    raise Refused(f"No weighing is asked for while the run is {run.state.value}.")


def _digits(run: Run) -> int:
    return run.plan.bench.balance.decimals


def _tare(run: Run, now_ns: int, gross_g: float, extra: dict[str, object]) -> str:
    if not run.live_mode and gross_g < LEAST_SIEVE_G:
        raise Refused(
            f"The balance shows {gross_g:.{_digits(run)}f} g: put the empty sieve on the pan (do not tare it)."
        )
    run.emit(E.TARE_WEIGHED, now_ns, gross_g=gross_g, **extra)
    _judge_tare(run, now_ns)
    return f"Empty sieve: {gross_g:.{_digits(run)}f} g."


def _judge_tare(run: Run, now_ns: int) -> None:
    """The empty sieve against its last tare after cleaning: clogging and tears show for free."""
    planned = run.plan.sieve
    if planned is None or planned.last_tare_g is None:
        return
    judged = judge_tare(sieve_g(run), planned.last_tare_g, run.plan.bench.balance, planned.tare_allowed_g)
    if judged.verdict != "as before":
        run.deviation(now_ns, "sieve-tare", f"Sieve {planned.sieve.id}: {judged.text}.")


def _charge(run: Run, now_ns: int, gross_g: float, extra: dict[str, object]) -> str:
    charge, wanted_g, digits = run.plan.method.charge, run.plan.charge_target_g, _digits(run)
    net_g = round(gross_g - (run.facts.tare_g or 0.0), 6)
    if net_g < 0.02 * wanted_g:
        raise Refused(
            f"The balance shows a charge of {net_g:.{digits}f} g: put the sample on the sieve first."
        )
    off_g = net_g - wanted_g
    if abs(off_g) > charge.tolerance_g + 1e-9:
        what = "Add powder" if off_g < 0 else "Take powder off"
        text = (
            f"The charge is {net_g:.{digits}f} g; {_asked(run)} within {charge.tolerance_g:g} g. "
            f"{what} and weigh again."
        )
        run.emit(E.CHARGE_REFUSED, now_ns, gross_g=gross_g, load_g=net_g)
        raise Refused(text)
    run.emit(E.CHARGE_WEIGHED, now_ns, gross_g=gross_g, load_g=net_g, effective_s=0.0, **extra)
    _after_charge(run, now_ns, net_g)
    return f"Charge: {net_g:.{digits}f} g."


def _asked(run: Run) -> str:
    portion = run.plan.portion
    if portion is None:
        return f"the method asks for {run.plan.method.charge.mass_g:g} g"
    return f"run {portion.from_run} left {portion.mass_g:.{_digits(run)}f} g to be carried over"


def _after_charge(run: Run, now_ns: int, charge_g: float) -> None:
    if run.live_mode:
        run.live = run.make_live_rate(run.plan, charge_g)
        run.emit(E.REST_BEGUN, now_ns, rest_s=run.plan.method.weighing.rest_s)
    else:
        run.emit(E.DRAW_DOWN_BEGUN, now_ns, interval_target_s=first_interval_s(run))


def first_interval_s(run: Run) -> float:
    """The first interval: the method's own, or the whole time of a fixed-time method."""
    method = run.plan.method
    return method.weighing.first_s or method.endpoint.time_s or 0.0


def _load(run: Run, now_ns: int, gross_g: float, extra: dict[str, object]) -> str:
    load_g = round(gross_g - (run.facts.tare_g or 0.0), 6)
    _check_load(run, gross_g, load_g)
    if "typed" not in extra:
        _check_display_moved(run)
    effective_s = round(run.pressure.effective_s, 3)
    zero = {} if run.zero_g is None else {"zero_g": run.zero_g}
    run.emit(
        E.LOAD_WEIGHED,
        now_ns,
        gross_g=gross_g,
        load_g=load_g,
        effective_s=effective_s,
        **extra,
        **zero,
        **beside_band(run),
    )
    _note_rising_loss(run, now_ns)
    note_moved_zero(run, now_ns)
    _after_load(run, now_ns)
    charge_g = run.facts.charge_g or 1.0
    return f"Load: {load_g:.{_digits(run)}f} g, {100 * load_g / charge_g:.2f} % of the charge."


def _check_load(run: Run, gross_g: float, load_g: float) -> None:
    tare_g, digits = run.facts.tare_g or 0.0, _digits(run)
    slack_g = 5 * run.plan.bench.balance.net_u_g
    if not run.live_mode and gross_g < 0.5 * tare_g:
        raise Refused(
            f"The balance shows {gross_g:.{digits}f} g: lift the sieve with its residue over to the balance."
        )
    last_g = run.facts.weighings[-1].load_g
    if load_g > last_g + slack_g:
        raise Refused(
            f"The load is {load_g:.{digits}f} g, more than the {last_g:.{digits}f} g weighed before: "
            "check that only the sieve is on the pan, without lid or brush."
        )
    if load_g < -slack_g:
        raise Refused(
            f"The sieve weighs {-load_g:.{digits}f} g less than when it was empty: "
            "check the sieve for damage and the balance's zero; abort if it is so."
        )


def _check_display_moved(run: Run) -> None:
    """The pan was empty while the jet ran: a display that has not moved since the last weighing is frozen."""
    changed_ns = run.mass.changed_ns
    if not run.live_mode and changed_ns is not None and changed_ns <= run.facts.weighings[-1].at_ns:
        raise Refused(
            "The balance has shown the very same number since the weighing before: it may be frozen. "
            "Take the sieve off the pan, look whether the display follows, and put it on again."
        )


def _note_rising_loss(run: Run, now_ns: int) -> None:
    """Sieving slows down. More lost than before, and by far more than weighing can err: say so."""
    points = run.facts.weighings[-3:]
    if run.live_mode or len(points) < 3:
        return
    first, second, third = points
    before, now = (
        60 * (a.load_g - b.load_g) / (b.effective_s - a.effective_s) if b.effective_s > a.effective_s else 0.0
        for a, b in ((first, second), (second, third))
    )
    lost_g = second.load_g - third.load_g
    if now > 1.5 * before and lost_g > 20 * run.plan.bench.balance.net_u_g:
        text = (
            f"More was lost in this interval, {now:.3f} g/min, than in the one before, {before:.3f} g/min: "
            "look for a spill, a torn sieve, or lumps that broke up."
        )
        run.deviation(now_ns, "loss-rose", text)


def _after_load(run: Run, now_ns: int) -> None:
    if run.facts.outcome:
        run.emit(E.RESULT_DUE, now_ns)
        return
    judgement = judge(run)
    run.emit(E.DECIDED, now_ns, **decision_data(judgement))
    elapsed_s = run.facts.elapsed_s(now_ns) or 0.0
    if judgement.stop:
        run.emit(E.ENDPOINT_REACHED, now_ns, elapsed_s=round(elapsed_s, 3), reason=judgement.text)
    elif elapsed_s >= run.plan.method.endpoint.max_time_s:
        limit = f"the time limit of {run.plan.method.endpoint.max_time_s:g} s was reached before the endpoint"
        run.emit(E.TIME_LIMIT_REACHED, now_ns, elapsed_s=round(elapsed_s, 3), reason=limit)
    else:
        run.emit(E.DRAW_DOWN_BEGUN, now_ns, interval_target_s=judgement.next_interval_s)


def judge(run: Run) -> IntervalJudgement:
    """The interval rule on the weighings so far."""
    points = [WeighingPoint(w.effective_s, w.load_g) for w in run.facts.weighings]
    return judge_interval(run.plan.method, points[0].load_g, points, run.plan.bench.balance.mass_u_g)


def decision_data(judgement: IntervalJudgement) -> dict[str, object]:
    """The decision with the numbers that made it, for the record."""
    return {
        "stop": judgement.stop,
        "rule": judgement.rule,
        "value": judgement.value,
        "value_u": judgement.value_u,
        "limit": judgement.limit,
        "unit": judgement.unit,
        "residue_pct": judgement.residue_pct,
        "open_conditions": list(judgement.open_conditions),
        "next_interval_s": judgement.next_interval_s,
        "text": judgement.text,
    }


def compute(run: Run, now_ns: int) -> None:
    """State computing: residue, passing and assessment from the weighings, or invalid with the reason."""
    method, spec = run.plan.method, run.plan.bench.balance
    try:
        found = determination(run.facts, method, spec)
        assessed = assess_run(run.facts, method, spec, run.plan.sieve, found)
    except ResultError as error:
        run.emit(E.INVALIDATED, now_ns, reason=str(error))
        return
    run.emit(
        E.RESULT_COMPUTED,
        now_ns,
        live_difference_pct=_reconcile(run, now_ns, found),
        **result_data(found),
        assessment=plain_json(kept(assessed, twice_as_long_loss_pct(run.facts, method))),
    )


def _reconcile(run: Run, now_ns: int, found: Residue) -> float | None:
    """Live load less weighed residue in % of the charge; None in interval mode. Too far apart: a deviation."""
    live_g = None if run.live is None else run.live.state().load_g
    if live_g is None:
        return None
    joined = reconcile(live_g, found, run.plan.method.weighing.reconcile_pct)
    if not joined.within:
        run.deviation(now_ns, "live-load-differs", joined.text[0].upper() + joined.text[1:] + ".")
    return joined.difference_pct
