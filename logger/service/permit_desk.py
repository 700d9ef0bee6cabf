"""The permit as the service keeps it: what the run wants goes to the output, how the relay stands comes back."""

from __future__ import annotations

from logger.core.ports import PermitLine
from logger.core.run.commands import Refused
from logger.core.run.engine import RunEngine
from logger.core.run.permit import permit_wanted
from logger.core.run.states import JET
from logger.core.snapshot import AlarmView, LinkState, LinkView


class PermitDesk:
    """One permit output. `port` and `kind` are as the bench file names them."""

    def __init__(self, line: PermitLine, port: str, kind: str) -> None:
        self._line, self._port, self._kind = line, port, kind
        self._link: tuple[LinkState, str] = ("absent", "Not opened yet.")
        self._engine: RunEngine | None = None
        self._granted: bool | None = None
        self._why = ""

    def set_link(self, state: LinkState, text: str) -> None:
        """The driver's newest word."""
        self._link = (state, text)

    def update(self, engine: RunEngine | None, now_ns: int) -> bool:
        """Hand on what is wanted now; call it after whatever moves a run, and else as often as time speaks.
        True when watchers should look.

        Each run's log begins with the permit it began with.
        """
        granted, self._why = permit_wanted(engine, now_ns)
        self._line.set(granted)
        news = granted is not self._granted or engine is not self._engine
        self._granted, self._engine = granted, engine
        if news and engine is not None:
            engine.note_permit(granted, self._why, now_ns)
        return news

    def view(self) -> LinkView:
        """For the row of links."""
        state, text = self._link
        word = "granted" if self._granted else "withdrawn"
        return LinkView(
            channel="permit",
            port=self._port,
            profile=self._kind,
            state=state,
            age_s=self._line.answered_age_s(),
            text=f"Permit {word}: {self._why}." if state == "up" else text,
        )

    def alarms(self) -> tuple[AlarmView, ...]:
        """What a person must know while the jet is wanted."""
        if self._engine is None or self._engine.state not in JET:
            return ()
        state, text = self._link
        if state != "up":
            words = f"Permit relay: {text} It drops out by itself; then the suction stays off for a hand to switch on."
            return (AlarmView(key="permit-link", level="alarm", text=words),)
        if not self._granted:
            words = f"Permit withdrawn, the suction stops: {self._why}."
            return (AlarmView(key="permit-withdrawn", level="alarm", text=words),)
        return ()

    def require_up(self) -> None:
        """Raises Refused when the relay is not there: without it the suction cannot be switched on."""
        state, text = self._link
        if state != "up":
            raise Refused(f"No run can start. Permit relay: {text}")
