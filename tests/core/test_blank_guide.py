"""The guide of a blank run, fed by the simulated platform with a hand on its valve."""

from __future__ import annotations

import pytest

from drivers.line_codec import LineCodec
from drivers.profile import LineProfile
from logger.app.instruments import bench_profiles, to_core
from logger.core.blank import analyse_blank, blank_plan
from logger.core.blank_guide import BlankGuide
from logger.core.readings import Channel
from logger.settings import config_dir, load_bench
from simulators.virtual import VirtualBench

BENCH = load_bench(config_dir() / "benches" / "demo-under.toml")


def guided(hold_s: float, follow_valve: bool = True) -> BlankGuide:
    """A whole blank run in virtual time; the hand turns the valve to what the step asks."""
    virtual = VirtualBench("demo-filler", 5, arrangement="under")
    profiles = bench_profiles(BENCH).items()
    codecs = {
        channel: LineCodec(profile) for channel, profile in profiles if isinstance(profile, LineProfile)
    }
    guide = BlankGuide(blank_plan(2500.0, 250.0, hold_s), 250.0)
    virtual.rig.place_sieve()
    now_ns, index = int(30e9), -1
    virtual.step_to(now_ns)
    while not guide.done and now_ns < 3000e9:
        now_ns += 100_000_000
        if guide.index != index:
            index = guide.index
            if guide.step.dp_pa > 0:
                virtual.rig.suction_on()
                virtual.rig.turn_valve_to(guide.step.dp_pa if follow_valve else 2500.0)
        for at_ns, channel, data in virtual.step_to(now_ns):
            codecs[Channel(channel)].receive(data, at_ns)
            for reading in to_core(Channel(channel), codecs[Channel(channel)].readings()):
                if not guide.done:
                    guide.add(reading)
    return guide


def test_a_guided_blank_run_finds_the_coupling_of_the_simulated_platform() -> None:
    guide = guided(hold_s=100.0)
    assert guide.done
    trace = guide.trace()
    assert trace.t_s[0] < 0 < trace.t_s[-1]
    report = analyse_blank(trace, 2500.0, 250.0, readability_g=0.01)
    assert report.accepted, report.problems
    # The simulator's own figures: 0.35 g/kPa and 0.015 g/kPa2, so 0.425 g/kPa as a slope at 2.5 kPa.
    assert report.coupling_at_nominal_g_per_kpa == pytest.approx(0.425, abs=0.03)


def test_a_step_is_not_done_while_the_pressure_is_elsewhere() -> None:
    guide = guided(hold_s=100.0, follow_valve=False)
    assert not guide.done
    assert "Pa now" in guide.where()


def test_where_says_what_to_do() -> None:
    guide = BlankGuide(blank_plan(2500.0, 250.0), 250.0)
    assert guide.where().startswith("Step 1 of 7: sieve empty")
