"""What the estimator says at a moment: rate, load, what is still open, and the forecast."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Forecast:
    """Expected time of the endpoint on the run's clock (s since suction start), with an interval."""

    made_at_s: float
    t_s: float
    low_s: float
    high_s: float
    level: float = 0.9


@dataclass(frozen=True, slots=True, kw_only=True)
class Assessment:
    """The live decision at `t_s`. Rates in % of the charge per minute at nominal pressure, k = 1.

    `open_conditions` says, as sentences, what still keeps the run going; it is empty exactly when `stop`.
    `text` explains it in one sentence.
    """

    t_s: float
    rate_pct_per_min: float | None
    rate_u_pct_per_min: float | None
    limit_pct_per_min: float | None
    load_g: float | None
    load_u_g: float | None
    effective_s: float
    gate_open: bool
    open_conditions: tuple[str, ...]
    stop: bool
    time_limit: bool
    text: str
    forecast: Forecast | None
