from __future__ import annotations

import pytest

from simulators.hands import Hands
from simulators.rig import Place, VirtualRig
from simulators.scenarios import Arrangement, find_scenario


class Bench:
    """A rig and hands, looked at ten times a second."""

    def __init__(self, arrangement: Arrangement = "beside", name: str = "demo-filler") -> None:
        self.rig = VirtualRig(find_scenario(name, arrangement), 1)
        self.hands = Hands(self.rig, 1)
        self.now_s = 0.0

    def where(self) -> Place:
        return self.rig.sieve_at

    def sucks(self) -> bool:
        return self.rig.suction_is_on

    def shows(self, key: str, seconds: float) -> None:
        for _ in range(round(seconds * 10)):
            self.now_s += 0.1
            self.rig.advance(self.now_s)
            self.hands.follow(key, self.now_s)


def test_a_new_instruction_is_done_after_a_while_and_once() -> None:
    bench = Bench()
    bench.shows("weigh_empty_sieve", 0.5)
    assert bench.where() == "bench"
    bench.shows("weigh_empty_sieve", 12)
    assert bench.where() == "balance"
    bench.shows("weigh_charge", 100)
    assert bench.rig.charge_g == pytest.approx(25.0, abs=0.4)


def test_suction_is_never_switched_on_unless_the_screen_says_so() -> None:
    keys = ["idle", "check_instruments", "weigh_empty_sieve", "weigh_charge", "rest", "sieving"]
    keys += ["switch_suction_off", "wait_pressure", "weigh_sieve", "held", "finished", "what_is_this", ""]
    for arrangement in ("beside", "under"):
        bench = Bench(arrangement)
        for key in keys:
            bench.shows(key, 60)
            assert not bench.sucks()


def test_delays_differ_but_are_seeded() -> None:
    def moved_at() -> float:
        bench = Bench()
        while bench.where() == "bench":
            bench.shows("weigh_empty_sieve", 0.1)
        return bench.now_s

    assert moved_at() == moved_at()
    assert 2.0 < moved_at() < 9.0


@pytest.mark.parametrize("arrangement", ["beside", "under"])
def test_held_switches_the_suction_off(arrangement: Arrangement) -> None:
    bench = Bench(arrangement)
    bench.shows("switch_suction_on", 20)
    assert bench.sucks()
    bench.shows("held", 10)
    assert not bench.sucks()


def test_what_somebody_else_undid_is_put_right_at_the_second_look() -> None:
    bench = Bench()
    bench.shows("weigh_empty_sieve", 12)
    bench.shows("weigh_charge", 15)
    bench.shows("switch_suction_on", 12)
    bench.rig.suction_off()
    bench.rig.set_lid(False)
    bench.shows("switch_suction_on", 40)
    assert bench.sucks()
    assert bench.rig.lid_is_closed
    bench.shows("switch_suction_off", 8)
    bench.rig.suction_on()
    bench.shows("wait_pressure", 40)
    assert not bench.sucks()
    bench.shows("weigh_sieve", 10)
    bench.rig.sieve_away()
    bench.rig.put_weight(50.0)
    bench.shows("weigh_sieve", 40)
    assert bench.where() == "balance"
    assert bench.rig.other_on_pan_g == 0.0


@pytest.mark.parametrize("off_g", [-2.0, 3.0])
def test_a_portion_out_of_tolerance_is_corrected(off_g: float) -> None:
    bench = Bench()
    bench.shows("weigh_empty_sieve", 12)
    bench.shows("weigh_charge", 15)
    if off_g > 0:
        bench.rig.add_powder(off_g)
    else:
        bench.rig.remove_powder(-off_g)
    bench.shows("weigh_charge", 40)
    assert bench.rig.load_g == pytest.approx(25.0, abs=0.3)
    assert bench.rig.charge_g == pytest.approx(25.0, abs=0.3)


def test_powder_that_fell_beside_the_sieve_is_cleared_and_poured_again() -> None:
    bench = Bench()
    bench.shows("weigh_charge", 15)
    assert bench.rig.other_on_pan_g > 20.0
    bench.shows("weigh_charge", 60)
    assert bench.rig.other_on_pan_g == 0.0
    assert bench.where() == "balance"
    assert bench.rig.load_g == pytest.approx(25.0, abs=0.4)


def test_a_pressure_that_stays_off_is_set_with_the_valve() -> None:
    bench = Bench()
    bench.rig.set_valve(bench.rig.valve + 0.1)
    bench.shows("switch_suction_on", 15)
    assert bench.rig.dp_pa < 2300.0
    bench.shows("switch_suction_on", 40)
    assert bench.rig.dp_pa == pytest.approx(2500.0, rel=0.05)


def test_coming_back_to_the_charge_does_not_pour_a_second_portion() -> None:
    bench = Bench()
    bench.shows("weigh_empty_sieve", 12)
    bench.shows("weigh_charge", 15)
    bench.shows("held", 5)
    bench.shows("weigh_charge", 40)
    assert bench.rig.charge_g == pytest.approx(25.0, abs=0.4)


def test_hands_off_means_off() -> None:
    bench = Bench()
    bench.hands.holds = True
    bench.shows("switch_suction_on", 60)
    assert not bench.sucks()
    assert bench.hands.next_s == float("inf")
    bench.hands.holds = False
    bench.shows("switch_suction_on", 1)
    assert bench.sucks()
