"""Whether the suction is permitted now. The permit never starts anything: software can only withdraw it.

The relay behind it lets a contactor stay in that a hand has switched on; when the permit is withdrawn the
jet stops and stays off until a hand switches it on again.
"""

from __future__ import annotations

from logger.core.run.engine import RunEngine
from logger.core.run.states import JET, RunState

_WHY_NOT: dict[RunState, str] = {
    RunState.PLANNED: "the cautions are not acknowledged yet",
    RunState.CHECKING: "the instruments are being checked",
    RunState.TARING: "the empty sieve is weighed",
    RunState.CHARGING: "the charge is weighed",
    RunState.RESTING: "the balance rests",
    RunState.HELD: "the run is held",
    RunState.RELEASING: "the suction is to be off",
    RunState.WEIGHING: "the load is weighed and the lid may be open",
    RunState.COMPUTING: "the result is computed",
    RunState.AWAITING_REVIEW: "the run is finished; it comes back when the run is closed",
    RunState.ABORTED: "the run was aborted; it comes back when the run is closed",
    RunState.INVALID: "the run became invalid; it comes back when the run is closed",
    RunState.INTERRUPTED: "the run was interrupted",
    RunState.CLOSED: "the run is closed",
}


def permit_wanted(engine: RunEngine | None, now_ns: int) -> tuple[bool, str]:
    """Granted or withdrawn, and why (half a sentence).

    Without a run on the bench the rig is free. In a run the jet is wanted in draw-down and sieving only, and
    only while the pressure is known and not too high. A run that has ended keeps the permit withdrawn until a
    person closes it, so that an abort stops the jet as well.
    """
    if engine is None:
        return True, "no run is open"
    if engine.state not in JET:
        return False, _WHY_NOT[engine.state]
    if not engine.run.pressure.fresh(now_ns):
        return False, "the pressure is not known"
    if "dp-high" in engine.run.alarms:
        return False, "the pressure is too high"
    return True, "sieving" if engine.state is RunState.SIEVING else "the suction may be switched on by hand"
