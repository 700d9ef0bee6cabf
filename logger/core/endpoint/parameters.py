"""Every tunable number of the live estimator, each with the reason for its value.

The kinetic priors were read off made-up powders (population balance over a spread of apertures, sums of
exponentials, breaking agglomerates) and not off any list of test runs: with x = ln rate, y = ln(-dx/dtheta)
and z = dy/d(ln theta), z near the endpoint has mean -0.9 and spread 0.45 with long tails, and keeps its value
for about one e-fold of time. A power-law tail has z = -1, a single exponential z = 0. Spread and mean were then
set on made-up runs so that normalised errors have mean 0 and spread 1.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Tuning:
    """Numbers of the estimator and of the decision. Times in s; spreads of logarithms have no unit."""

    z_stop: float = 2.0
    """Standard errors between rate and margin x limit. 1.5 stops early three times as often; 2.3 halves the early
    stops of methods that are hard for the rig and makes three times as many come too late."""
    z_log: float = 1.8
    """The same in the logarithm of the rate: tells from `z_stop` where the standard error is above an eighth of the
    rate. Without it a rate that is underestimated by half stops the run."""
    hold_s: float = 2.0
    """How long rate and certainty must hold; one lucky block must not end a run."""
    hold_blocks: int = 2
    """... and over at least this many blocks."""
    gate_hold_s: float = 15.0
    """Pressure in its band for this long: shorter stretches are ringing after a sag."""
    settle_after_segment_s: float = 12.0
    """No decision this soon after a step: its size is still being learned."""
    settle_after_lost_s: float = 75.0
    """No decision this soon after the tail had to be begun anew: it is known from the new readings only."""
    settle_after_frozen_s: float = 4.0
    """No decision this soon after a frozen stretch."""
    earliest_s: float = 45.0
    """No decision before: the first seconds are bulk passing, whatever they look like."""
    fresh_s: float = 5.0
    """Oldest reading and longest gap that a decision may rest on."""
    recent_s: float = 15.0
    """Stretch before a decision that must be free of longer gaps."""

    block_s: float = 2.0
    """Shortest block; longer when a whole number of turns of the nozzle needs it."""
    block_min: int = 5
    """Fewest readings in a block."""
    harmonics_min: int = 20
    """Readings needed to fit two harmonics of the nozzle beside level and slope."""
    spike_sigmas: float = 4.0
    """Readings further than this from their block's line are dropped."""

    misfit_share: float = 0.004
    """Share of the loss within a block that may be misdescribed: matters only in the first minute."""
    sigma_x: float = 0.03
    """Spread of ln rate per root e-fold of time beyond the smooth law (blinding, chance)."""
    sigma_y: float = 0.10
    """Spread of ln decay per root e-fold of time beyond its smooth drift."""
    mean_z: float = -0.9
    sigma_z: float = 0.5
    memory_z: float = 0.95
    """The bend: mean, spread, and memory in e-folds of time, see above."""
    first_decays: tuple[float, ...] = (0.008, 0.02, 0.045, 0.1, 0.2)
    """First guesses of the decay, 1/s: the early rate constants of air-jet sieving lie between."""
    first_exponents: tuple[float, ...] = (0.8, 1.5, 2.5)
    """... and of decay x time, when the tail has to be found again later in a run: near their end tails fall as time
    to the power of -1.2 to -3."""
    steepest: float = 10.0
    """Largest decay x time: no powder's tail falls faster than this power of time, whatever the noise says."""
    rivals_s: float = 25.0
    """How long the first guesses compete. Jumps are looked for only afterwards."""
    drift_share: float = 0.25
    """Spread of the balance's drift before the rest has been seen, as a share of the limit. What the rest leaves in
    doubt the run may still learn, slowly: drift and a slow tail look nearly alike."""
    flicker_ratio: float = 5.0
    flicker_first_s: float = 4.0
    """1/f noise is carried as a few relaxing components whose time constants differ by this ratio."""
    default_flicker_g: float = 0.003
    """1/f noise (rms over 10 min) assumed where the rig file has none; corrected in the run."""

    error_scale: float = 0.9
    """Standard error told, as a share of the filter's own: with it, normalised errors near the crossing have spreads of
    0.8 to 1.2 on the tuning seeds of three sources (calm powders the least, benches with much trouble the most)."""
    forecast_every_s: float = 10.0
    """A forecast that jumps every second is of no use to a person."""
    step_sigmas: float = 6.0
    step_blocks: int = 4
    """Blocks this far from the prediction are held out; so many in a row start a new segment."""
    step_misfit: float = 0.1
    """Share of the loss in a block that may surprise without being a step: early kinetics are steep."""
    suspect_sigmas: float = 3.5
    suspect_spread: float = 30.0
    suspect_blocks: int = 8
    suspect_evidence: float = 3.0
    """A block this far off raises the suspicion of a small step (of up to so many block sigmas); it is
    checked over so many blocks and believed at this gain of log likelihood."""
    lost_chi2: float = 3.5
    """Mean square of the standardised surprises at which the tail is given up and found anew."""
    odd_chi2: float = 2.5
    odd_lean: float = 0.8
    """No decision while the surprises' mean square is above the first, or the load came out lower than foretold by
    more than this on the mean of about ten blocks (in units of the expected scatter: 3.5 standard deviations)."""
    lost_blocks: int = 15
    """... or two steps the same way within so many blocks."""
    sag_doubt: float = 0.3
    """Relative doubt about the loss during a sag: the passing law is taken as proportional to dP."""
    law_doubt: float = 0.4
    """The same about the rate while dP is off nominal within its band, per unit of relative pressure."""
    new_level_pct: float = 2.0
    """Spread of the level after a step, % of the charge: in effect free."""
    hands_sigma_x: float = 0.3
    """Spread added to ln rate when hands were on the rig: a tap on the lid loosens powder."""
    unknown_coupling_g_per_kpa: float = 0.75
    unknown_coupling_u_g_per_kpa: float = 0.45
    """Suction force coefficient without a blank run: middle and spread of the admitted 0 to 1.5 g/kPa."""
    unknown_curvature_g_per_kpa2: float = 0.02
    """Spread of the coupling's curvature where no blank run has told it."""
    coupling_doubt: float = 0.06
    coupling_doubt_known: float = 0.015
    """Least relative doubt about the suction force: learned in the run, or from a blank run."""
    learned_doubt: float = 0.3
    """Relative doubt about a learned suction force where the load itself rests on it."""
    coupling_lag_s: float = 0.3
    """Spread of the lag between balance and pressure transducer that is left after matching."""
