"""A sample out of specification is repeated only with a reason; nothing that was found is left out."""

from __future__ import annotations

import dataclasses

import pytest
from hypothesis import given
from hypothesis import strategies as st

from logger.core.method import Method
from logger.core.run.commands import Refused
from logger.core.run.repeats import NEEDS_REASON, EarlierResult, check_repeat, repeat_note
from tests.core.run.made_runs import method


def earlier(number: int = 1, residue_pct: float | None = 3.8, **other: object) -> EarlierResult:
    known: dict[str, object] = {
        "run_id": f"r{number}",
        "revision": 1,
        "outcome": "endpoint",
        "review": "unreviewed",
        "aperture_um": 45.0,
        "decision": None,
    }
    return EarlierResult(number=number, residue_pct=residue_pct, **(known | other))  # type: ignore[arg-type]


def twice() -> Method:
    """Two determinations, residue at most 4.0 %."""
    return method(determinations=dataclasses.replace(method().determinations, count=2))


def test_a_rejected_result_asks_for_a_reason_and_every_result_is_listed() -> None:
    found = [earlier(1, 3.8, decision="accept"), earlier(2, 4.6, decision="reject"), earlier(3, None)]
    with pytest.raises(Refused, match=rf"run 2: 4\.60 %\): {NEEDS_REASON}"):
        check_repeat(method(), 45.0, found, " ")
    repeat = check_repeat(method(), 45.0, found, "spilt while charging")
    assert repeat is not None
    assert [each.number for each in repeat.earlier] == [1, 2]
    ((key, text),) = repeat_note(repeat)
    assert key == "out-of-specification-repeat"
    assert "run 1 3.80 %, run 2 4.60 %" in text
    assert "spilt while charging" in text


@pytest.mark.parametrize(
    "found",
    [
        [],
        [earlier(1, 3.8, decision="accept")],
        [earlier(1, 4.6, decision="reject", aperture_um=90.0)],
        [earlier(1, None, decision=None, outcome="invalid")],
        [earlier(1, 4.6, decision=None, outcome="time-limit")],
        [earlier(1, 4.6, decision="inconclusive")],
    ],
)
def test_nothing_is_asked_without_a_result_out_of_specification(found: list[EarlierResult]) -> None:
    assert check_repeat(method(), 45.0, found, "") is None
    assert repeat_note(None) == []


def test_the_determinations_that_a_method_asks_for_are_no_repeats() -> None:
    assert check_repeat(twice(), 45.0, [earlier(1, 4.6)], "") is None
    with pytest.raises(Refused, match="runs 1, 2 together: 4"):
        check_repeat(twice(), 45.0, [earlier(1, 4.6), earlier(2, 4.4)], "")
    assert check_repeat(twice(), 45.0, [earlier(1, 4.6), earlier(2, 3.0)], "") is None
    assert check_repeat(twice(), 45.0, [earlier(1, 4.6), earlier(2, 4.4, review="rejected")], "") is None


def test_a_determination_that_was_corrected_away_neither_hides_a_joined_result_nor_saves_it() -> None:
    away = earlier(2, 4.4, now="sample S-9")
    with pytest.raises(Refused, match="runs 1, 2, corrected to sample S-9 since together"):
        check_repeat(twice(), 45.0, [earlier(1, 4.6), away], "")
    with pytest.raises(Refused, match="runs 1, 3 together"):
        check_repeat(twice(), 45.0, [earlier(1, 4.6), earlier(2, 1.0, now="sample S-9"), earlier(3, 4.6)], "")
    assert check_repeat(twice(), 45.0, [earlier(1, 3.0), away], "") is None


@given(st.lists(st.tuples(st.floats(0, 100), st.sampled_from(["accept", "reject", "inconclusive", None]))))
def test_one_rejected_result_is_never_forgotten(results: list[tuple[float, str | None]]) -> None:
    found = [earlier(n, residue, decision=decision) for n, (residue, decision) in enumerate(results, 1)]
    if any(decision == "reject" for _, decision in results):
        with pytest.raises(Refused):
            check_repeat(method(), 45.0, found, "")
        repeat = check_repeat(method(), 45.0, found, "why")
        assert repeat is not None
        assert len(repeat.earlier) == len(results)
    else:
        assert check_repeat(method(), 45.0, found, "") is None
