"""How often equipment is checked on a bench, with what, and what follows when a check is overdue."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, ClassVar, Literal

from logger.core.balance_check import CheckWeight
from logger.core.method import STRICT
from logger.core.refusal import require, require_not_negative


@dataclass(frozen=True, slots=True, kw_only=True)
class BenchWeight:
    """A check weight of the bench: nominal mass and allowed deviation in g, and its certificate."""

    __pydantic_config__: ClassVar[dict[str, Any]] = STRICT
    id: str
    mass_g: float
    tolerance_g: float
    certificate: str = ""

    def __post_init__(self) -> None:
        self.weight()

    def weight(self) -> CheckWeight:
        """As the balance check takes it. Raises `ResultError` for what cannot be meant."""
        return CheckWeight(id=self.id, mass_g=self.mass_g, tolerance_g=self.tolerance_g)


@dataclass(frozen=True, slots=True, kw_only=True)
class CheckPolicy:
    """Table `[checks]` of the bench file. What is left out is not asked for.

    `overdue` says what a check that is due does at the start of a run: "blocks" refuses it, "warns" makes a
    deviation. A failed balance or pressure check blocks either way. `tare_allowed_g`: change of a clean
    sieve's mass that counts as handling even where weighing is finer.

    `people`: with "required", once people are registered on the bench, operators of runs and those who make
    entries are registered people; with "optional" names are typed as before. `unapproved_method`: what a run
    by a method that is not approved is, once any method is approved; left out, it is a deviation.
    """

    __pydantic_config__: ClassVar[dict[str, Any]] = STRICT
    overdue: Literal["blocks", "warns"] = "warns"
    people: Literal["required", "optional"] = "required"
    unapproved_method: Literal["blocks", "warns"] = "warns"
    balance_every_hours: float | None = None
    balance_every_runs: int | None = None
    sieve_every_runs: int | None = None
    sieve_every_days: int | None = None
    pressure_every_days: int | None = None
    pressure_span_every_days: int | None = None
    pressure_zero_tolerance_pa: float | None = None
    pressure_span_tolerance_pct: float = 2.0
    tare_allowed_g: float = 0.0
    weights: tuple[BenchWeight, ...] = ()

    def __post_init__(self) -> None:
        for name in (
            "balance_every_hours",
            "balance_every_runs",
            "sieve_every_runs",
            "sieve_every_days",
            "pressure_every_days",
            "pressure_span_every_days",
            "pressure_zero_tolerance_pa",
            "pressure_span_tolerance_pct",
        ):
            value = getattr(self, name)
            require(value is None or value > 0, f"{name} must be above zero, not {value}")
        require_not_negative(tare_allowed_g=self.tare_allowed_g)
        ids = [weight.id for weight in self.weights]
        require(len(ids) == len(set(ids)), "weights: two check weights have the same id")
        asked = self.balance_every_hours is not None or self.balance_every_runs is not None
        require(
            not asked or bool(self.weights),
            "balance_every_hours and balance_every_runs need a check weight in [[checks.weights]]",
        )

    def weight(self, weight_id: str) -> BenchWeight:
        """The check weight of this id. Raises `ResultError` that lists what there is."""
        for weight in self.weights:
            if weight.id == weight_id:
                return weight
        known = ", ".join(weight.id for weight in self.weights)
        require(bool(known), "the bench file names no check weight: add one under [[checks.weights]]")
        require(False, f"the bench file has no check weight {weight_id!r}; it has {known}")
        raise AssertionError("not reached")
