from __future__ import annotations

from dataclasses import replace

import pytest

from drivers.line_codec import LineCodec
from drivers.link_watch import FOREIGN_LINES, LinkWatch, Verdict
from drivers.profile import LineProfile
from tests.drivers.dialects import shipped

MASS = shipped("streamed-line-balance")
PRESSURE = shipped("streamed-line-pressure")
GOOD = b"g      412,36 = 0417\r"


class Link:
    """A watch with a codec before it, and what the operator was told."""

    def __init__(self, profile: LineProfile = MASS, *others: LineProfile, period_s: float = 0.1) -> None:
        self.codec = LineCodec(profile)
        self.watch = LinkWatch(profile, "PORT", others, period_s=period_s, garbage_s=5.0)
        self.told: list[Verdict] = []
        self.open(0.0)

    def open(self, now_s: float) -> None:
        self.codec.reset()
        self.watch.opened(now_s)
        self.codec.receive(self.codec.profile.terminator, 0)

    def hear(self, data: bytes, now_s: float) -> None:
        self.codec.receive(data, 0)
        self._keep(self.watch.heard([(data, 0)], self.codec.readings(), self.codec.wrong_unit, now_s))

    def wait(self, start_s: float, end_s: float, noise: bytes = b"") -> None:
        for tenth in range(round(start_s * 10) + 1, round(end_s * 10) + 1):
            if noise:
                self.hear(noise, tenth / 10)
            self._keep(self.watch.tick(tenth / 10))

    @property
    def states(self) -> list[str]:
        return [verdict.state for verdict in self.told]

    def _keep(self, verdict: Verdict | None) -> None:
        if verdict is not None:
            self.told.append(verdict)


def test_an_open_port_is_not_up_before_a_good_line() -> None:
    link = Link()
    link.wait(0, 1.9)
    assert link.told == []
    link.hear(GOOD * 3, 1.9)
    link.hear(GOOD, 2.0)
    assert link.states == ["up"]


def test_silence_is_told_once_and_ends_with_the_next_good_line() -> None:
    link = Link()
    link.hear(GOOD, 1.0)
    link.wait(1.0, 2.9)
    assert link.states == ["up"]
    link.wait(2.9, 30.0)
    link.hear(GOOD, 30.0)
    assert link.states == ["up", "silent", "up"]
    assert link.told[1].text == (
        "nothing received at PORT for 2 s: check that the instrument is on and set to send by itself."
    )


def test_a_polled_instrument_that_does_not_answer_is_told_so() -> None:
    link = Link(shipped("polled-line-balance"))
    link.wait(0, 2.0)
    assert link.told[0].text.startswith("no answer at PORT for 2 s: check that the instrument is on")


@pytest.mark.parametrize("noise", [b"\xb9\xf2\x8a", b"\r", b"x" * 300, b"g      1.2.3  = 0417\r"])
def test_only_garbage_questions_the_settings_after_five_seconds(noise: bytes) -> None:
    link = Link()
    link.wait(0, 4.9, noise)
    assert link.states == ["silent"]
    assert link.told[0].text.startswith("only unreadable lines at PORT for 2 s")
    link.wait(4.9, 20.0, noise)
    assert link.states == ["silent", "silent"]
    assert link.told[1].text == "no valid line in 5 s at PORT: check baud rate, parity and profile."


def test_one_bad_line_and_then_nothing_is_plain_silence() -> None:
    link = Link()
    link.hear(b"\x00\r", 0.1)
    link.wait(0.1, 20.0)
    assert all("baud rate, parity" not in verdict.text for verdict in link.told)


def test_garbage_among_good_lines_leaves_the_link_up() -> None:
    link = Link()
    link.wait(0, 20.0, b"\xff\r" + GOOD)
    assert link.states == ["up"]


def test_overload_is_a_good_line() -> None:
    link = Link()
    link.hear(b"g    OVERLOAD = 0420\r", 1.0)
    assert link.states == ["up"]


def test_a_slow_instrument_is_silent_only_after_three_periods() -> None:
    link = Link(period_s=4.0)
    link.hear(GOOD, 0.0)
    link.wait(0, 11.9)
    assert link.states == ["up"]
    link.wait(11.9, 12.0)
    assert link.states == ["up", "silent"]


def test_lines_of_the_neighbour_mean_swapped_ports() -> None:
    link = Link(MASS, PRESSURE)
    link.wait(0, 1.0, b"dp=+2512.3 Pa;ok\n")
    assert link.states == ["wrong-instrument"]
    assert link.told[0].text == (
        'the instrument at PORT sends lines of "Differential pressure, streamed ten times a second", '
        'expected is "Weighing platform, streamed ten times a second": the ports may be swapped, '
        "exchange them at the rig or in the bench file."
    )
    link.wait(1.0, 10.0, b"dp=+2512.3 Pa;ok\n")
    assert link.states == ["wrong-instrument"]
    link.hear(b"\r" + GOOD, 10.0)
    assert link.states == ["wrong-instrument", "up"]


def test_the_own_dialect_in_the_unit_of_another_quantity_means_swapped_ports() -> None:
    link = Link(shipped("polled-line-balance"))
    for i in range(FOREIGN_LINES):
        assert link.told == []
        link.hear(b"S + 2512.300 Pa\r\n", i / 10)
    assert link.states == ["wrong-instrument"]
    assert "sends lines in Pa" in link.told[0].text


def test_another_unit_of_the_same_quantity_is_not_another_instrument() -> None:
    link = Link()
    link.wait(0, 3.0, b"kg    0,41236 = 0417\r")
    assert link.states == ["up"]


def test_a_neighbour_of_the_same_dialect_is_never_suspected() -> None:
    link = Link(MASS, replace(MASS, name="other"))
    link.hear(GOOD * 20, 1.0)
    link.wait(1.0, 10.0, b"\xff\r")
    assert link.states == ["up", "silent", "silent"]


def test_good_time_counts_from_the_first_good_line_and_ends_with_silence() -> None:
    link = Link()
    assert link.watch.good_for_s(5.0) == 0.0
    link.hear(GOOD, 5.0)
    link.hear(GOOD, 6.0)
    assert link.watch.good_for_s(6.5) == 1.5
    link.wait(6.0, 9.0)
    assert link.watch.good_for_s(9.0) == 0.0


def test_after_a_loss_the_same_state_is_news_again() -> None:
    link = Link()
    link.hear(GOOD, 1.0)
    link.watch.closed()
    link.open(2.0)
    link.hear(GOOD, 3.0)
    assert link.states == ["up", "up"]
