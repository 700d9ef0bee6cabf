"""Correction of a residue for its sieve, by a factor found with a reference powder.

factor = certified / found residue of the reference powder on this sieve. The percentage C of ASTM C430
and the factor F of EN 196-6 are one number, F = 1 + C / 100 (both from memory). It holds for powders
whose curve near the aperture resembles the reference powder's, so a method can leave it out. The raw
value is always kept, and what was corrected once cannot be corrected again.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from logger.core.line import fit_line
from logger.core.refusal import require, require_finite, require_not_negative
from logger.core.residue import Residue


@dataclass(frozen=True, slots=True, kw_only=True)
class CorrectionFactor:
    """Certified over found residue with standard uncertainty, from one check of one sieve.

    Raises `ResultError` when the found residue is zero (the factor does not exist), or when date,
    certificate or sieve is missing.
    """

    sieve_id: str
    certified_pct: float
    certified_u_pct: float
    found_pct: float
    found_u_pct: float
    checked_on: date
    certificate: str

    def __post_init__(self) -> None:
        require(bool(self.sieve_id.strip()), "a correction factor belongs to one sieve: give its id")
        require(
            isinstance(self.checked_on, date),
            f"the correction factor of sieve {self.sieve_id} has no date: enter when it was found",
        )
        require(
            bool(self.certificate.strip()),
            f"the correction factor of sieve {self.sieve_id} names no certificate of its reference powder",
        )
        require_not_negative(certified_u_pct=self.certified_u_pct, found_u_pct=self.found_u_pct)
        require_finite(certified_pct=self.certified_pct, found_pct=self.found_pct)
        require(
            0 < self.certified_pct <= 100, f"certified residue must be 0 to 100 %, not {self.certified_pct}"
        )
        require(
            0 < self.found_pct <= 100,
            f"found residue of the reference powder is {self.found_pct:g} %: no factor can be formed; "
            "use a reference powder that leaves a residue on this sieve",
        )

    @property
    def factor(self) -> float:
        """What a raw residue is multiplied by."""
        return self.certified_pct / self.found_pct

    @property
    def factor_u(self) -> float:
        """Standard uncertainty of the factor."""
        return self.factor * math.hypot(
            self.certified_u_pct / self.certified_pct, self.found_u_pct / self.found_pct
        )

    @property
    def correction_pct(self) -> float:
        """The same as a percentage to be added: C = 100 (F - 1)."""
        return 100 * (self.certified_pct - self.found_pct) / self.found_pct


@dataclass(frozen=True, slots=True, kw_only=True)
class Corrected:
    """A residue after correction, with the raw value it came from; all in % of the charge."""

    raw_pct: float
    raw_u_pct: float
    residue_pct: float
    residue_u_pct: float
    factor: CorrectionFactor

    @property
    def passing_pct(self) -> float:
        """100 less the corrected residue."""
        return 100 - self.residue_pct


@dataclass(frozen=True, slots=True, kw_only=True)
class FactorDrift:
    """Change of a sieve's factor since an earlier check, relative, in %, and its trend per year."""

    change_pct: float
    change_u_pct: float
    significant: bool
    trend_pct_per_year: float | None
    trend_u_pct_per_year: float | None
    text: str


def correct(found: Residue | Corrected, factor: CorrectionFactor, sieve_id: str) -> Corrected:
    """Multiply the raw residue of a determination on `sieve_id` by that sieve's factor.

    Raises `ResultError` for a residue that was corrected before, a factor of another sieve, and a
    corrected residue above 100 %.
    """
    require(not isinstance(found, Corrected), "this residue was corrected for its sieve already")
    require(
        factor.sieve_id == sieve_id,
        f"the correction factor belongs to sieve {factor.sieve_id}, the run used sieve {sieve_id}",
    )
    return correct_raw(found.residue_pct, found.residue_u_pct, factor)


def correct_raw(raw_pct: float, raw_u_pct: float, factor: CorrectionFactor) -> Corrected:
    """The same for a raw residue in % of the charge, as from a mean of raw determinations."""
    require_not_negative(raw_u_pct=raw_u_pct)
    corrected_pct = raw_pct * factor.factor
    require(
        corrected_pct <= 100,
        f"corrected residue would be {corrected_pct:.1f} %: this factor does not fit this powder; "
        "correction must be left out or found with a reference powder of a similar residue",
    )
    return Corrected(
        raw_pct=raw_pct,
        raw_u_pct=raw_u_pct,
        residue_pct=corrected_pct,
        residue_u_pct=math.hypot(factor.factor * raw_u_pct, raw_pct * factor.factor_u),
        factor=factor,
    )


def factor_drift(history: Sequence[CorrectionFactor], sureness: float = 2.0) -> FactorDrift | None:
    """Judge the newest check of a sieve against its oldest, and the trend; None with fewer than two.

    A change counts when it is beyond `sureness` times its standard uncertainty. Checks with the same
    certificate share its error, so that error does not count between them.
    """
    checks = sorted(history, key=lambda check: check.checked_on)
    if len(checks) < 2:
        return None
    require(len({c.sieve_id for c in checks}) == 1, "drift can only be judged within one sieve's checks")
    first, last = checks[0], checks[-1]
    change = math.log(last.factor / first.factor)
    u = math.hypot(*(_log_u(check, first.certificate != last.certificate) for check in (first, last)))
    significant = abs(change) > sureness * u
    trend, trend_u = _trend(checks)
    return FactorDrift(
        change_pct=100 * change,
        change_u_pct=100 * u,
        significant=significant,
        trend_pct_per_year=trend,
        trend_u_pct_per_year=trend_u,
        text=_drift_text(first, last, change, u, significant),
    )


def _log_u(check: CorrectionFactor, with_certificate: bool) -> float:
    certificate_u = check.certified_u_pct / check.certified_pct if with_certificate else 0.0
    return math.hypot(check.found_u_pct / check.found_pct, certificate_u)


def _trend(checks: Sequence[CorrectionFactor]) -> tuple[float | None, float | None]:
    years = [(check.checked_on - checks[0].checked_on).days / 365.25 for check in checks]
    u = [_log_u(check, with_certificate=False) for check in checks]
    if len(checks) < 3 or len(set(years)) < 2 or min(u) == 0:
        return None, None
    line = fit_line(years, [100 * math.log(c.factor) for c in checks], [100 * value for value in u])
    return line.slope, line.slope_u


def _drift_text(
    first: CorrectionFactor, last: CorrectionFactor, change: float, u: float, significant: bool
) -> str:
    text = (
        f"factor {last.factor:.4f} on {last.checked_on} against {first.factor:.4f} on {first.checked_on}: "
        f"{100 * change:+.1f} % with a standard uncertainty of {100 * u:.1f} %"
    )
    if not significant:
        return text + ", no drift shown"
    way = "apertures have grown or torn" if change > 0 else "apertures have clogged or narrowed"
    return text + f", the sieve has changed ({way}): inspect it and decide on its further use"
