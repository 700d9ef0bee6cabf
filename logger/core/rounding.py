"""Rounding once, when a figure is reported, by a rule that is named beside it.

A figure is first taken as the decimal number a person would read, to 12 significant digits, so that
3.25 computed as 3.2499999999999996 still counts as a tie; then it is rounded exactly in decimals.
"""

from __future__ import annotations

from decimal import ROUND_CEILING, ROUND_HALF_EVEN, ROUND_HALF_UP, Decimal
from typing import Literal

from logger.core.refusal import require_finite

Rounding = Literal["half-even", "half-up"]

_MODES = {"half-even": ROUND_HALF_EVEN, "half-up": ROUND_HALF_UP}
_TIES = {"half-even": "a tie goes to the even digit", "half-up": "a tie goes away from zero"}


def rounded(value: float, decimals: int, rule: Rounding = "half-even") -> Decimal:
    """The value as an exact decimal with `decimals` digits behind the point; never a negative zero."""
    require_finite(value=value)
    step = Decimal(1).scaleb(-decimals)
    result = as_read(value).quantize(step, rounding=_MODES[rule])
    return abs(result) if result == 0 else result


def rounded_text(value: float, decimals: int, rule: Rounding = "half-even") -> str:
    """The rounded value as text, trailing zeros kept."""
    return f"{rounded(value, decimals, rule):f}"


def rounding_sentence(decimals: int, rule: Rounding) -> str:
    """How figures were rounded, for report and record."""
    step = Decimal(1).scaleb(-decimals)
    return f"rounded once, at the report, to the nearest {step:f}; {_TIES[rule]} ({rule})"


def rounded_u_text(u: float, digits: int = 2) -> str:
    """An uncertainty with `digits` significant digits, rounded up so that it never claims too much."""
    require_finite(u=u)
    exact = as_read(u)
    if exact == 0:
        return "0"
    step = Decimal(1).scaleb(exact.adjusted() - digits + 1)
    return f"{exact.quantize(step, rounding=ROUND_CEILING):f}"


def as_read(value: float) -> Decimal:
    """The value as the decimal a person would read, to 12 significant digits."""
    return Decimal(f"{value:.12g}")
