"""How the instruments' links stand, as last told by the drivers."""

from __future__ import annotations

from collections.abc import Mapping

from logger.core.readings import Channel
from logger.core.run.commands import Refused

_NAMES = {Channel.MASS: "balance", Channel.PRESSURE: "pressure transducer"}


class Links:
    """One state and sentence for each channel; port and profile as the bench file names them."""

    def __init__(self, ports: Mapping[Channel, str], profiles: Mapping[Channel, str]) -> None:
        self._ports, self._profiles = ports, profiles
        self._state = dict.fromkeys(Channel, ("absent", "Not opened yet."))

    def set(self, channel: Channel, state: str, text: str) -> None:
        """The driver's newest word."""
        self._state[channel] = (state, text)

    def get(self, channel: Channel) -> tuple[str, str]:
        """State and sentence."""
        return self._state[channel]

    def port(self, channel: Channel) -> str:
        """Where the instrument is plugged in."""
        return self._ports[channel]

    def profile(self, channel: Channel) -> str:
        """Which dialect it speaks."""
        return self._profiles[channel]

    def require_up(self) -> None:
        """Raises Refused that names every instrument that is not there, all at once."""
        down = [
            f"{_NAMES[channel]}: {text}" for channel, (state, text) in self._state.items() if state != "up"
        ]
        if down:
            raise Refused("No run can start. " + " ".join(down))
