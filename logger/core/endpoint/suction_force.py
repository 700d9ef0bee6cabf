"""The suction force that a balance below the jet shows as mass: what is known of it, and how well.

Force = coupling x dP + curvature x dP^2, in % of the charge, dP in kPa. From a blank run where there was
one; otherwise the middle of the admitted range, and the rest is learned in the run.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from logger.core.endpoint.blocks import Block
from logger.core.endpoint.parameters import Tuning
from logger.core.endpoint.tail_filter import measurement_row
from logger.core.rig import Rig

Array = NDArray[np.float64]


class SuctionForce:
    """Coupling and curvature of one rig, for one charge."""

    def __init__(self, tuning: Tuning, rig: Rig, dp0_pa: float, pct: float) -> None:
        self._nominal, self._pct, self._tuning = dp0_pa / 1000.0, pct, tuning
        self._curved = rig.coupling2_g_per_kpa2 is not None
        self._curvature = (rig.coupling2_g_per_kpa2 or 0.0) * pct
        given = rig.coupling_g_per_kpa
        self.measured = given is not None
        if given is None:
            self.coupling = tuning.unknown_coupling_g_per_kpa * pct
            self.doubt = tuning.unknown_coupling_u_g_per_kpa * pct
            self._least_share = tuning.coupling_doubt
        else:
            own = rig.coupling_u_g_per_kpa
            self.coupling = given * pct
            self.doubt = (own if own is not None else 0.1 * abs(given)) * pct
            self._least_share = tuning.coupling_doubt_known

    @property
    def at_nominal(self) -> float:
        """Force at nominal pressure."""
        return self.coupling * self._nominal + self._curvature * self._nominal**2

    @property
    def at_nominal_sd(self) -> float:
        """Its standard uncertainty: the coupling's, and the curvature's where it was never measured."""
        return self._at_nominal_sd(self.doubt)

    def _at_nominal_sd(self, coupling_sd: float) -> float:
        curvature = 0.0 if self._curved else self._tuning.unknown_curvature_g_per_kpa2 * self._pct
        return math.hypot(coupling_sd * self._nominal, curvature * self._nominal**2)

    def beyond_guess(self, learned: float) -> float:
        """Force at nominal pressure of what a run has taught about the coupling beside the first guess."""
        return learned * self._nominal

    def learned_sd(self, learned: float, learned_var: float) -> float:
        """Standard uncertainty of the whole force at nominal pressure once a run has taught it. Lags, and pressure
        that is read seldom, make a learned coupling come out low, more so than its variance knows."""
        low = self._tuning.learned_doubt * (abs(self.coupling) + abs(learned))
        return self._at_nominal_sd(math.hypot(math.sqrt(max(learned_var, 0.0)), low))

    def off_nominal(self, block: Block) -> float:
        """Relative distance of the block's pressure from nominal; 0 where it is not known."""
        return 0.0 if math.isnan(block.kpa) else abs(block.kpa / self._nominal - 1.0)

    def least_doubt(self, learned: float) -> float:
        """A coefficient keeps this doubt whatever a run teaches: lags make it come out low."""
        return self._least_share * abs(self.coupling + learned)

    def without(self, block: Block) -> tuple[float, Array]:
        """(block mean less the force's known departure from nominal, sensitivities to the unknowns)."""
        if math.isnan(block.kpa):
            return block.mass, measurement_row(0.0, 0.0)
        here = block.kpa - self._nominal
        known = self.coupling * here + self._curvature * (block.kpa**2 - self._nominal**2)
        return block.mass - known, measurement_row(here, -block.kpa_per_s)
