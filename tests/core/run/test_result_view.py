"""What a screen shows beside the figure of a finished run: in specification or not, and by which limit."""

from __future__ import annotations

from dataclasses import replace

import pytest

from logger.core.method import Determinations, Method, ResultRules
from logger.core.run.engine import RunEngine
from logger.core.run.events import EventKind as E
from logger.core.run.view import run_view
from tests.core.run.made_runs import end, method, planned_engine


def _limits(low: float | None, high: float | None, guarded: bool = False) -> Method:
    rules = ResultRules(
        residue_min_pct=low, residue_max_pct=high, rule="guarded-accept" if guarded else "simple"
    )
    return replace(method(), result=rules)


def _shown(chosen: Method, residue_g: float, outcome: E = E.ENDPOINT_REACHED) -> tuple[str, str]:
    engine: RunEngine = planned_engine(chosen)
    end(engine.run, outcome, residue_g=residue_g)
    result = run_view(engine, "r", 0).result
    assert result is not None
    return result.decision, result.decided


@pytest.mark.parametrize(
    ("low", "high", "residue_g", "shown"),
    [
        (None, 4.0, 0.95, ("accept", "at most 4 %")),
        (2.0, None, 0.95, ("accept", "at least 2 %")),
        (2.0, 4.0, 0.95, ("accept", "2 to 4 %")),
        (2.0, 4.0, 1.2, ("reject", "above 4 %")),
        (2.0, 4.0, 0.3, ("reject", "below 2 %")),
        (None, 0.0, 0.95, ("reject", "above 0 %")),
    ],
)
def test_the_limit_that_was_kept_or_missed(
    low: float | None, high: float | None, residue_g: float, shown: tuple[str, str]
) -> None:
    """0.95 g of 25 g is 3.8 %, 1.2 g is 4.8 %, 0.3 g is 1.2 %."""
    assert _shown(_limits(low, high), residue_g) == shown


@pytest.mark.parametrize(("residue_g", "near"), [(0.9999, "4 %"), (0.5001, "2 %")])
def test_a_figure_too_near_a_limit_names_that_limit(residue_g: float, near: str) -> None:
    assert _shown(_limits(2.0, 4.0, guarded=True), residue_g) == ("inconclusive", f"too near {near}")


def test_why_there_is_no_decision_in_a_few_words() -> None:
    two = replace(_limits(None, 4.0), determinations=Determinations(count=2, repeatability_limit_pct=1.0))
    assert _shown(_limits(None, None), 0.95) == ("", "no limits in the method")
    assert _shown(two, 0.95) == ("", "takes 2 determinations")
    assert _shown(_limits(None, 4.0), 0.95, E.STOPPED) == ("", "stopped by hand")
    assert _shown(_limits(None, 4.0), 0.95, E.TIME_LIMIT_REACHED) == ("", "ended at its time limit")
