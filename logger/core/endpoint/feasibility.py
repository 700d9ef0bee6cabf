"""Can this method be met on this rig? Before the run, from charge, limit, readability, noise, rest and window.

Standard error of a rate from a least-squares slope over W seconds of readings (derived; the constant of the
1/f term was measured by simulation):

    SE = 6000/m0 x sqrt( 12 (s^2 + q^2/12) / (f W^3) + (0.96 s_f / W)^2 + s_d^2 )      %/min

s white noise, q readability, f readings per s, s_f 1/f noise (rms over 10 min), s_d drift left in doubt after
the rest, all in g and s; m0 the charge in g. A method is feasible when some window shorter than 0.35 of the
expected run makes z SE at most (margin - 1) x limit. Otherwise the run waits until the rate has fallen
further, and is refused when margin - z SE / limit is 0.5 or less.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from logger.core.endpoint.parameters import Tuning
from logger.core.method import Method
from logger.core.rig import Rig

DEFAULT = Tuning()
WORKING_WINDOW_S = 120.0
"""Window whose standard error decides on delay and refusal."""
WINDOW_SHARE = 0.35
EXPECTED_TIME_S = 450.0
"""Usual time of the endpoint in air-jet sieving when nothing is known (simulated powders)."""
TAIL_EXPONENT = 1.35
"""The rate near the endpoint falls as time to the power of minus this (near-mesh grains, simulated)."""
REFUSE_AT = 0.5
DRIFT_BOUND_SHARE = 0.3
"""Drift to allow for where no rest has shown it, as a share of the limit: near the most that is met, since this is
said before the run; in the run the estimator goes by the usual drift (parameters.py)."""
Z_FORMULA = 2.0
"""z of the formulas. The running decision asks for a little more (parameters.py), because its own standard
error, which knows the shape of the tail, is smaller than that of a plain slope."""
DEFAULT_HZ = 10.0
INTERVAL_ASSUMPTION = "weighings repeat to half a digit, the rig file says nothing"
MAX_COUPLING_G_PER_KPA = 1.5


@dataclass(frozen=True, slots=True, kw_only=True)
class Feasibility:
    """The answer. Times in s, rates in % of the charge per minute.

    `window_needed_s` is None when no window is long enough or the rule needs none. `refused` methods must
    not be run as they are; `feasible` is false for those and for methods that are accepted with a delay.
    """

    feasible: bool
    refused: bool
    window_needed_s: float | None
    window_max_s: float
    se_pct_per_min: float | None
    expected_delay_s: float
    remedies: tuple[str, ...]
    assumptions: tuple[str, ...]
    text: str


def rate_se_pct_per_min(
    rig: Rig,
    charge_g: float,
    limit_pct_per_min: float,
    window_s: float,
    rest_s: float,
    tuning: Tuning = DEFAULT,
) -> float:
    """SE of the rate over `window_s` after a rest of `rest_s` (0: none), %/min. See the module's formula."""
    slope = 6000.0 / charge_g * math.sqrt(_slope_var(rig, window_s, tuning))
    return math.hypot(slope, drift_u_pct_per_min(rig, charge_g, limit_pct_per_min, rest_s, tuning))


def drift_u_pct_per_min(
    rig: Rig, charge_g: float, limit_pct_per_min: float, rest_s: float, tuning: Tuning = DEFAULT
) -> float:
    """Drift of the balance left in doubt after a rest of `rest_s` (0: none), %/min."""
    before = DRIFT_BOUND_SHARE * limit_pct_per_min
    if rest_s <= 0:
        return before
    seen = 6000.0 / charge_g * math.sqrt(_slope_var(rig, rest_s, tuning))
    return before * seen / math.hypot(before, seen)


def white_sd_g(rig: Rig) -> float:
    """White noise of one reading: the rig file's, else one digit."""
    return rig.white_sd_g if rig.white_sd_g is not None else rig.readability_g


def weighing_u_g(rig: Rig) -> float:
    """Standard uncertainty of one weighing beside the rig: repeatability (half a digit where the rig file says
    nothing: a balance at rest repeats better than it reads under a jet) and rounding."""
    repeatability = rig.white_sd_g if rig.white_sd_g is not None else 0.5 * rig.readability_g
    return math.hypot(repeatability, rig.readability_g / math.sqrt(12.0))


def _slope_var(rig: Rig, window_s: float, tuning: Tuning) -> float:
    flicker = rig.flicker_rms_g if rig.flicker_rms_g is not None else tuning.default_flicker_g
    hz = rig.sample_hz or DEFAULT_HZ
    white = white_sd_g(rig) ** 2 + rig.readability_g**2 / 12.0
    var: float = 12.0 * white / (hz * window_s**3) + (0.96 * flicker / window_s) ** 2
    return var


def window_needed_s(
    rig: Rig, charge_g: float, limit: float, margin: float, rest_s: float, tuning: Tuning = DEFAULT
) -> float | None:
    """Shortest window (s) with z SE <= (margin - 1) x limit; None when no length is enough."""
    room = (margin - 1.0) * limit / Z_FORMULA

    def enough(window_s: float) -> bool:
        return rate_se_pct_per_min(rig, charge_g, limit, window_s, rest_s, tuning) <= room

    low, high = 1.0, 36_000.0
    if not enough(high):
        return None
    for _ in range(60):
        middle = math.sqrt(low * high)
        low, high = (low, middle) if enough(middle) else (middle, high)
    return high


def delay_s(shortfall: float, time_s: float = EXPECTED_TIME_S, exponent: float = TAIL_EXPONENT) -> float:
    """How long after the true crossing a run waits when it needs the rate at `shortfall` x limit."""
    return time_s * (shortfall ** (-1.0 / exponent) - 1.0) if 0 < shortfall < 1 else 0.0


def check_feasibility(
    method: Method,
    rig: Rig,
    charge_g: float | None = None,
    rest_s: float | None = None,
    expected_time_s: float | None = None,
    tuning: Tuning = DEFAULT,
) -> Feasibility:
    """Judges a method on a rig. `charge_g` and `rest_s` default to the method's own figures."""
    charge = charge_g if charge_g is not None else method.charge.mass_g
    if not charge > 0:
        raise ValueError(f"the charge must be above zero, not {charge} g")
    if method.endpoint.rule != "loss-rate":
        return _always(method)
    if method.weighing.mode == "interval":
        return _interval(method, rig, charge)
    rest = rest_s if rest_s is not None else method.weighing.rest_s
    return _live(method, rig, charge, rest, expected_time_s, tuning)


def _always(method: Method) -> Feasibility:
    return Feasibility(
        feasible=True,
        refused=False,
        window_needed_s=None,
        window_max_s=0.0,
        se_pct_per_min=None,
        expected_delay_s=0.0,
        remedies=(),
        assumptions=(),
        text=f"Feasible: the rule {method.endpoint.rule} does not depend on the uncertainty of a rate.",
    )


def _assumptions(rig: Rig, tuning: Tuning) -> tuple[str, ...]:
    said = []
    if rig.white_sd_g is None:
        said.append(f"white noise of one digit ({rig.readability_g:g} g), the rig file has none")
    if rig.flicker_rms_g is None:
        said.append(f"1/f noise of {tuning.default_flicker_g:g} g, the rig file has none")
    if rig.sample_hz is None:
        said.append(f"{DEFAULT_HZ:g} readings per s, the rig file has no rate")
    return tuple(said)


def _live(
    method: Method, rig: Rig, charge: float, rest: float, expected_time_s: float | None, tuning: Tuning
) -> Feasibility:
    endpoint = method.endpoint
    limit, margin = endpoint.limit_pct_per_min or 0.0, endpoint.margin
    time_s = expected_time_s or min(EXPECTED_TIME_S, endpoint.max_time_s)
    longest = WINDOW_SHARE * time_s
    needed = window_needed_s(rig, charge, limit, margin, rest, tuning)
    se = rate_se_pct_per_min(rig, charge, limit, min(WORKING_WINDOW_S, longest), rest, tuning)
    feasible = needed is not None and needed <= longest
    shortfall = margin - Z_FORMULA * se / limit
    refused = not feasible and shortfall <= REFUSE_AT
    return Feasibility(
        feasible=feasible,
        refused=refused,
        window_needed_s=needed,
        window_max_s=longest,
        se_pct_per_min=se,
        expected_delay_s=0.0 if feasible else delay_s(max(shortfall, 0.05), time_s),
        remedies=() if feasible else _remedies(method, rig, charge, rest, longest, tuning),
        assumptions=_assumptions(rig, tuning),
        text=_live_text(feasible, refused, needed, longest, se, limit, margin, shortfall, time_s),
    )


def _live_text(
    feasible: bool,
    refused: bool,
    needed: float | None,
    longest: float,
    se: float,
    limit: float,
    margin: float,
    shortfall: float,
    time_s: float,
) -> str:
    window = "no window is long enough" if needed is None else f"it needs a window of {needed:.0f} s"
    if feasible:
        return f"Feasible: {window}, and {longest:.0f} s fit into a run of {time_s:.0f} s."
    certainty = f"the rate is known to {se:.3f} %/min only (limit {limit:g} %/min)"
    if refused:
        return (
            f"Refused: {certainty}, so the run would go on until the rate is {max(shortfall, 0.0):.2f} of the"
            f" limit; below {REFUSE_AT:g} that is not this endpoint any more."
        )
    return (
        f"Accepted with a delay: {certainty} and {window}; to stay below {margin:g} x limit the run goes on"
        f" to {shortfall:.2f} of the limit, about {delay_s(shortfall, time_s):.0f} s after the true crossing."
    )


def _remedies(
    method: Method, rig: Rig, charge: float, rest: float, longest: float, tuning: Tuning
) -> tuple[str, ...]:
    """What would make it feasible, each alone, as far as found."""
    limit, margin = method.endpoint.limit_pct_per_min or 0.0, method.endpoint.margin

    def fits(rig: Rig, charge_g: float, rest_s: float) -> bool:
        needed = window_needed_s(rig, charge_g, limit, margin, rest_s, tuning)
        return needed is not None and needed <= longest

    said = []
    for factor in (1.25, 1.5, 2.0, 3.0, 4.0, 6.0, 10.0):
        if fits(rig, factor * charge, rest) and factor * charge <= 200.0:
            said.append(
                f"a charge of {factor * charge:.0f} g instead of {charge:.0f} g, if the sieve allows it"
            )
            break
    for longer in (60.0, 120.0, 300.0):
        if longer > rest and fits(rig, charge, longer):
            said.append(f"a rest of {longer:.0f} s before the jet instead of {rest:.0f} s")
            break
    for share in (0.5, 0.2, 0.1):
        if fits(_quieter(rig, share, tuning), charge, rest):
            said.append(f"a balance with {share:g} of this one's digit and noise")
            break
    interval_s = interval_needed_s(rig, charge, limit, margin, tuning)
    said.append(
        f"interval mode, with intervals of {max(60.0, math.ceil(interval_s / 30.0) * 30.0):.0f} s or more"
    )
    return tuple(said)


def _quieter(rig: Rig, share: float, tuning: Tuning) -> Rig:
    flicker = rig.flicker_rms_g if rig.flicker_rms_g is not None else tuning.default_flicker_g
    return replace(
        rig,
        readability_g=share * rig.readability_g,
        white_sd_g=share * white_sd_g(rig),
        flicker_rms_g=share * flicker,
    )


def interval_needed_s(
    rig: Rig, charge_g: float, limit: float, margin: float, tuning: Tuning = DEFAULT
) -> float:
    """Shortest interval between weighings whose rate is certain enough, effective s."""
    return math.sqrt(2.0) * weighing_u_g(rig) * Z_FORMULA * 6000.0 / ((margin - 1.0) * limit * charge_g)


def _interval(method: Method, rig: Rig, charge: float, tuning: Tuning = DEFAULT) -> Feasibility:
    endpoint = method.endpoint
    limit, margin = endpoint.limit_pct_per_min or 0.0, endpoint.margin
    interval = method.weighing.interval_s or method.weighing.first_s
    needed = interval_needed_s(rig, charge, limit, margin, tuning)
    se = math.sqrt(2.0) * weighing_u_g(rig) * 6000.0 / (charge * interval)
    shortfall = margin - Z_FORMULA * se / limit
    feasible = needed <= interval
    refused = not feasible and shortfall <= REFUSE_AT
    said = f"intervals of {interval:.0f} s give the rate to {se:.3f} %/min; {needed:.0f} s would be enough"
    verdict = "Feasible" if feasible else "Refused" if refused else "Accepted with a delay"
    remedies = (f"intervals of {math.ceil(needed / 10.0) * 10.0:.0f} s", "more charge", "a finer balance")
    return Feasibility(
        feasible=feasible,
        refused=refused,
        window_needed_s=needed,
        window_max_s=interval,
        se_pct_per_min=se,
        # The difference is the rate at the middle of the interval, and half an interval passes on average
        # before the next weighing.
        expected_delay_s=interval + (0.0 if feasible else delay_s(max(shortfall, 0.05))),
        remedies=() if feasible else remedies,
        assumptions=() if rig.white_sd_g is not None else (INTERVAL_ASSUMPTION,),
        text=f"{verdict}: {said}.",
    )


def coupling_objection(method: Method, rig: Rig, charge_g: float) -> str | None:
    """Why this rig's suction force rules out live weighing for this method, None when it does not.

    Live mode is refused above 1.5 g/kPa, or when the coupling's uncertainty over the band alone exceeds a
    quarter of what the limit lets pass in a minute.
    """
    coupling, u = rig.coupling_g_per_kpa, rig.coupling_u_g_per_kpa
    if coupling is None:
        return None
    if abs(coupling) > MAX_COUPLING_G_PER_KPA:
        return (
            f"the suction force shows as {coupling:.2f} g/kPa, more than {MAX_COUPLING_G_PER_KPA:g} g/kPa:"
            " decouple the hose, or weigh beside the rig (interval mode)"
        )
    limit = method.endpoint.limit_pct_per_min
    if u is None or limit is None:
        return None
    over_band = u * method.suction.band_pa / 1000.0 * 100.0 / charge_g
    if over_band <= 0.25 * limit:
        return None
    return (
        f"the suction force is known to {u:.3f} g/kPa; over the band that is {over_band:.3f} % of the charge,"
        f" more than a quarter of {limit:g} %: repeat the blank run, narrow the band, or take more charge"
    )
