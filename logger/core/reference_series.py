"""Checks with a reference powder, put in series: one for each sieve and powder, judged on a control chart."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import asdict, dataclass
from typing import Any

from logger.core.control_chart import LEAST_START, control_chart, control_limits
from logger.core.correction import CorrectionFactor
from logger.core.refusal import ResultError


@dataclass(frozen=True, slots=True)
class ReferenceSeries:
    """Checks of one sieve with one powder, by its certificate, in order of their dates."""

    sieve_id: str
    certificate: str
    checks: tuple[CorrectionFactor, ...]


def reference_series(factors: Iterable[CorrectionFactor]) -> list[ReferenceSeries]:
    """All series, the one checked last first; checks of one day stay in the order they were entered."""
    kept: dict[tuple[str, str], list[CorrectionFactor]] = {}
    for factor in factors:
        kept.setdefault((factor.sieve_id, factor.certificate), []).append(factor)
    series = [
        ReferenceSeries(sieve_id, certificate, tuple(sorted(checks, key=lambda check: check.checked_on)))
        for (sieve_id, certificate), checks in kept.items()
    ]
    return sorted(series, key=lambda one: one.checks[-1].checked_on, reverse=True)


def series_chart(series: ReferenceSeries) -> dict[str, Any]:
    """The chart as JSON values. Its first checks set the limits; with too few, `limits` is null and `why` says so.

    Found and certified residues in % of the charge.
    """
    values = [check.found_pct for check in series.checks]
    answer: dict[str, Any] = {
        "sieve_id": series.sieve_id,
        "certificate": series.certificate,
        "certified_pct": series.checks[-1].certified_pct,
        "start": LEAST_START,
        "limits": None,
        "why": "",
    }
    try:
        found = control_chart(values, *control_limits(values[:LEAST_START]))
    except ResultError as refusal:
        points = [{"value_pct": value, "distance": None, "signal": "none", "reason": ""} for value in values]
        answer["why"] = str(refusal)
    else:
        points = [asdict(point) for point in found.points]
        answer["limits"] = {
            "centre_pct": found.centre_pct,
            "sd_pct": found.sd_pct,
            "warning_pct": list(found.warning_pct),
            "action_pct": list(found.action_pct),
        }
    dates = [check.checked_on.isoformat() for check in series.checks]
    answer["points"] = [{"checked_on": date, **point} for date, point in zip(dates, points, strict=True)]
    return answer
