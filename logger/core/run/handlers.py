"""What each command does, and when it may be given."""

from __future__ import annotations

from collections.abc import Callable

from logger.core.run import care, jet, weigh
from logger.core.run.commands import Command, Do, Refused
from logger.core.run.events import EventKind as E
from logger.core.run.run import Run
from logger.core.run.states import ACTIVE, RunState
from logger.core.text import clean_text

S = RunState

_WHEN: dict[Do, frozenset[RunState]] = {
    Do.ACKNOWLEDGE: frozenset({S.PLANNED}),
    Do.ACCEPT_WEIGHT: weigh.WEIGHING_STATES,
    Do.TYPE_WEIGHT: weigh.WEIGHING_STATES,
    Do.HOLD: frozenset({S.DRAWING_DOWN, S.SIEVING}),
    Do.RESUME: frozenset({S.HELD}),
    Do.STOP: frozenset({S.DRAWING_DOWN, S.SIEVING, S.HELD, S.RELEASING, S.WEIGHING}),
    Do.NOTE: ACTIVE | {S.AWAITING_REVIEW},
    Do.SIEVE_CARE: care.BEFORE | care.AFTER,
    Do.LID_DEPOSITS: care.LID_OFF,
    Do.RELEASED_BY_HAND: frozenset({S.RELEASING}),
    Do.ABORT: ACTIVE,
    Do.CLOSE: frozenset({S.AWAITING_REVIEW}),
}


def can(run: Run) -> tuple[Do, ...]:
    """Commands that the state and the facts allow."""
    return tuple(do for do, states in _WHEN.items() if run.state in states and _also(run, do))


def _also(run: Run, do: Do) -> bool:
    if do is Do.STOP:
        return not run.facts.outcome
    if do is Do.SIEVE_CARE:
        return care.asked(run)
    if do is Do.RELEASED_BY_HAND:
        return not run.pressure.seen_suction or "dp-not-falling" in run.alarms or "dp-unknown" in run.alarms
    return True


def _reason(command: Command) -> str:
    reason = clean_text("reason", command.args.get("reason", ""), longest=200)
    if not reason:
        raise Refused("Give a reason: it goes into the record.")
    return reason


def _acknowledge(run: Run, command: Command, now_ns: int) -> str:
    name = clean_text("name", command.args.get("name", ""), longest=64)
    if not name:
        raise Refused("Type your name to acknowledge the cautions.")
    run.emit(E.CAUTIONS_ACKNOWLEDGED, now_ns, name=name)
    return f"Cautions acknowledged by {name}."


def _accept(run: Run, command: Command, now_ns: int) -> str:
    return weigh.take_weight(run, now_ns)


def _type(run: Run, command: Command, now_ns: int) -> str:
    mass_g = command.args.get("mass_g")
    if not isinstance(mass_g, int | float) or isinstance(mass_g, bool) or not -1e5 < mass_g < 1e5:
        raise Refused("Type the weight in grams as a number, for example 412.356.")
    return weigh.take_weight(run, now_ns, weigh.Typed(float(mass_g), command.by, _reason(command)))


def _hold(run: Run, command: Command, now_ns: int) -> str:
    run.emit(E.HELD, now_ns, by=command.by, reason=_reason(command))
    return "Held. Switch the suction off by hand; effective time stands still."


def _resume(run: Run, command: Command, now_ns: int) -> str:
    reason = _reason(command)
    jet.close_hold(run, now_ns)
    run.emit(E.RESUMED, now_ns, by=command.by, reason=reason)
    return "Resumed: a new segment begins when the pressure is in its band."


def _stop(run: Run, command: Command, now_ns: int) -> str:
    if run.facts.suction_start_ns is None:
        raise Refused("Nothing has been sieved yet: abort the run instead.")
    reason = _reason(command)
    jet.close_hold(run, now_ns)
    run.emit(E.STOPPED, now_ns, by=command.by, reason=reason)
    return "Stopped by hand. The residue is weighed; the result says 'stopped', not 'endpoint'."


def _abort(run: Run, command: Command, now_ns: int) -> str:
    run.emit(E.ABORTED, now_ns, by=command.by, reason=_reason(command))
    return "Aborted: the record is kept, without a result."


def _note(run: Run, command: Command, now_ns: int) -> str:
    kind = clean_text("kind", command.args.get("kind", "other"), longest=40) or "other"
    text = clean_text("text", command.args.get("text", ""), longest=500)
    run.emit(E.NOTED, now_ns, by=command.by, note=kind, text=text)
    if run.live is not None and kind != "other":
        run.live.note_hands(run.facts.elapsed_s(now_ns) or 0.0)
    return "Noted."


def _released(run: Run, command: Command, now_ns: int) -> str:
    reason = _reason(command)
    run.deviation(
        now_ns, "release-by-hand", f"The fallen pressure was confirmed by hand, not measured ({reason})."
    )
    run.emit(E.PRESSURE_RELEASED, now_ns, how="by hand", by=command.by)
    return "Taken from your check by hand."


def _close(run: Run, command: Command, now_ns: int) -> str:
    run.emit(E.CLOSED, now_ns, by=command.by)
    return "Closed. The run stays in the history, unreviewed."


HANDLERS: dict[Do, Callable[[Run, Command, int], str]] = {
    Do.ACKNOWLEDGE: _acknowledge,
    Do.ACCEPT_WEIGHT: _accept,
    Do.TYPE_WEIGHT: _type,
    Do.HOLD: _hold,
    Do.RESUME: _resume,
    Do.STOP: _stop,
    Do.ABORT: _abort,
    Do.NOTE: _note,
    Do.SIEVE_CARE: care.note_sieve,
    Do.LID_DEPOSITS: care.note_lid,
    Do.RELEASED_BY_HAND: _released,
    Do.CLOSE: _close,
}
