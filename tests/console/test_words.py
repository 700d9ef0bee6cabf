"""Figures and states in words."""

from __future__ import annotations

from dataclasses import replace
from typing import Literal

import pytest

from logger.console import words as w
from logger.console.keys import NOTE_KINDS, USES, applies, key_labels, step
from tests.console import examples

BrokerState = Literal["off", "connecting", "up", "down", "refused"]


@pytest.mark.parametrize(
    ("seconds", "text"),
    [
        (0, "0:00"),
        (59.6, "1:00"),
        (184.2, "3:04"),
        (3723, "1:02:03"),
        (-12, "-0:12"),
        (-0.2, "0:00"),
        (None, "–"),
    ],
)
def test_durations(seconds: float | None, text: str) -> None:
    assert w.duration(seconds) == text


@pytest.mark.parametrize(
    ("seconds", "text"),
    [(0.31, "0.3 s"), (9.96, "10 s"), (119, "119 s"), (300, "5 min"), (7200, "2 h"), (None, "never")],
)
def test_ages(seconds: float | None, text: str) -> None:
    assert w.age(seconds) == text


@pytest.mark.parametrize(
    ("value", "u", "text"),
    [
        (0.8412, 0.0632, "0.841 ± 0.063"),
        (23.414, 0.12, "23.41 ± 0.12"),
        (3.7, 1.2, "3.7 ± 1.2"),
        (37.4, 12.0, "37 ± 12"),
        (0.5, None, "0.50"),
        (None, 0.1, "–"),
        (0.5, 0.0, "0.50 ± 0.00"),
        (0.5, 1e-9, "0.5000 ± 0.0000"),
    ],
)
def test_two_digits_of_the_uncertainty(value: float | None, u: float | None, text: str) -> None:
    assert w.with_uncertainty(value, u) == text


@pytest.mark.parametrize(
    ("dp_pa", "in_band", "word"),
    [
        (2500.0, True, "● IN BAND"),
        (2790.0, True, "● IN BAND"),
        (2700.0, False, "◌ SETTLING"),
        (2000.0, False, "▼ LOW"),
        (2900.0, False, "▲ HIGH"),
        (3.0, False, "○ OFF"),
        (None, False, "■ NO READING"),
    ],
)
def test_where_the_pressure_is(dp_pa: float | None, in_band: bool, word: str) -> None:
    view = replace(examples.sieving().pressure, dp_pa=dp_pa, in_band=in_band)
    assert w.pressure_word(view) == word


def test_a_pressure_that_is_no_number_is_not_called_in_band() -> None:
    view = replace(examples.sieving().pressure, quality="frozen", in_band=True)
    assert w.pressure_word(view) == "■ FROZEN"


@pytest.mark.parametrize(
    ("value_g", "stable", "quality", "text"),
    [
        (421.953, True, "ok", "421.95 g ● STABLE"),
        (421.953, False, "ok", "421.95 g ~ moving"),
        (None, True, "overload", "■ OVERLOAD"),
    ],
)
def test_the_mass_and_its_mark(value_g: float | None, stable: bool, quality: str, text: str) -> None:
    view = replace(examples.sieving().mass, value_g=value_g, stable=stable, quality=quality)
    assert w.mass_line(view) == text


def test_noise_around_zero_has_no_minus_before_a_zero() -> None:
    snapshot = examples.idle()
    assert w.pressure_figure(replace(snapshot.pressure, dp_pa=-0.3)) == "0 Pa"
    assert w.pressure_figure(replace(snapshot.pressure, dp_pa=-0.6)) == "-1 Pa"
    assert w.mass_figure(replace(snapshot.mass, value_g=-0.0001, decimals=3)) == "0.000"


def test_the_clock_shows_the_time_of_day_or_the_text() -> None:
    assert w.clock("2031-05-02T09:18:05.010Z") == "09:18:05"
    assert w.clock("not a time T at all") == "not a time …"


def test_every_link_and_broker_state_has_a_word_beside_its_shape() -> None:
    link = examples.LINKS[0]
    for state in ("silent", "lost", "absent", "wrong-instrument"):
        assert state.upper() in w.link_line(replace(link, state=state))
    broker = examples.idle().broker
    states: tuple[BrokerState, ...] = ("off", "connecting", "up", "down", "refused")
    for state in states:
        assert f"plant {state}" in w.broker_line(replace(broker, state=state))
    assert "3 set aside" in w.broker_line(replace(broker, set_aside=3))


@pytest.mark.parametrize(
    ("can", "label"),
    [
        (("acknowledge", "note", "abort"), "read cautions"),
        (("accept_weight", "type_weight", "stop"), "accept weight"),
        (("close",), "close run"),
        (("resume", "stop", "abort"), "resume"),
        (("start", "release_controls"), "new run"),
        (("take_controls",), None),
        (("hold", "stop", "abort", "note"), None),
    ],
)
def test_what_enter_does(can: tuple[str, ...], label: str | None) -> None:
    now = step(can)
    assert (now and now[1]) == label


def test_no_key_has_two_meanings_and_notes_have_kinds() -> None:
    assert len({use.key for use in USES}) == len(USES)
    assert len({use.word for use in USES}) == len(USES)
    assert set(NOTE_KINDS) == {use.key for use in USES if use.needs == "note"}


def test_only_keys_that_apply_are_shown() -> None:
    shown = {key for key, _ in key_labels(("hold", "note"), True)}
    assert shown == {"c", "h", "t", "b", "l", "m", "e", "v", "g", "?", "q"}
    assert {key for key, _ in key_labels(("hold", "start"), False)} == {"e", "v", "g", "?", "q"}
    assert not applies(next(use for use in USES if use.key == "k"), ("hold",))
