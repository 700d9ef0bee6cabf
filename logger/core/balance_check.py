"""The balance against a check weight before use: within its tolerance, and how far it has drifted."""

from __future__ import annotations

from dataclasses import dataclass

from logger.core.refusal import require, require_finite


@dataclass(frozen=True, slots=True, kw_only=True)
class CheckWeight:
    """A check weight: its id, certified mass and the deviation allowed before use, g."""

    id: str
    mass_g: float
    tolerance_g: float

    def __post_init__(self) -> None:
        require(bool(self.id.strip()), "a check weight needs an id")
        require_finite(mass_g=self.mass_g, tolerance_g=self.tolerance_g)
        require(self.mass_g > 0, f"check weight {self.id}: mass_g must be above zero")
        require(self.tolerance_g > 0, f"check weight {self.id}: tolerance_g must be above zero")


@dataclass(frozen=True, slots=True, kw_only=True)
class CheckVerdict:
    """One check: deviation from the certified mass and whether the balance may be used."""

    weight_id: str
    reading_g: float
    deviation_g: float
    passed: bool
    text: str


def judge_check(weight: CheckWeight, zero_g: float, reading_g: float, readability_g: float) -> CheckVerdict:
    """Judge one reading of a check weight, zero taken off.

    Raises `ResultError` when the tolerance is finer than one digit: such a check can show nothing.
    """
    require_finite(zero_g=zero_g, reading_g=reading_g)
    require(
        weight.tolerance_g >= readability_g,
        f"check weight {weight.id}: a tolerance of {weight.tolerance_g:g} g is finer than one digit of the "
        f"balance ({readability_g:g} g)",
    )
    deviation_g = reading_g - zero_g - weight.mass_g
    passed = abs(deviation_g) <= weight.tolerance_g + 1e-9
    text = f"check weight {weight.id}: {deviation_g:+.4g} g off, {weight.tolerance_g:g} g allowed"
    if not passed:
        text += ": level, warm up and adjust the balance, then check again; do not use it as it is"
    return CheckVerdict(
        weight_id=weight.id, reading_g=reading_g, deviation_g=deviation_g, passed=passed, text=text
    )
