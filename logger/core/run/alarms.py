"""What needs a person now. Each alarm stays until its cause is gone; only a change is an event.

This is asked at every reading, so a sentence with figures is only made for an alarm that is on.
"""

from __future__ import annotations

from logger.core.readings import Channel, Quality
from logger.core.run.pressure import SUCTION_SEEN_SHARE
from logger.core.run.run import Run
from logger.core.run.states import JET, WEIGHED, RunState

PRESSURE_LOST_S = 1.0
UNSTABLE_S = 60.0
"""A weighing that waits for a steady reading longer than this is told why."""
MARK_WORDS = {
    Quality.OVERLOAD: " (it shows overload)",
    Quality.UNDERLOAD: " (it shows underload: the two hoses may be swapped)",
}
"""What the mark of a transducer means, beside "no valid reading"."""
STILL_LIVE_S = 10.0
"""A platform under a jet that shows one number this long is not measuring."""
STILL_LOADED_S = 10.0
"""By then a sieve that is under the jet has left the pan, and its weight the display."""
REACH_BAND_S = 60.0
"""Longer than this to reach the band and the operator is told what is missing."""


def update(run: Run, now_ns: int) -> None:
    """Raise and clear every alarm for the moment."""
    _pressure_high(run, now_ns)
    _pressure_lost(run, now_ns)
    _pressure_frozen(run, now_ns)
    _pressure_inverted(run, now_ns)
    _band_not_reached(run, now_ns)
    _release(run, now_ns)
    _held_jet(run, now_ns)
    _mass(run, now_ns)
    _mass_unstable(run, now_ns)
    _mass_frozen(run, now_ns)


def _pressure_high(run: Run, now_ns: int) -> None:
    high_pa = run.plan.bench.alarms.dp_high_pa
    dp_pa = run.pressure.dp_pa or 0.0
    high, text = dp_pa > high_pa and run.pressure.fresh(now_ns), ""
    if high:
        text = f"Pressure {dp_pa:.0f} Pa is above {high_pa:.0f} Pa: switch the suction off, look for a blocked line."
    run.set_alarm(now_ns, "dp-high", high, "alarm", text)


def _pressure_lost(run: Run, now_ns: int) -> None:
    pressure = run.pressure
    low = (pressure.dp_pa or 0.0) < SUCTION_SEEN_SHARE * pressure.suction.dp_pa
    lost = run.state is RunState.SIEVING and low and pressure.outside_s(now_ns) > PRESSURE_LOST_S
    text = "Pressure lost: check hose, lid and extractor. Effective time stands still."
    run.set_alarm(now_ns, "dp-lost", lost, "alarm", text)
    stale = run.state not in (RunState.PLANNED, RunState.CHECKING) and not pressure.fresh(now_ns)
    text = "Pressure unknown: no reading. Wait, then check by hand before you open the lid."
    run.set_alarm(now_ns, "dp-unknown", stale, "alarm", text)


def _pressure_frozen(run: Run, now_ns: int) -> None:
    frozen, text = run.state is RunState.SIEVING and run.pressure.frozen(now_ns), ""
    if frozen:
        text = f"The pressure has shown exactly the same number for {run.pressure.frozen_s:.0f} s: check the transducer."
    run.set_alarm(now_ns, "dp-frozen", frozen, "warning", text)
    if frozen:
        run.deviation(now_ns, "dp-frozen", "The pressure reading stood still: effective time rests on it.")


def _pressure_inverted(run: Run, now_ns: int) -> None:
    dp_pa, limit_pa = run.pressure.dp_pa or 0.0, run.plan.bench.alarms.lid_open_pa
    known = run.state is not RunState.PLANNED
    below = run.pressure.fresh(now_ns) and dp_pa < -limit_pa
    under = run.dp_quality is Quality.UNDERLOAD
    inverted, text = known and (below or under), ""
    if inverted:
        shown = "shows underload" if under else f"shows {dp_pa:.0f} Pa"
        text = f"The pressure transducer {shown}, below zero: the two hoses are swapped. Switch off, exchange them."
    run.set_alarm(now_ns, "dp-inverted", inverted, "alarm", text)
    over = run.dp_quality is Quality.OVERLOAD
    text = "The pressure transducer shows overload: switch the suction off, look for a blocked line."
    run.set_alarm(now_ns, "dp-overload", known and over, "alarm", text)


def _band_not_reached(run: Run, now_ns: int) -> None:
    suction = run.plan.method.suction
    low_pa, high_pa = suction.dp_pa - suction.band_pa, suction.dp_pa + suction.band_pa
    dp_pa = run.pressure.dp_pa or 0.0
    waiting = run.state is RunState.DRAWING_DOWN and run.pressure.suction_on()
    seen = run.suction_seen_segment == run.facts.segment
    on_s = (now_ns - run.suction_seen_ns) / 1e9 if seen else 0.0
    # At the edge of the band it comes in and goes out with every reading: the alarm stands until it has settled.
    unsettled = "band-not-reached" in run.alarms or not run.pressure.in_band(run.pressure.dp_pa)
    late = waiting and on_s > REACH_BAND_S and unsettled
    text = (
        f"Pressure {dp_pa:.0f} Pa has not settled in its band of {low_pa:.0f} to {high_pa:.0f} Pa: "
        "set the bleed valve, check filter, hose and lid."
    )
    run.set_alarm(now_ns, "band-not-reached", late, "warning", text)
    outside, text = run.state is RunState.SIEVING and run.outside_band, ""
    if outside:
        text = (
            f"Pressure {dp_pa:.0f} Pa is outside {low_pa:.0f} to {high_pa:.0f} Pa: this time does not count."
        )
    run.set_alarm(now_ns, "out-of-band", outside, "warning", text)


def _release(run: Run, now_ns: int) -> None:
    pressure, alarms = run.pressure, run.plan.bench.alarms
    releasing = run.state is RunState.RELEASING
    late = releasing and run.since_s(now_ns) > alarms.release_timeout_s
    dp_pa = pressure.dp_pa or 0.0
    still_up, text = late and dp_pa >= alarms.lid_open_pa, ""
    if still_up:
        text = f"The pressure does not fall: {dp_pa:.0f} Pa. Switch the suction off; leave the lid closed."
    run.set_alarm(now_ns, "dp-not-falling", still_up, "alarm", text)


def _held_jet(run: Run, now_ns: int) -> None:
    on = run.state is RunState.HELD and run.pressure.suction_on() and run.since_s(now_ns) > 15.0
    text = "The run is held but the suction is on: switch it off by hand."
    run.set_alarm(now_ns, "held-jet", on, "warning", text)


def _mass(run: Run, now_ns: int) -> None:
    link_lost = run.links[Channel.MASS] != "up" or not run.mass.fresh(now_ns)
    known = run.state not in (RunState.PLANNED, RunState.CHECKING)
    # In live mode a longer gap holds the run, and a hold is ended by a person.
    then = "A longer gap holds the run." if run.live_mode else "The run goes on when it is back."
    text = f"No reading from the balance: check its cable and power. {then}"
    run.set_alarm(
        now_ns, "balance-silent", known and link_lost, "alarm" if run.live_mode else "warning", text
    )
    over = run.mass.last is not None and run.mass.last.quality is Quality.OVERLOAD
    text = "The balance shows overload: take load off the pan."
    run.set_alarm(now_ns, "balance-overload", over, "alarm", text)
    if known and link_lost and run.state in JET and run.live_mode:
        run.deviation(now_ns, "mass-gap", "Mass was not read for part of the live run.")


def _mass_unstable(run: Run, now_ns: int) -> None:
    asked = run.state in WEIGHED and run.since_s(now_ns) > UNSTABLE_S
    unstable = asked and run.mass.unsteady_s(now_ns) > UNSTABLE_S
    marked = run.mass.last is not None and run.mass.last.stable is False
    why = "marks its readings as not stable" if marked else "does not stand still"
    text = (
        f"The balance {why} for {UNSTABLE_S:.0f} s, so nothing can be weighed: "
        "look for draughts, vibration, a pan that touches, or a stability setting that is too strict."
    )
    run.set_alarm(now_ns, "balance-unstable", unstable, "warning", text)


def _mass_frozen(run: Run, now_ns: int) -> None:
    """Beside the rig: the weight of a sieve that is elsewhere. Under it: the estimator's word."""
    frozen, text = (
        False,
        "The balance has shown the same digits for too long: no endpoint can be found on them.",
    )
    changed_s = (now_ns - (run.mass.changed_ns or now_ns)) / 1e9
    if run.state is RunState.SIEVING and run.live is not None:
        # The estimator leaves out each block of equal digits; a person is told when it goes on.
        frozen = run.live.frozen and changed_s > STILL_LIVE_S
    elif run.state is RunState.SIEVING and run.mass.fresh(now_ns):
        shown_g = run.mass.last.value if run.mass.last is not None else None
        loaded = shown_g is not None and shown_g > 0.5 * (run.facts.tare_g or 0.0)
        frozen = loaded and changed_s > STILL_LOADED_S and run.since_s(now_ns) > STILL_LOADED_S
        text = (
            f"The balance still shows {shown_g or 0.0:g} g although the sieve should be on the rig: "
            "it may be frozen. Look whether the display follows."
        )
    run.set_alarm(now_ns, "balance-frozen", frozen, "warning", text)
    if frozen and run.live_mode:
        run.deviation(
            now_ns, "balance-frozen", "The balance showed the same digits for part of the live run."
        )
