"""Follows the load block by block: start of the tail, noise of the day, steps, sags, and getting lost.

All masses in % of the charge. The filter does the arithmetic; this module decides which blocks it may see
and when a part of what it knows has to be opened again.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from logger.core.endpoint.blocks import Block
from logger.core.endpoint.noise import FLICKER_IN_NEIGHBOURS, BlockNoise, FlickerNoise
from logger.core.endpoint.parameters import Tuning
from logger.core.endpoint.suction_force import SuctionForce
from logger.core.endpoint.tail_filter import COUPLING, LAG, LOAD, TailFilter, measurement_row
from logger.core.rig import Rig

Array = NDArray[np.float64]
NO_STEP = (-1000, False)
"""No step yet; a step is (blocks followed until then, whether the load jumped up)."""
CHARGE_SD_PCT = 0.3
"""Spread of the first reading of the rest about the charge: the charge was weighed before, elsewhere."""


class TailTracker:
    """State of knowledge about one run's load and rate."""

    def __init__(self, tuning: Tuning, rig: Rig, dp0_pa: float, limit_pct_per_min: float, pct: float) -> None:
        self._tuning, self._limit = tuning, limit_pct_per_min
        self.force = SuctionForce(tuning, rig, dp0_pa, pct)
        self._digit = rig.readability_g * pct
        self.filter = TailFilter(
            tuning,
            drift_sd=tuning.drift_share * limit_pct_per_min / 60.0,
            coupling_sd=self.force.doubt,
            lag_sd=tuning.coupling_lag_s * math.hypot(self.force.coupling, self.force.doubt),
            load_sd=CHARGE_SD_PCT,
        )
        white_g = rig.white_sd_g if rig.white_sd_g is not None else rig.readability_g
        self.noise = BlockNoise(max((white_g * pct) ** 2 / 10.0, self._digit**2 / 120.0))
        self.flicker = FlickerNoise.of_rig(rig, tuning, pct)
        self.filter.set_flicker(self.flicker.density)
        self._forget()

    def _forget(self) -> None:
        self.last: Block | None = None
        self._rate: tuple[float, float] | None = None
        self.end_theta_s = 0.0
        self._first: Block | None = None
        self._rivals: list[TailFilter] = []
        self._rest_blocks = 0
        self._tail_blocks = 0
        self._tail_from = 0.0
        self._fallen = 0.0
        self._usual_count = 0.0
        self._held_out = 0
        self._margin = 0.0
        self._last_step = NO_STEP
        self._gated = False
        self._suspect: _Suspect | None = None
        self.chi2 = 1.0
        self._lean = 0.0
        self.segment_from_s = -math.inf
        self.found_again_s = -math.inf

    # --- what the decision asks ----------------------------------------------------------------------

    @property
    def following(self) -> bool:
        """Whether there is a tail with a rate."""
        return self.filter.sieving

    @property
    def doubting_a_step(self) -> bool:
        """A jump is held out, or a small one that would make the rate look lower is being checked."""
        return self._held_out > 0 or (self._suspect is not None and self._suspect.surprise > 0)

    @property
    def contradicted(self) -> bool:
        """Newest blocks contradict the tail, by their scatter or by lying below it one after the other."""
        return self.chi2 > self._tuning.odd_chi2 or self._lean < -self._tuning.odd_lean

    @property
    def blocks(self) -> int:
        """Blocks followed since the tail began (again)."""
        return self._tail_blocks

    @property
    def theta_s(self) -> float:
        """Effective time of the last block."""
        return self.last.theta_s if self.last is not None else 0.0

    def rate(self) -> tuple[float, float]:
        """(rate at nominal pressure at the end of the last block, or as far ahead as was looked, standard error), %/min.

        Ahead of the last block it is what the tail foretells; the error is widened when blocks scatter more than they
        should."""
        if self._rate is None:
            last = self.last
            rate, u = self.filter.rate(self.theta_s, max(self.end_theta_s - self.theta_s, 0.0))
            law = 0.0 if last is None else self._tuning.law_doubt * self.force.off_nominal(last) * rate
            u *= math.sqrt(max(self.chi2, 1.0))
            self._rate = rate, self._tuning.error_scale * math.hypot(u, law)
        return self._rate

    def look_ahead(self, theta_s: float) -> None:
        """Readings are missing: the rate is asked for this effective time, after the last block."""
        self._rate = None
        self.end_theta_s = theta_s

    @property
    def load_pct(self) -> float:
        """Load, % of the charge, suction force and drift taken off.

        Without a blank run the level began with a guess of the force; what the run has taught takes its place.
        """
        state = self.filter.state
        beyond = 0.0 if self.force.measured else self.force.beyond_guess(float(state[COUPLING]))
        return float(state[LOAD]) - beyond

    def load_u_pct(self) -> float:
        """Its standard uncertainty."""
        cov = self.filter.cov
        var = max(float(cov[LOAD, LOAD]), 0.0)
        if self.force.measured:
            return math.sqrt(var)
        learned = float(self.filter.state[COUPLING])
        force_sd = self.force.learned_sd(learned, float(cov[COUPLING, COUPLING]))
        return math.sqrt(max(var - self.force.at_nominal_sd**2, 0.0) + force_sd**2)

    # --- blocks ---------------------------------------------------------------------------------------

    def take_rest(self, block: Block) -> None:
        """A block before the jet runs: learns drift and noise."""
        if self.last is not None:
            self.filter.predict(0.0, 0.0, block.t_s - self.last.t_s)
        self.last = block
        self._rest_blocks += 1
        row = measurement_row(0.0, 0.0)
        noise = self._block_var(block, 0.0)
        surprise, var = self.filter.innovation(block.mass, row, 0.0)
        if self._rest_blocks > 1 and self._is_step(block, surprise, var + noise):
            return
        self._held_out = 0
        self.noise.add(block.mass, 1.0)
        self.filter.update(surprise, row, noise)

    def take_gated(self, block: Block) -> None:
        """A block outside the pressure gate: left out; a new segment follows."""
        self.look_ahead(block.theta_s)
        self._gated = True

    def take(self, block: Block) -> None:
        """A block of sieving inside the pressure gate."""
        self.look_ahead(block.theta_s + 0.5 * block.span_s)
        if self.following:
            self._follow(block)
        elif self._first is None or block.theta_s <= self._first.theta_s:
            self._first = block
        else:
            self._begin_tail(self._first, block)

    def hands_on(self, t_s: float) -> None:
        """Someone touched the rig: level and rate may have changed."""
        self._rate = None
        self.filter.loosen_rate(self._tuning.hands_sigma_x)
        self.new_segment(t_s)

    def new_segment(self, t_s: float) -> None:
        """The level is open again; load, rate, drift and coupling are kept."""
        self.filter.free_level(self._tuning.new_level_pct)
        self._restart_segment(t_s)

    def _restart_segment(self, t_s: float) -> None:
        self.noise.restart()
        self.flicker.restart()
        self._suspect = None
        self._held_out = 0
        self.segment_from_s = t_s

    # --- start of the tail ----------------------------------------------------------------------------

    def _begin_tail(self, first: Block, block: Block) -> None:
        if self.last is not None:
            self.filter.predict(0.0, 0.0, block.t_s - self.last.t_s)
        y0, y1 = self.force.without(first)[0], self.force.without(block)[0]
        gap = block.theta_s - first.theta_s
        noise = math.sqrt(2.0 * self.noise.var) / gap
        per_s = max((y0 - y1) / gap, noise, 0.1 * self._limit / 60.0)
        again = self._tail_from > 0
        level_sd = self._tuning.new_level_pct if again else self.force.at_nominal_sd + 0.001
        if not again:
            self.filter.pull_down(self.force.at_nominal, y1)
        decays = [e / block.theta_s for e in self._tuning.first_exponents]
        for decay in decays if again else self._tuning.first_decays:
            rival = self.filter.copy()
            rival.begin_tail(per_s * math.exp(-0.5 * decay * gap), 0.2 + noise / per_s, decay, level_sd)
            self._rivals.append(rival)
        self.filter = self._rivals[1]
        self._restart_segment(self.segment_from_s)
        self.last, self._usual_count = block, float(block.count)
        self._tail_from, self._tail_blocks, self._gated = block.theta_s, 0, False
        self._last_step = NO_STEP
        self.chi2 = 1.0
        self._lean = 0.0

    def _weigh_rivals(self, block: Block, y: float, row: Array, noise: float) -> None:
        """The first guess of the decay is made several times; the one that explains the start best stays."""
        for rival in self._rivals:
            if rival is not self.filter:
                rival.update(rival.innovation(y, row, block.span_s)[0], row, noise)
        self.filter = max(self._rivals, key=lambda rival: rival.evidence)
        self._rivals = [r for r in self._rivals if r.evidence > self.filter.evidence - 30.0]
        if block.theta_s - self._tail_from > self._tuning.rivals_s:
            self._rivals = []

    def _lost(self, t_s: float) -> None:
        """The blocks contradict the tail for good: start it anew from here, keep drift and coupling."""
        self.filter.sieving = False
        self._first, self._rivals = None, []
        self._restart_segment(t_s)
        self.found_again_s = t_s

    # --- following ------------------------------------------------------------------------------------

    def _follow(self, block: Block) -> None:
        loss = self._predict(block)
        y, row = self.force.without(block)
        noise = self._block_var(block, loss)
        surprise, var = self.filter.innovation(y, row, block.span_s)
        total = var + noise
        if not self._rivals:
            if self._is_step(block, surprise, total + (self._tuning.step_misfit * loss) ** 2):
                return
            self._raise_suspicion(block, surprise, total, noise)
        self._held_out = 0
        self._learn_noise(block, y if self.force.measured else y - self._learned_force(row))
        self.chi2 += 0.05 * (min(surprise * surprise / total, 9.0) - self.chi2)
        self._lean += 0.1 * (min(max(surprise / math.sqrt(total), -3.0), 3.0) - self._lean)
        self.filter.update(surprise, row, noise)
        floor = self.force.least_doubt(float(self.filter.state[COUPLING]))
        self.filter.cov[COUPLING, COUPLING] = max(self.filter.cov[COUPLING, COUPLING], floor * floor)
        self._follow_suspicion(block, y, row, noise)
        if self._rivals:
            self._weigh_rivals(block, y, row, noise)
        elif self.chi2 > self._tuning.lost_chi2:
            self._lost(block.t_s)

    def _predict(self, block: Block) -> float:
        last = self.last
        assert last is not None
        dtheta, dt = max(block.theta_s - last.theta_s, 0.0), block.t_s - last.t_s
        loss = self.filter.predict(last.theta_s, dtheta, dt)
        others = [r for r in self._rivals if r is not self.filter]
        if self._suspect is not None:
            others.append(self._suspect.twin)
        for other in others:
            other.predict(last.theta_s, dtheta, dt)
        self._fallen += loss
        self.last = block
        self._tail_blocks += 1
        self._usual_count += 0.1 * (block.count - self._usual_count)
        if self._gated:
            self._gated = False
            self.filter.cov[LOAD, LOAD] += (self._tuning.sag_doubt * loss) ** 2
            self.new_segment(block.t_s)
        return loss

    def _block_var(self, block: Block, loss: float) -> float:
        """Noise variance of this block's mean."""
        q = self._digit
        share = self._usual_count / block.count if self._usual_count else 1.0
        # Neighbouring blocks differ by 1/f noise too, which the filter carries by itself: not twice.
        own = max(self.noise.var - FLICKER_IN_NEIGHBOURS * self.flicker.density, 0.3 * self.noise.var)
        var = own * min(max(share, 0.5), 20.0) + q * q / 12.0 / block.count
        if self._tail_blocks < 12:
            var = max(var, block.scatter**2 / block.count)
        if block.scatter < 0.3 * q:
            # Digits that do not dither: the mean may be anywhere within its digit.
            var += q * q / 12.0
        if block.aliased:
            var += block.scatter**2
        timing = loss * block.time_sd / max(block.span_s, 0.1)
        return var + (self._tuning.misfit_share * loss) ** 2 + timing * timing

    def _learned_force(self, row: Array) -> float:
        """What the run has taught about the suction force of a block: without it, ripple would pass for noise."""
        state = self.filter.state
        return float(state[COUPLING] * row[COUPLING] + state[LAG] * row[LAG])

    def _learn_noise(self, block: Block, y: float) -> None:
        level = y + self._fallen
        self.noise.add(level, block.count / max(self._usual_count, 1.0))
        if block.theta_s > 60.0:
            self.flicker.add(level, self.noise.var)
            self.filter.set_flicker(self.flicker.density)

    # --- steps ----------------------------------------------------------------------------------------

    def _is_step(self, block: Block, surprise: float, var: float) -> bool:
        """Whether this block is held out; four in a row start a new segment. The margin stays fixed
        meanwhile: one that grows with time would swallow the step. Soon another one the same way is no step: the
        load runs away from the tail, which has been lost."""
        if not self._held_out:
            self._margin = self._tuning.step_sigmas * math.sqrt(var)
        if abs(surprise) <= self._margin:
            return False
        self._held_out += 1
        if self._held_out < self._tuning.step_blocks:
            return True
        step = (self._tail_blocks, surprise > 0)
        last, self._last_step = self._last_step, step
        if self.following and last[1] == step[1] and step[0] - last[0] < self._tuning.lost_blocks:
            self._lost(block.t_s)
            return True
        self.new_segment(block.t_s)
        return False

    def _raise_suspicion(self, block: Block, surprise: float, var: float, noise: float) -> None:
        """A small step hides in the noise: keep a twin that believes in it, and let both go on."""
        if self._suspect is not None or abs(surprise) < self._tuning.suspect_sigmas * math.sqrt(var):
            return
        twin = self.filter.copy()
        twin.free_level(self._tuning.suspect_spread * math.sqrt(var))
        y, row = self.force.without(block)
        twin.update(twin.innovation(y, row, block.span_s)[0], row, noise)
        self._suspect = _Suspect(twin, surprise, block.t_s)

    def _follow_suspicion(self, block: Block, y: float, row: Array, noise: float) -> None:
        suspect = self._suspect
        if suspect is None or suspect.born_at == block.t_s:
            return
        twin = suspect.twin
        twin.update(twin.innovation(y, row, block.span_s)[0], row, noise)
        suspect.age += 1
        gain = twin.evidence - self.filter.evidence
        if suspect.age >= 2 and gain > self._tuning.suspect_evidence:
            self.filter = twin
            self._restart_segment(block.t_s)
        elif suspect.age >= self._tuning.suspect_blocks or (suspect.age >= 2 and gain < -3.0):
            self._suspect = None


@dataclass(slots=True)
class _Suspect:
    """A twin of the filter that believes the level jumped at `born_at` by about `surprise`."""

    twin: TailFilter
    surprise: float
    born_at: float
    age: int = 0
