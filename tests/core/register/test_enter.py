"""Entries of the register: what is kept, what is judged, what is refused with which sentence."""

from __future__ import annotations

import json
import re
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from logger.core.refusal import ResultError
from logger.core.register.events import RegisterKind as K
from logger.core.run.commands import Refused
from tests.core.register.entries import REFERENCE, SIEVE, Register, with_sieve

SPAN = [{"applied_pa": 9.0, "reading_pa": 9.0}]


def test_a_sieve_comes_back_with_its_history() -> None:
    register = with_sieve()
    entry = register.state.sieves["S-45-01"]
    assert (entry.sieve.aperture_um, entry.sieve.frame_mm) == (45.0, 200.0)
    assert [tare.mass_g for tare in entry.tares] == [412.02]
    assert entry.factor is not None
    assert entry.factor.factor == pytest.approx(4.9 / 4.6)
    assert str(entry.last_check) == "2026-01-12"


def test_the_newest_check_counts_whatever_the_order_of_entry() -> None:
    register = with_sieve()
    register.add(K.SIEVE_REFERENCED, REFERENCE | {"found_pct": 4.8, "checked_on": "2025-06-01"})
    entry = register.state.sieves["S-45-01"]
    assert len(entry.factors) == 2
    assert entry.factor is not None
    assert entry.factor.found_pct == 4.6
    register.add(K.SIEVE_REFERENCED, REFERENCE | {"found_pct": 4.7})
    entry = register.state.sieves["S-45-01"]
    assert entry.factor is not None
    assert entry.factor.found_pct == 4.7, "the same day: the later entry"


def test_every_entry_says_who_when_and_why() -> None:
    event = with_sieve().events[0]
    assert (event.by, event.why, event.utc) == ("op-7", "test", "2026-02-01T06:00:00.000Z")


def test_a_tare_is_judged_against_the_last_one() -> None:
    register = with_sieve()
    same = register.add(K.SIEVE_TARED, {"sieve_id": "S-45-01", "mass_g": 412.03})
    assert same.data["text"] == "tare 412.030 g, +0.010 g since the last one"
    heavier = register.add(K.SIEVE_TARED, {"sieve_id": "S-45-01", "mass_g": 412.2})
    assert "clogged" in heavier.data["text"]
    lighter = register.add(K.SIEVE_TARED, {"sieve_id": "S-45-01", "mass_g": 411.9})
    assert "torn" in lighter.data["text"]


def test_a_balance_check_keeps_its_failure() -> None:
    register = Register()
    good = register.add(K.BALANCE_CHECKED, {"weight_id": "W-200", "zero_g": 0.0, "reading_g": 200.003})
    bad = register.add(K.BALANCE_CHECKED, {"weight_id": "W-200", "zero_g": 0.001, "reading_g": 200.005})
    assert (good.data["passed"], bad.data["passed"]) == (True, False)
    assert [check.passed for check in register.state.balance_checks] == [True, False]
    assert register.state.balance_checks[0].certificate == "C-1"


def test_a_pressure_check_judges_zero_and_span() -> None:
    register = Register()
    span = [{"applied_pa": 2500.0, "reading_pa": 2550.0}]
    good = register.add(
        K.PRESSURE_CHECKED, {"zero_pa": -10.0, "span": span, "reference": "REF-1", "certificate": "CAL-7"}
    )
    assert good.data["passed"], "2 % and 10 Pa are just allowed"
    for entry, words in (
        ({"zero_pa": 11.0}, "zero is +11 Pa, 10 Pa allowed"),
        (
            {
                "zero_pa": 0.0,
                "reference": "R",
                "certificate": "C",
                "span": [{"applied_pa": 1000.0, "reading_pa": 1021.0}],
            },
            "+2.1 % off at 1000 Pa",
        ),
    ):
        bad = register.add(K.PRESSURE_CHECKED, entry)
        assert not bad.data["passed"]
        assert words in bad.data["text"]
    assert [check.passed for check in register.state.pressure_checks] == [True, False, False]


def test_a_retired_sieve_takes_no_more_entries() -> None:
    register = with_sieve()
    register.add(K.SIEVE_RETIRED, {"sieve_id": "S-45-01"}, why="torn")
    assert register.state.sieves["S-45-01"].retired == "torn"
    with pytest.raises(ResultError, match="was retired"):
        register.add(K.SIEVE_TARED, {"sieve_id": "S-45-01", "mass_g": 412.0})


@pytest.mark.parametrize(
    ("kind", "entry", "words"),
    [
        (K.SIEVE_ADDED, SIEVE, "in the register already"),
        (K.SIEVE_ADDED, SIEVE | {"id": "a b"}, "letters, digits, dots"),
        (K.SIEVE_ADDED, SIEVE | {"id": ""}, "a sieve's id"),
        (K.SIEVE_ADDED, SIEVE | {"id": "S-2", "aperture_um": 46.0}, "no nominal aperture"),
        (K.SIEVE_ADDED, SIEVE | {"id": "S-2", "aperture_um": float("nan")}, "not a number"),
        (K.SIEVE_ADDED, SIEVE | {"id": "S-2", "aperture_um": "45"}, "must be a number"),
        (K.SIEVE_ADDED, SIEVE | {"id": "S-2", "aperture_um": True}, "must be a number"),
        (K.SIEVE_ADDED, SIEVE | {"id": "S-2", "standard": "ISO 3310-1"}, "standard must be one of"),
        (
            K.SIEVE_ADDED,
            SIEVE | {"id": "S-2", "aperture_um": 10.0, "standard": "certificate"},
            "needs mean aperture",
        ),
        (K.SIEVE_ADDED, SIEVE | {"id": "S-2", "mean_aperture_um": 45.0}, "together"),
        (
            K.SIEVE_ADDED,
            SIEVE
            | {
                "id": "S-2",
                "mean_aperture_um": 49.0,
                "mean_aperture_u_um": 0.5,
                "certificate": "C",
                "certified_on": "2026-01-01",
            },
            "outside the tolerance Y = 2.8",
        ),
        (K.SIEVE_ADDED, SIEVE | {"id": "S-2", "certified_on": "1.1.2026"}, "YYYY-MM-DD"),
        (K.SIEVE_ADDED, SIEVE | {"id": "S-2", "certified_on": "2026-02-02"}, "after today"),
        (K.SIEVE_TARED, {"sieve_id": "S-9", "mass_g": 1.0}, "not in the register; there are: S-45-01"),
        (K.SIEVE_TARED, {"sieve_id": "S-45-01", "mass_g": 49.0}, "49 g is no test sieve"),
        (K.SIEVE_REFERENCED, REFERENCE | {"found_pct": 0.0}, "no factor can be formed"),
        (K.SIEVE_REFERENCED, REFERENCE | {"checked_on": ""}, "has no date"),
        (K.SIEVE_REFERENCED, REFERENCE | {"certificate": " "}, "names no certificate"),
        (K.BALANCE_CHECKED, {"weight_id": "W-1", "zero_g": 0.0, "reading_g": 1.0}, "it has W-200"),
        (K.BALANCE_CHECKED, {"weight_id": "W-200", "zero_g": 0.0}, "reading_g must be a number"),
        (
            K.PRESSURE_CHECKED,
            {"zero_pa": 0.0, "span": [{"applied_pa": 0.0, "reading_pa": 1.0}]},
            "above zero",
        ),
        (K.PRESSURE_CHECKED, {"zero_pa": 0.0, "span": SPAN}, "reference"),
        (K.PRESSURE_CHECKED, {"zero_pa": 0.0, "span": SPAN, "reference": "R"}, "certificate"),
        (
            K.PRESSURE_CHECKED,
            {"zero_pa": 0.0, "span": SPAN, "reference": "R", "certificate": "C", "valid_until": "2026-01-31"},
            "valid until 2026-01-31",
        ),
    ],
)
def test_what_cannot_be_kept_is_a_sentence(kind: K, entry: dict[str, Any], words: str) -> None:
    register = with_sieve()
    before = len(register.events)
    with pytest.raises(ResultError, match=re.escape(words)):
        register.add(kind, entry)
    assert len(register.events) == before


def test_nobody_is_no_name_and_texts_are_clean() -> None:
    with pytest.raises(ResultError, match="say who you are"):
        Register().add(K.SIEVE_ADDED, SIEVE, by=" ")
    with pytest.raises(Refused, match="cannot be printed"):
        Register().add(K.SIEVE_ADDED, SIEVE, why="a\u202eb")
    with pytest.raises(ResultError, match="say why"):
        with_sieve().add(K.SIEVE_RETIRED, {"sieve_id": "S-45-01"}, why="")


def test_an_electroformed_sieve_stands_on_its_certificate() -> None:
    register = Register()
    fine = SIEVE | {
        "id": "S-10",
        "aperture_um": 10.0,
        "standard": "certificate",
        "certificate": "C-10",
        "certified_on": "2026-01-01",
        "mean_aperture_um": 10.1,
        "mean_aperture_u_um": 0.2,
    }
    register.add(K.SIEVE_ADDED, fine)
    assert register.state.sieves["S-10"].sieve.aperture_u_um == 0.2


ANYTHING = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=20),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=5), inner, max_size=3),
    max_leaves=6,
)
NAMES = st.sampled_from(
    sorted({*SIEVE, *REFERENCE, "mass_g", "weight_id", "zero_g", "reading_g", "zero_pa", "span", "run_ids"})
)
USUAL = (
    SIEVE
    | REFERENCE
    | {"weight_id": "W-200", "zero_g": 0.0, "reading_g": 200.0, "zero_pa": 0.0, "mass_g": 412.0}
)


def attempt(register: Register, kind: K, entry: dict[str, Any]) -> dict[str, Any] | str:
    """The kept data, or the sentence of the refusal. Anything else would end the test."""
    try:
        return register.add(kind, entry).data
    except (ResultError, Refused) as refusal:
        return str(refusal)


@settings(deadline=None, max_examples=300)
@given(st.sampled_from(list(K)), st.dictionaries(NAMES, ANYTHING, max_size=4), st.booleans())
def test_any_entry_is_kept_whole_or_refused_with_a_sentence(
    kind: K, odd: dict[str, Any], usual: bool
) -> None:
    register = with_sieve()
    before = register.state
    answer = attempt(register, kind, (USUAL | odd) if usual else odd)
    assert answer
    if isinstance(answer, str):
        assert register.state == before
    else:
        assert json.loads(json.dumps(answer, allow_nan=False)) == answer
        assert register.state != before
