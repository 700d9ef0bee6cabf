"""What a sample still needs after its runs."""

from __future__ import annotations

from dataclasses import replace

import pytest

from logger.core.method import Determinations, Method, Sieve
from logger.core.run.commands import Refused
from logger.core.worklist.job import NextStep, RunMade, complete_text, next_step
from logger.core.worklist.start import carried_portion, with_next_sieve
from tests.core.run.plans import interval_method


def _method(count: int = 1, limit: float | None = None, sieve: Sieve | None = None) -> Method:
    rules = Determinations(count=count, repeatability_limit_pct=limit)
    return replace(interval_method(), determinations=rules, sieve=sieve or Sieve(aperture_um=45.0))


def run(
    number: int, residue_pct: float | None = 10.0, aperture_um: float = 45.0, outcome: str = "endpoint"
) -> RunMade:
    return RunMade(
        number=number,
        run_id=f"run-{number}",
        sample_id="S-1",
        lot="L",
        sampled_at="",
        method_id="m",
        revision=1,
        started_at=f"2026-02-01T0{number % 10}:00:00.000Z",
        outcome=outcome,
        review="unreviewed",
        aperture_um=aperture_um,
        sieve_id="",
        residue_pct=residue_pct,
        residue_g=None if residue_pct is None else residue_pct / 4,
    )


def _step(found: NextStep | None) -> NextStep:
    assert found is not None
    return found


def test_one_determination_is_enough_where_one_is_asked_for() -> None:
    assert _step(next_step(_method(), [])).text == "the first determination, on a fresh test portion"
    assert next_step(_method(), [run(1)]) is None
    assert complete_text(_method(), [run(1)]) == ""


def test_a_second_determination_is_asked_for_and_then_the_results() -> None:
    method = _method(2)
    step = _step(next_step(method, [run(1)]))
    assert (step.determination, step.determinations) == (2, 2)
    assert step.text == "determination 2 of 2, on a fresh test portion"
    assert next_step(method, [run(1), run(2)]) is None
    assert complete_text(method, [run(1), run(2)]).endswith("lastgrain results --sample S-1")


def test_determinations_that_differ_ask_for_one_more() -> None:
    step = _step(next_step(_method(2, 1.0), [run(1, 10.0), run(2, 12.0)]))
    assert step.determination == 3
    assert "2.00 % apart, 1.00 % allowed" in step.text
    assert next_step(_method(2, 1.0), [run(1, 10.0), run(2, 10.5)]) is None


@pytest.mark.parametrize("outcome", ["aborted", "invalid", "interrupted", "time-limit", "stopped", ""])
def test_a_run_that_did_not_reach_its_endpoint_does_not_count(outcome: str) -> None:
    step = _step(next_step(_method(), [run(1, None if outcome == "aborted" else 10.0, outcome=outcome)]))
    assert step.determination == 1


def test_several_sieves_fresh_portions_finest_first_in_any_order() -> None:
    method = _method(1, sieve=Sieve(apertures_um=(45.0, 63.0, 90.0)))
    assert _step(next_step(method, [])).text == "sieve 1 of 3, 45 µm, on a fresh test portion"
    assert _step(next_step(method, [run(1, aperture_um=63.0)])).aperture_um == 45.0
    step = _step(next_step(method, [run(1, aperture_um=63.0), run(2, aperture_um=45.0)]))
    assert (step.aperture_um, step.portion, step.carried_g) == (90.0, "fresh", None)
    done = [run(1, aperture_um=63.0), run(2, aperture_um=45.0), run(3, aperture_um=90.0)]
    assert next_step(method, done) is None
    assert complete_text(method, done) == "The distribution is complete: lastgrain distribution 1 2 3"
    assert next_step(method, [run(1, aperture_um=63.0)], aperture_um=63.0) is None


def test_one_portion_goes_over_all_sieves_before_the_next_determination() -> None:
    method = _method(2, sieve=Sieve(apertures_um=(45.0, 63.0), portion="same"))
    step = _step(next_step(method, [run(1, 40.0)]))
    assert (step.aperture_um, step.portion, step.carried_g, step.carried_from) == (63.0, "same", 10.0, 1)
    assert step.text == "sieve 2 of 2, 63 µm, determination 1 of 2, on the residue of run 1"
    again = _step(next_step(method, [run(1, 40.0), run(2, 50.0, 63.0)]))
    assert (again.aperture_um, again.portion, again.determination) == (45.0, "fresh", 2)
    runs = [run(1, 40.0), run(2, 50.0, 63.0), run(3, 41.0), run(4, 50.0, 63.0)]
    assert next_step(method, runs) is None


def test_an_aborted_sieve_of_one_portion_is_repeated() -> None:
    method = _method(1, sieve=Sieve(apertures_um=(45.0, 63.0), portion="same"))
    step = _step(next_step(method, [run(1, 40.0), run(2, None, 63.0, "aborted")]))
    assert (step.aperture_um, step.carried_from) == (63.0, 1)


def test_the_start_takes_the_next_sieve_and_the_portion_on_it() -> None:
    method = _method(1, sieve=Sieve(apertures_um=(45.0, 63.0, 90.0), portion="same"))
    runs = [run(1, 40.0)]
    step = next_step(method, runs)
    assert with_next_sieve({}, step, registered=False) == {"aperture_um": 63.0}
    assert with_next_sieve({}, step, registered=True) == {}
    assert with_next_sieve({"aperture_um": 90.0}, step, registered=False) == {"aperture_um": 90.0}
    portion = carried_portion(method, step, runs, 63.0)
    assert portion is not None
    assert (portion.from_run, portion.run_id, portion.mass_g) == (1, "run-1", 10.0)
    assert carried_portion(method, step, runs, 45.0) is None, "begun anew"
    with pytest.raises(Refused, match="next is 63 µm, not 90 µm"):
        carried_portion(method, step, runs, 90.0)
