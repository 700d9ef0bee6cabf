from __future__ import annotations

import numpy as np
import pytest

from simulators.rig import VirtualRig
from simulators.scenarios import Arrangement, find_scenario


def a_rig(arrangement: Arrangement = "beside", name: str = "demo-filler", seed: int = 1) -> VirtualRig:
    return VirtualRig(find_scenario(name, arrangement), seed)


def shows_g(rig: VirtualRig, after_s: float = 10.0) -> float:
    rig.advance(rig.now_s + after_s)
    return rig.balance().mass_g


def test_an_interval_of_sieving_by_hand() -> None:
    rig = a_rig()
    assert shows_g(rig) == pytest.approx(0.0, abs=0.003)
    rig.place_sieve()
    tare_g = shows_g(rig)
    assert tare_g == pytest.approx(386.214, abs=0.003)
    charge_g = rig.pour_charge()
    assert charge_g == pytest.approx(25.0, abs=0.4)
    assert shows_g(rig) - tare_g == pytest.approx(charge_g, abs=0.003)
    rig.sieve_to_rig()
    rig.suction_on()
    rig.advance(rig.now_s + 180.0)
    assert rig.pressure().dp_pa == pytest.approx(2500.0, rel=0.05)
    rig.suction_off()
    rig.advance(rig.now_s + 10.0)
    assert abs(rig.pressure().dp_pa) < 20.0
    rig.sieve_to_balance()
    assert shows_g(rig) - tare_g == pytest.approx(rig.load_g, abs=0.004)
    assert 0.1 < rig.load_g / charge_g < 0.2


def test_a_bench_balance_sees_only_what_lies_on_it() -> None:
    rig = a_rig()
    rig.place_sieve()
    rig.pour_charge(25.0)
    rig.sieve_to_rig()
    rig.suction_on()
    assert shows_g(rig, 30.0) == pytest.approx(0.0, abs=0.003)
    rig.put_weight(200.0)
    assert shows_g(rig) == pytest.approx(200.0, abs=0.003)
    rig.sieve_to_balance()
    rig.clear_pan()
    assert rig.sieve_at == "bench"
    assert shows_g(rig) == pytest.approx(0.0, abs=0.003)


def test_a_platform_reads_the_load_while_the_jet_runs() -> None:
    rig = a_rig("under")
    rig.place_sieve()
    tare_g = shows_g(rig)
    rig.pour_charge(50.0)
    rig.advance(rig.now_s + 10.0)
    rig.suction_on()
    rig.advance(rig.now_s + 240.0)
    live_g = []
    for _ in range(60):
        live_g.append(shows_g(rig, 0.1) - tare_g)
    coupling_g = 0.35 * 2.5 + 0.015 * 2.5**2
    assert np.mean(live_g) == pytest.approx(rig.load_g + rig._lid_dust_g() + coupling_g, abs=0.1)
    assert np.std(live_g) > 0.01
    rig.suction_off()
    assert shows_g(rig, 30.0) - tare_g == pytest.approx(rig.load_g + rig._lid_dust_g(), abs=0.04)


def test_dust_in_the_housing_stays_on_the_platform_and_in_the_next_tare() -> None:
    clean, dusty = a_rig("under"), a_rig("under", "dusty-housing")
    for rig in (clean, dusty):
        rig.pour_charge(50.0)
        rig.suction_on()
        rig.advance(300.0)
        rig.suction_off()
    more_g = shows_g(dusty, 20.0) - shows_g(clean, 20.0)
    assert more_g == pytest.approx(0.002 * 50 * 0.88, abs=0.02)
    for rig in (clean, dusty):
        rig.place_sieve()
    assert shows_g(dusty, 20.0) - shows_g(clean, 20.0) == pytest.approx(more_g, abs=0.02)


def test_suction_without_a_sieve_or_with_an_open_lid_gives_little_pressure() -> None:
    rig = a_rig()
    rig.suction_on()
    rig.advance(30.0)
    assert 10.0 < rig.pressure().dp_pa < 500.0
    rig.sieve_to_rig()
    rig.advance(60.0)
    assert rig.pressure().dp_pa > 2200.0
    rig.set_lid(False)
    rig.advance(90.0)
    assert rig.pressure().dp_pa < 500.0


def test_nothing_passes_without_a_closed_sieve_on_the_rig() -> None:
    rig = a_rig()
    rig.place_sieve()
    rig.pour_charge(25.0)
    rig.suction_on()
    rig.advance(60.0)
    assert rig.load_g == pytest.approx(25.0)
    rig.sieve_to_rig()
    rig.set_lid(False)
    rig.advance(120.0)
    assert rig.load_g == pytest.approx(25.0)


def test_a_sag_and_a_leak_pull_the_pressure_down_for_their_time() -> None:
    rig = a_rig()
    rig.sieve_to_rig()
    rig.suction_on()
    rig.advance(30.0)
    rig.sag(0.3, 20.0)
    rig.advance(40.0)
    assert rig.pressure().dp_pa == pytest.approx(1750.0, rel=0.06)
    rig.advance(60.0)
    assert rig.pressure().dp_pa == pytest.approx(2500.0, rel=0.06)
    rig.leak = 0.4
    rig.advance(70.0)
    assert rig.pressure().dp_pa < 2100.0


def test_a_loading_filter_leaves_its_band_and_the_valve_brings_it_back() -> None:
    rig = a_rig(name="loading-filter")
    rig.place_sieve()
    rig.pour_charge(25.0)
    rig.sieve_to_rig()
    rig.suction_on()
    rig.advance(500.0)
    assert rig.dp_pa < 0.9 * 2500.0
    rig.turn_valve_to(2500.0)
    rig.advance(510.0)
    assert rig.dp_pa == pytest.approx(2500.0, rel=0.05)


def test_a_tapped_lid_and_crushed_lumps_change_the_load() -> None:
    rig = a_rig(name="agglomerates")
    rig.place_sieve()
    rig.pour_charge(25.0)
    rig.sieve_to_rig()
    rig.suction_on()
    rig.advance(180.0)
    before_g = rig.load_g
    rig.tap_lid()
    assert rig.load_g > before_g + 0.02
    lumps = rig._bed.lumps_g if rig._bed else 0.0
    rig.crush_lumps()
    assert rig._bed is not None
    assert rig._bed.lumps_g == pytest.approx(0.1 * lumps)


def test_powder_poured_beside_the_sieve_lands_on_the_pan() -> None:
    rig = a_rig()
    rig.pour_charge(25.0)
    assert rig.load_g == 0.0
    assert shows_g(rig) == pytest.approx(25.0, abs=0.003)


def test_tare_pressed_shows_zero_at_once() -> None:
    rig = a_rig()
    rig.place_sieve()
    rig.advance(10.0)
    rig.tare_pressed()
    assert shows_g(rig, 0.1) == pytest.approx(0.0, abs=0.003)


@pytest.mark.parametrize("arrangement", ["beside", "under"])
def test_how_often_it_is_asked_does_not_matter(arrangement: Arrangement) -> None:
    outs = []
    for pace_s in (0.013, 5.0):
        rig = a_rig(arrangement, seed=4)
        rig.place_sieve()
        rig.pour_charge()
        rig.sieve_to_rig()
        rig.suction_on()
        t_s = 0.0
        while t_s < 100.0:
            t_s = min(t_s + pace_s, 100.0)
            rig.advance(t_s)
        outs.append((rig.balance(), rig.pressure(), rig.load_g))
    assert outs[0] == outs[1]


def test_another_seed_gives_other_noise_and_another_portion() -> None:
    first, second = a_rig(seed=1), a_rig(seed=2)
    for rig in (first, second):
        rig.place_sieve()
    assert first.pour_charge() != second.pour_charge()


def test_the_truth_is_kept_for_studies() -> None:
    rig = a_rig()
    rig.place_sieve()
    rig.pour_charge(25.0)
    rig.sieve_to_rig()
    rig.suction_on()
    rig.advance(700.0)
    crossing_s = rig.truth.crossing_s(0.1, 60.0)
    assert crossing_s is not None
    assert 480 < crossing_s < 620
    assert rig.truth.rate_pct_per_min_nominal(crossing_s) <= 0.1
    assert rig.truth.rate_pct_per_min_nominal(crossing_s - 10) > 0.1
    drop_g = rig.truth.load_g(299.0) - rig.truth.load_g(301.0)
    slope = 100 * drop_g / 25.0 * 30
    assert slope == pytest.approx(rig.truth.rate_pct_per_min_nominal(300.0), rel=0.05)
    assert rig.truth.load_g(300.5) == pytest.approx(
        0.5 * (rig.truth.load_g(300.0) + rig.truth.load_g(301.0)), rel=1e-9
    )
    assert a_rig().truth.load_g(5.0) == 0.0
