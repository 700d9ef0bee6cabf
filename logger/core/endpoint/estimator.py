"""The live endpoint: readings in, one by one; rate, certainty and decision out. Causal, no clock of its own.

Times are s since suction start on the run's clock, negative during the rest before. See docs/endpoint.md.
"""

from __future__ import annotations

import math

from logger.core.endpoint.assessment import Assessment, Forecast
from logger.core.endpoint.blocks import Block, BlockBuilder
from logger.core.endpoint.decision import Decision
from logger.core.endpoint.forecast import forecast_crossing
from logger.core.endpoint.frozen import FrozenWatch
from logger.core.endpoint.gate import PressureGate
from logger.core.endpoint.parameters import Tuning
from logger.core.endpoint.tracker import TailTracker
from logger.core.method import Endpoint, Suction, Weighing
from logger.core.rig import Rig

DEFAULT = Tuning()
BULK_PCT_PER_S = 0.05
FIRST_S = 60.0
"""In the first minute of sieving the load falls at least this fast: digits that stand still are frozen."""
LIMIT_FOR_DISPLAY = 0.1
"""Sets the scale of the drift prior under the fixed-time rule, which has no limit of its own."""


class LossRateEstimator:
    """Follows one run. Feed it with `add`, ask `assessment`; `stop` stays set once the endpoint was found.

    `nozzle_rpm` is the method's speed, used where the rig file has none. Raises ValueError for a charge
    that is not above zero.
    """

    def __init__(
        self,
        endpoint: Endpoint,
        suction: Suction,
        weighing: Weighing,
        rig: Rig,
        charge_g: float,
        nozzle_rpm: float | None = None,
        tuning: Tuning = DEFAULT,
    ) -> None:
        if not charge_g > 0:
            raise ValueError(f"the charge must be above zero, not {charge_g} g")
        self._endpoint, self._tuning, self._rig = endpoint, tuning, rig
        self._pct = 100.0 / charge_g
        self._limit = endpoint.limit_pct_per_min or LIMIT_FOR_DISPLAY
        rpm = rig.nozzle_rpm or nozzle_rpm
        self._gate = PressureGate(suction, tuning.fresh_s)
        self._blocks = BlockBuilder(tuning, 60.0 / rpm if rpm else None)
        self._tracker = TailTracker(tuning, rig, suction.dp_pa, self._limit, self._pct)
        self._frozen = FrozenWatch(rig.readability_g * self._pct)
        self._decision = Decision(tuning, endpoint, self._limit)
        self._t: float | None = None
        self._last_mass_t = -math.inf
        self._jet_on = False
        self._deciding = True
        self._forecast: Forecast | None = None
        self._stopped: Assessment | None = None
        self._open: tuple[str, ...] = ("readings: none since suction started",)

    # --- readings -----------------------------------------------------------------------------------

    def add(
        self,
        t_s: float,
        mass_g: float | None,
        dp_pa: float | None,
        stable: bool = True,
        deciding: bool = True,
    ) -> None:
        """One moment of the run; None where an instrument had no reading.

        `stable` is taken and not used: a balance under a jet is never stable. `deciding` is false while the run is
        held: the powder may go on passing, but the method's time stands still and nothing ends the run. Raises
        ValueError when time falls or a value is not finite.
        """
        self._deciding = deciding
        self._check(t_s, mass_g, dp_pa)
        if not self._jet_on and t_s >= 0:
            self._leave_rest()
        self._gate.add(t_s, dp_pa, deciding)
        self._t = t_s
        if mass_g is None:
            return
        if not self._is_frozen(t_s, mass_g * self._pct):
            self._take_mass(t_s, mass_g * self._pct)

    def _take_mass(self, t_s: float, mass: float) -> None:
        gap = self._jet_on and t_s - self._last_mass_t > self._tuning.fresh_s
        if gap:
            self._decision.gap_until_s = t_s
        self._last_mass_t = t_s
        gate_open = self._gate.open_for_s(t_s) is not None
        dp = self._gate.dp_pa if gate_open or not self._jet_on else None
        usable = gate_open or not self._jet_on or not self._gate.known
        block = self._blocks.add(t_s, self._gate.theta_s, mass, dp, usable)
        if block is not None:
            self._take(block)
        if gap:
            # What is open is said of the rate now, not of the one before the gap.
            self._tracker.look_ahead(self._gate.theta_s)
            self._judge(t_s)

    def _is_frozen(self, t_s: float, mass: float) -> bool:
        tracker = self._tracker
        rate_per_s = BULK_PCT_PER_S if self._jet_on and t_s < FIRST_S else 0.0
        if self._jet_on and tracker.following:
            rate_per_s = tracker.rate()[0] / 60.0
        before = self._decision.frozen_until_s
        if not self._frozen.add(t_s, mass, rate_per_s, self._blocks.scatter):
            return False
        if before < self._last_mass_t:
            self._blocks.drop_last(self._frozen.run - 2)
        self._decision.frozen_until_s = t_s
        return True

    def _check(self, t_s: float, mass_g: float | None, dp_pa: float | None) -> None:
        for name, value in (("t_s", t_s), ("mass_g", mass_g), ("dp_pa", dp_pa)):
            if value is not None and not math.isfinite(value):
                raise ValueError(f"{name} must be a finite number, is {value}")
        if self._t is not None and t_s < self._t:
            raise ValueError(f"time must not fall: {t_s:g} s follows {self._t:g} s")

    @property
    def frozen(self) -> bool:
        """Whether the newest reading repeats its digits for longer than powder and noise allow."""
        return self._t is not None and self._decision.frozen_until_s >= self._t

    def note_hands(self, t_s: float) -> None:
        """Hands were on the rig (lid tapped, brush, resumed after a hold): a new segment, not a bump."""
        self._blocks.clear()
        self._tracker.hands_on(t_s)

    def _leave_rest(self) -> None:
        block = self._blocks.flush()
        if block is not None:
            self._take(block)
        self._jet_on = True

    def _take(self, block: Block) -> None:
        if block.t_s < 0:
            self._tracker.take_rest(block)
            return
        if not block.in_gate:
            self._tracker.take_gated(block)
        else:
            self._tracker.take(block)
        self._judge(block.t_s)

    def _judge(self, block_t_s: float) -> None:
        if self._stopped is not None or self._t is None:
            return
        if not self._deciding:
            self._decision.interrupt()
            self._open = ("hold: the run is held",)
            return
        self._open = self._decision.judge(block_t_s, self._t, self._tracker, self._gate)
        if not self._open:
            self._stopped = self._assess(self._t, ())

    # --- answers ------------------------------------------------------------------------------------

    @property
    def assessment(self) -> Assessment:
        """The state of the decision now. After the stop: the assessment that closed the run."""
        if self._stopped is not None:
            return self._stopped
        t = self._t if self._t is not None else 0.0
        age = t - self._last_mass_t
        still = self._open
        if self._jet_on and age > self._tuning.fresh_s:
            still = (f"readings: no mass for {age:.0f} s", *still)
        return self._assess(t, still)

    @property
    def stopped(self) -> bool:
        """Whether the endpoint has been found (cheap; `assessment` has the details)."""
        return self._stopped is not None

    @property
    def rate(self) -> tuple[float, float] | None:
        """(loss rate at nominal pressure, standard error) in %/min, None before there is a tail. While readings are
        missing it is foretold from the tail, with an error that grows."""
        tracker = self._tracker
        if not tracker.following:
            return None
        if self._gate.theta_s - tracker.end_theta_s > self._tuning.fresh_s:
            tracker.look_ahead(self._gate.theta_s)
        return tracker.rate()

    @property
    def load_pct(self) -> float | None:
        """Estimated load, % of the charge; None before there is a tail."""
        return self._tracker.load_pct if self._tracker.following else None

    @property
    def effective_s(self) -> float:
        """Effective seconds sieved so far."""
        return self._gate.effective_s

    @property
    def blocks(self) -> int:
        """Blocks of sieving seen so far; the estimate changes when this does."""
        return self._tracker.blocks

    @property
    def forecast(self) -> Forecast | None:
        """Expected endpoint, made anew every 10 s when asked for; kept as it was while the gate is closed."""
        last, now = self._forecast, self._t
        if last is not None and now is not None and now - last.made_at_s < self._tuning.forecast_every_s:
            return last
        return self.forecast_now()

    def forecast_now(self) -> Forecast | None:
        """The same made at this moment; the last one where none can be made."""
        now, tracker = self._t, self._tracker
        if (
            now is None
            or not tracker.following
            or self._stopped is not None
            or self._endpoint.rule != "loss-rate"
        ):
            return self._forecast
        if tracker.theta_s < self._tuning.earliest_s or self._gate.open_for_s(now) is None:
            return self._forecast
        self._forecast = forecast_crossing(tracker, self._tuning, self._gate.ratio(), self._limit)
        return self._forecast

    def _assess(self, t_s: float, still: tuple[str, ...]) -> Assessment:
        tracker = self._tracker
        following = tracker.following
        rate, u = self.rate or (None, None)
        load, load_u = (tracker.load_pct, tracker.load_u_pct()) if following else (None, None)
        return Assessment(
            t_s=t_s,
            rate_pct_per_min=rate,
            rate_u_pct_per_min=u,
            limit_pct_per_min=self._endpoint.limit_pct_per_min,
            load_g=None if load is None else load / self._pct,
            load_u_g=None if load_u is None else load_u / self._pct,
            effective_s=self._gate.effective_s,
            gate_open=self._gate.open_for_s(t_s) is not None,
            open_conditions=still,
            stop=not still,
            time_limit=t_s >= self._endpoint.max_time_s,
            text=self._sentence(rate, u, still),
            forecast=self.forecast,
        )

    def _sentence(self, rate: float | None, u: float | None, still: tuple[str, ...]) -> str:
        if still:
            return "Go on. Open: " + "; ".join(still) + "."
        effective = f"after {self._gate.effective_s:.0f} s of effective sieving"
        if self._endpoint.rule == "fixed-time" or rate is None or u is None:
            return f"Endpoint: fixed time reached {effective}."
        tuning, ceiling = self._tuning, self._endpoint.margin * self._limit
        return (
            f"Endpoint: loss rate {rate:.3f} %/min (standard error {u:.3f}) is at or below {self._limit:g} %/min"
            f" and with {tuning.z_stop:g} standard errors at or below {ceiling:g} %/min, held for"
            f" {tuning.hold_s:g} s with the pressure in its band, {effective}."
        )
