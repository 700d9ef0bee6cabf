"""Whole runs in virtual time, driven by a small sequence of instructions as a service would show them."""

from __future__ import annotations

import pytest

from simulators.scenarios import Arrangement
from simulators.virtual import Sent, VirtualBench

SECOND_NS = 1_000_000_000


class Screen:
    """Shows instructions to the hands of a bench and polls what has to be polled."""

    def __init__(self, bench: VirtualBench) -> None:
        self.bench = bench
        self.sent: list[Sent] = []

    def shows(self, key: str, seconds: float) -> None:
        end_ns = self.bench.now_ns + round(seconds * SECOND_NS)
        while self.bench.now_ns < end_ns:
            self.bench.follow(key)
            for port in self.bench.instruments:
                request = self.bench.instrument_behind(port).request
                if request:
                    self.bench.write(port, request, self.bench.now_ns)
            self.sent += self.bench.step_to(self.bench.now_ns + SECOND_NS // 5)

    def last_mass_g(self) -> float:
        """The last weighing on the wire, read as a person reads it."""
        line = next(data for _, port, data in reversed(self.sent) if port == "mass")
        text = line.decode().replace(",", ".")
        return float(text[3:12].replace(" ", "") if text[0] in "SD" else text[3:13])


def a_screen(arrangement: Arrangement, name: str = "demo-filler", seed: int = 3) -> Screen:
    return Screen(VirtualBench(name, seed, arrangement=arrangement))


def an_interval_run(screen: Screen) -> list[float]:
    """Weighings in g: empty sieve, sieve with charge, then after each interval."""
    weighings = []
    screen.shows("check_instruments", 5)
    screen.shows("weigh_empty_sieve", 14)
    weighings.append(screen.last_mass_g())
    screen.shows("weigh_charge", 20)
    weighings.append(screen.last_mass_g())
    for _ in range(3):
        screen.shows("switch_suction_on", 18)
        screen.shows("sieving", 180)
        screen.shows("switch_suction_off", 8)
        screen.shows("wait_pressure", 8)
        screen.shows("weigh_sieve", 16)
        weighings.append(screen.last_mass_g())
    screen.shows("finished", 12)
    weighings.append(screen.last_mass_g())
    return weighings


def test_hands_do_a_whole_interval_run() -> None:
    screen = a_screen("beside")
    empty_g, full_g, *later_g, end_g = an_interval_run(screen)
    charge_g = full_g - empty_g
    assert empty_g == pytest.approx(386.214, abs=0.005)
    assert charge_g == pytest.approx(25.0, abs=0.4)
    shares = [(mass_g - empty_g) / charge_g for mass_g in later_g]
    assert shares[0] < 0.2
    assert shares == sorted(shares, reverse=True)
    assert 0.10 < shares[-1] < 0.13
    assert later_g[-1] - empty_g == pytest.approx(screen.bench.rig.load_g, abs=0.005)
    assert end_g == pytest.approx(0.0, abs=0.005)


def a_live_run(screen: Screen) -> tuple[float, float, float]:
    """Readings in g: empty sieve, at rest with the charge, with the suction off at the end."""
    screen.shows("check_instruments", 5)
    screen.shows("weigh_empty_sieve", 14)
    empty_g = screen.last_mass_g()
    screen.shows("weigh_charge", 25)
    screen.shows("rest", 60)
    full_g = screen.last_mass_g()
    screen.shows("switch_suction_on", 20)
    screen.shows("sieving", 540)
    screen.shows("switch_suction_off", 8)
    screen.shows("wait_pressure", 10)
    screen.shows("weigh_sieve", 20)
    return empty_g, full_g, screen.last_mass_g()


def test_hands_do_a_whole_live_run() -> None:
    screen = a_screen("under")
    empty_g, full_g, residue_g = a_live_run(screen)
    assert empty_g == pytest.approx(386.214, abs=0.05)
    assert full_g - empty_g == pytest.approx(50.0, abs=0.5)
    assert residue_g - empty_g == pytest.approx(screen.bench.rig.load_g, abs=0.25)
    assert 0.10 < (residue_g - empty_g) / (full_g - empty_g) < 0.13
    screen.shows("weigh_empty_sieve", 20)
    assert screen.last_mass_g() == pytest.approx(empty_g, abs=0.05)


@pytest.mark.parametrize("arrangement", ["beside", "under"])
def test_a_seed_gives_the_same_bytes_and_another_seed_others(arrangement: Arrangement) -> None:
    def bytes_of(seed: int) -> list[Sent]:
        screen = a_screen(arrangement, seed=seed)
        screen.shows("weigh_empty_sieve", 14)
        screen.shows("weigh_charge", 20)
        screen.shows("switch_suction_on", 40)
        return screen.sent

    assert bytes_of(5) == bytes_of(5)
    assert bytes_of(5) != bytes_of(6)


def test_how_long_the_steps_are_does_not_change_what_a_streamed_bench_says() -> None:
    outs = []
    for pace_ns in (SECOND_NS // 7, 11 * SECOND_NS):
        bench = VirtualBench("demo-filler", 3, arrangement="under")
        sent = []
        bench.follow("switch_suction_on")
        while bench.now_ns < 33 * SECOND_NS:
            sent += bench.step_to(min(bench.now_ns + pace_ns, 33 * SECOND_NS))
        outs.append(sent)
    assert outs[0] == outs[1]


def test_times_rise_and_never_pass_the_step() -> None:
    bench = VirtualBench("demo-filler", arrangement="under", start_ns=5_000_000_000)
    sent = bench.step_to(9_000_000_000)
    times = [at_ns for at_ns, _, _ in sent]
    assert times == sorted(times)
    assert times[0] == 5_000_000_000
    assert times[-1] <= 9_000_000_000
    assert bench.seconds(bench.now_ns) == 4.0
    assert bench.rig.now_s == 4.0


def test_a_second_run_on_the_same_bench_starts_with_a_clean_sieve() -> None:
    screen = a_screen("beside")
    an_interval_run(screen)
    empty_g, full_g, *_ = an_interval_run(screen)
    assert empty_g == pytest.approx(386.214, abs=0.005)
    assert full_g - empty_g == pytest.approx(25.0, abs=0.4)
