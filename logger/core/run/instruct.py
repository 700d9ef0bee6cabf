"""The one thing to do now, for each state: a key for programs, a sentence for people."""

from __future__ import annotations

from logger.core.run import care
from logger.core.run.engine import RunEngine, why_not_ready
from logger.core.run.run import Run
from logger.core.run.states import RunState
from logger.core.snapshot import Instruction

S = RunState

_ACCEPT = "Accept the weight when it is stable."
_INSPECT = "Inspect it: say that it is in order, then accept the stable weight."

LID_CLOSED = "Lid under negative pressure: keep closed."
LID_UNKNOWN = "Pressure unknown: wait, then check by hand."

IDLE = Instruction(key="idle", text="Start a new run.", detail="Choose method, sample and operator.")


def instruction(engine: RunEngine, now_ns: int) -> Instruction:
    """What the person at the bench should do now."""
    run = engine.run
    make = {
        S.PLANNED: _planned,
        S.CHECKING: _checking,
        S.TARING: _taring,
        S.CHARGING: _charging,
        S.RESTING: _resting,
        S.DRAWING_DOWN: _drawing_down,
        S.SIEVING: _sieving,
        S.HELD: _held,
        S.RELEASING: _releasing,
        S.WEIGHING: _weighing,
    }.get(run.state, _finished)
    return make(run, now_ns)


def _planned(run: Run, now_ns: int) -> Instruction:
    return Instruction(
        key="acknowledge_cautions",
        text="Read the cautions and acknowledge them with your name.",
        detail="Local rules and licensed practice come first. This tool is not a safety device.",
    )


def _checking(run: Run, now_ns: int) -> Instruction:
    return Instruction(
        key="check_instruments", text="Wait: instruments are checked.", detail=why_not_ready(run, now_ns)
    )


def _taring(run: Run, now_ns: int) -> Instruction:
    if run.live_mode and run.facts.platform_before_g is None:
        return Instruction(key="clear_platform", text="Take the sieve off the rig.", detail=_ACCEPT)
    where = "rig" if run.live_mode else "balance"
    text = f"Put the empty, clean sieve on the {where}."
    detail = _INSPECT if care.asked(run) else _ACCEPT
    return Instruction(key="weigh_empty_sieve", text=text, detail=detail)


def _charging(run: Run, now_ns: int) -> Instruction:
    charge = run.plan.method.charge
    net, portion = _net_words(run, now_ns), run.plan.portion
    what = f"{charge.mass_g:g} g of the sample"
    if portion is not None:
        digits = run.plan.bench.balance.decimals
        what = f"the residue of run {portion.from_run}, {portion.mass_g:.{digits}f} g,"
    return Instruction(
        key="weigh_charge",
        text=f"Put {what} on the sieve (within {charge.tolerance_g:g} g).",
        detail=f"{net}{_ACCEPT}",
    )


def _net_words(run: Run, now_ns: int) -> str:
    steady_g = run.mass.steady_g(now_ns)
    if steady_g is None or run.facts.tare_g is None:
        return ""
    return f"Net now {steady_g - run.facts.tare_g:.{run.plan.bench.balance.decimals}f} g. "


def _resting(run: Run, now_ns: int) -> Instruction:
    left_s = max(0.0, run.plan.method.weighing.rest_s - run.since_s(now_ns))
    return Instruction(
        key="rest", text=f"Hands off: the balance rests for {left_s:.0f} s more.", detail="Drift is measured."
    )


def _drawing_down(run: Run, now_ns: int) -> Instruction:
    suction = run.plan.method.suction
    low_pa, high_pa = suction.dp_pa - suction.band_pa, suction.dp_pa + suction.band_pa
    if run.pressure.suction_on():
        band = f"{low_pa:.0f} to {high_pa:.0f} Pa"
        text = f"Bring the pressure into its band, {band}."
        return Instruction(
            key="switch_suction_on", text=text, detail="Set the bleed valve if it does not come."
        )
    where = "" if run.live_mode else "Put the sieve on the rig, close the lid, then "
    text = f"{where}switch the suction on by hand."
    return Instruction(
        key="switch_suction_on", text=text[0].upper() + text[1:], detail="It never starts by itself."
    )


def _sieving(run: Run, now_ns: int) -> Instruction:
    target_s = run.facts.interval_target_s
    if target_s is None:
        return Instruction(key="sieving", text="Sieving. Wait for the endpoint.")
    left_s = max(0.0, target_s - run.interval_done_s())
    return Instruction(key="sieving", text=f"Sieving. {left_s:.0f} s left in this interval.")


def _held(run: Run, now_ns: int) -> Instruction:
    off = "Switch the suction off by hand. " if run.pressure.suction_on() else ""
    left_s = max(0.0, run.plan.method.endpoint.hold_max_s - run.since_s(now_ns))
    return Instruction(
        key="held",
        text=f"{off}Put right what is wrong, then resume.",
        detail=f"Held: {run.facts.held_reason}. The run becomes invalid in {left_s:.0f} s.",
    )


def _releasing(run: Run, now_ns: int) -> Instruction:
    if run.pressure.suction_on():
        why = run.facts.ended_reason or "The interval is over."
        return Instruction(
            key="switch_suction_off",
            text="Switch the suction off by hand now.",
            detail=why[:1].upper() + why[1:],
        )
    return Instruction(
        key="wait_pressure", text="Wait: the pressure is falling.", detail="Leave the lid closed."
    )


def _weighing(run: Run, now_ns: int) -> Instruction:
    if not run.live_mode:
        text = "Lift the sieve over to the balance, without lid."
    elif run.facts.sieve_read_g is None:
        text = "Hands off: the platform is read with sieve and residue."
    else:
        text = "Lift the sieve with its residue off the rig."
        return Instruction(key="clear_platform", text=text, detail=_ACCEPT)
    return Instruction(key="weigh_sieve", text=text, detail=_ACCEPT)


def _finished(run: Run, now_ns: int) -> Instruction:
    if run.state is S.AWAITING_REVIEW:
        return Instruction(
            key="finished",
            text="Clean the sieve.",
            detail="Inspect it, then close the run: it is finished and awaits review.",
        )
    return Instruction(key="finished", text=f"The run is {run.state.value}.", detail=run.facts.ended_reason)


def lid_text(run: Run, now_ns: int) -> str:
    """The only sentence about the lid that may be shown."""
    pressure = run.pressure
    if not pressure.fresh(now_ns) or pressure.frozen(now_ns):
        return LID_UNKNOWN
    if pressure.lid_may_open(now_ns):
        return "Lid may be opened."
    if pressure.dp_pa is not None and pressure.dp_pa >= run.plan.bench.alarms.lid_open_pa:
        return LID_CLOSED
    if pressure.seen_suction:
        return "Wait: the pressure is falling."
    return "No suction seen in this run: check by hand."
