"""Effective time, band and lid, against arithmetic done by hand."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from logger.core.method import Suction
from logger.core.run.pressure import LID_HOLD_S, PressureTracker

SUCTION = Suction(dp_pa=2500, band_pa=250, settle_s=5)


def tracker(counting: bool = True) -> PressureTracker:
    subject = PressureTracker(SUCTION, lid_open_pa=50, gap_s=2)
    subject.counting = counting
    return subject


def feed(subject: PressureTracker, *points: tuple[float, float | None]) -> None:
    for t_s, dp_pa in points:
        subject.add(int(t_s * 1e9), dp_pa)


def test_effective_time_is_the_integral_of_the_pressure_ratio_inside_the_band() -> None:
    subject = tracker()
    feed(subject, (0, 2500), (1, 2500), (2, 2300), (3, 2300))
    assert subject.effective_s == pytest.approx(1 + 2400 / 2500 + 2300 / 2500)


def test_time_outside_the_band_or_across_its_edge_counts_nothing() -> None:
    subject = tracker()
    feed(subject, (0, 2500), (1, 2200), (2, 2200), (3, 2500))
    assert subject.effective_s == 0
    assert subject.out_of_band_s == pytest.approx(3)


def test_a_gap_is_never_bridged() -> None:
    subject = tracker()
    feed(subject, (0, 2500), (5, 2500), (6, 2500))
    assert subject.effective_s == pytest.approx(1)


def test_a_lost_link_is_stale_at_once_and_its_gap_counts_nothing() -> None:
    subject = tracker()
    feed(subject, (0, 2500), (1, 2500))
    subject.link_lost(int(1.1e9))
    assert not subject.fresh(int(1.2e9))
    assert subject.outside_s(int(2.1e9)) == pytest.approx(1.0)
    feed(subject, (1.5, 2500), (2.5, 2500))
    assert subject.fresh(int(2.5e9))
    assert subject.effective_s == pytest.approx(2.0)


def test_a_bad_reading_neither_counts_nor_resets() -> None:
    subject = tracker()
    feed(subject, (0, 2500), (0.5, None), (1, 2500))
    assert subject.effective_s == pytest.approx(1)


def test_nothing_counts_while_the_run_does_not_sieve() -> None:
    subject = tracker(counting=False)
    feed(subject, (0, 2500), (1, 2500))
    assert subject.effective_s == 0


def test_edges_of_the_band_belong_to_it() -> None:
    subject = tracker()
    assert subject.in_band(2250)
    assert subject.in_band(2750)
    assert not subject.in_band(2249.9)
    assert not subject.in_band(None)


def test_lid_only_after_suction_was_seen_and_the_pressure_stayed_low() -> None:
    subject = tracker()
    feed(subject, (0, 0), (1, 0), (2, 0), (3, 0), (4, 0))
    assert not subject.lid_may_open(int(4e9)), "no suction was seen in this run"
    feed(subject, (5, 2500), (6, 20), (7, 20), (8, 20))
    assert not subject.lid_may_open(int(8e9)), "low for two seconds only"
    feed(subject, (9, 20))
    assert subject.lid_may_open(int(9e9))
    assert not subject.lid_may_open(int(12e9)), "the last reading is stale"


def test_a_gap_while_the_pressure_falls_starts_the_wait_again() -> None:
    subject = tracker()
    feed(subject, (0, 2500), (1, 20), (6, 20), (7, 20))
    assert not subject.lid_may_open(int(7e9))
    feed(subject, (8, 20), (9, 20))
    assert subject.lid_may_open(int(9e9))


def test_the_very_same_pressure_for_long_is_frozen_but_a_quiet_zero_is_not() -> None:
    subject = tracker()
    feed(subject, *((t, 2500.0) for t in range(40)))
    assert subject.frozen(int(39e9))
    quiet = tracker()
    feed(quiet, *((t, 0.0) for t in range(40)))
    assert not quiet.frozen(int(39e9))


@given(
    st.lists(
        st.tuples(st.floats(0.01, 4), st.one_of(st.none(), st.floats(-100, 6000))), min_size=1, max_size=60
    )
)
def test_effective_time_never_exceeds_time_times_the_top_of_the_band(
    steps: list[tuple[float, float | None]],
) -> None:
    subject, t_s = tracker(), 0.0
    for dt_s, dp_pa in steps:
        before = subject.effective_s
        t_s += dt_s
        subject.add(int(t_s * 1e9), dp_pa)
        assert subject.effective_s >= before
    assert subject.effective_s <= t_s * 2750 / 2500 + 1e-6
    assert math.isfinite(subject.effective_s)
    if subject.lid_may_open(int(t_s * 1e9)):
        assert abs(subject.dp_pa or 0) < 50
        assert t_s >= LID_HOLD_S
