"""The replay command on files: contract of the answer, order, exit codes, bad input, what-if and comparison."""

from __future__ import annotations

import io
import json
import math
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from logger.app.replay import replay_command
from logger.core.trace import Trace, format_trace
from tests.endpoint_traces import Instrument, Setting, make_run

KEYS = {
    "trace",
    "outcome",
    "endpoint_s",
    "rate_pct_per_min",
    "rate_u_pct_per_min",
    "residue_pct",
    "residue_u_pct",
    "forecast",
    "feasible",
    "expected_delay_s",
    "reason",
}
QUIET = Instrument(
    readability_g=0.001,
    white_g=0.003,
    flicker_g=0.001,
    lag_s=0.2,
    wobble_g=0.005,
    nozzle_rpm=20.0,
    sample_hz=5.0,
    coupling_g_per_kpa=0.5,
    coupling2_g_per_kpa2=0.0,
    ripple=0.01,
    drift_share=0.1,
)
EASY = Setting(
    charge_g=50.0,
    limit=0.1,
    rest_s=60.0,
    instrument=QUIET,
    troubles=frozenset(),
    powder_seed=3,
    rig_full=True,
)
METHOD = """
[method]
id = "m"
title = "t"
[charge]
mass_g = {charge}
tolerance_g = 1.0
[sieve]
aperture_um = 45.0
[suction]
dp_pa = 2500.0
band_pa = 375.0
[weighing]
mode = "{mode}"
{weighing}
[endpoint]
rule = "loss-rate"
limit_pct_per_min = 0.1
max_time_s = {max_time}
"""


def method_file(
    folder: Path, mode: str = "live", charge: float = 50.0, max_time: float = 1200.0, interval: str = "60.0"
) -> Path:
    path = folder / "method.toml"
    weighing = f"interval_s = {interval}" if mode == "interval" else "rest_s = 60.0"
    path.write_text(METHOD.format(mode=mode, charge=charge, max_time=max_time, weighing=weighing))
    return path


def live_file(folder: Path, name: str, seed: int, setting: Setting = EASY, until_s: float = math.inf) -> Path:
    run = make_run(seed, setting)
    keep = run.t_s < until_s
    trace = Trace(
        name,
        np.round(run.t_s[keep], 3),
        np.round(run.mass_g[keep], 4),
        np.round(run.dp_pa[keep], 1),
        np.zeros(int(keep.sum()), dtype=np.bool_),
        {"charge_g": repr(setting.charge_g)},
    )
    path = folder / name
    path.write_text("\n".join(format_trace(trace)) + "\n")
    return path


def weighed_file(folder: Path, times_min: list[float]) -> Path:
    """Sum of two exponentials whose one-minute loss crosses 0.1 % at 10.208 min (by hand)."""
    rows = ["t_s,mass_g,dp_pa,stable"]
    for t in times_min:
        mass_g = 25 * (0.115 + 0.80 * math.exp(-2.5 * t) + 0.085 * math.exp(-0.35 * t))
        rows.append(f"{60 * t:.3f},{mass_g:.7f},,1")
    path = folder / "weighed.csv"
    path.write_text("\n".join(rows) + "\n")
    return path


def answers(
    traces: list[Path], method: Path, rig: Path | None = None, **more: Any
) -> tuple[int, list[dict[str, Any]], str]:
    out, err = io.StringIO(), io.StringIO()
    code = replay_command(traces, method, rig, json_out=True, out=out, err=err, **more)
    return code, [json.loads(line) for line in out.getvalue().splitlines()], err.getvalue()


def test_live_trace_gets_its_endpoint_near_the_truth_with_forecasts(tmp_path: Path) -> None:
    run = make_run(8, EASY)
    code, [answer], _ = answers([live_file(tmp_path, "a.csv", 8)], method_file(tmp_path))
    assert code == 0
    assert set(answer) == KEYS
    assert answer["outcome"] == "endpoint"
    assert abs(answer["endpoint_s"] - run.crossing_s) < 45
    truth_pct = 100 * run.load_at(answer["endpoint_s"]) / 50.0
    assert abs(answer["residue_pct"] - truth_pct) < 4 * answer["residue_u_pct"]
    assert [f["at_rate_x"] for f in answer["forecast"]] == [3.0, 2.0, 1.5]
    for forecast in answer["forecast"]:
        assert forecast["low_s"] <= forecast["t_s"] <= forecast["high_s"]
        assert forecast["level"] == 0.9
    assert "standard error" in answer["reason"]


def test_many_traces_keep_their_order_and_errors_do_not_stop_the_others(tmp_path: Path) -> None:
    good = live_file(tmp_path, "good.csv", 9)
    bad = tmp_path / "bad.csv"
    bad.write_text("t_s,mass_g,dp_pa,stable\n0,25,2500,1\n1,nan,2500,1\n")
    gone = tmp_path / "gone.csv"
    binary = tmp_path / "binary.csv"
    binary.write_bytes(b"\xff\xfe\x00\x01")
    names = [bad, good, gone, tmp_path, good, binary]
    code, found, _ = answers(names, method_file(tmp_path), jobs=2)
    assert code == 3
    assert [a["trace"] for a in found] == [str(n) for n in names]
    assert [a["outcome"] for a in found] == ["error", "endpoint", "error", "error", "endpoint", "error"]
    assert f"{bad}, line 3: mass_g is 'nan'" in found[0]["reason"]
    assert found[1] == found[4]
    assert "check the name" in found[2]["reason"]


@pytest.mark.parametrize(
    ("interval", "times_min", "stop_s"),
    [
        ("60.0", [float(t) for t in range(16)], 660.0),
        ("60.0", [i / 50 for i in range(600)], 612.6),
        ("1.0", [i / 50 for i in range(600)], 583.2),
    ],
)
def test_weighings_stop_where_the_arithmetic_says(
    tmp_path: Path, interval: str, times_min: list[float], stop_s: float
) -> None:
    # Once a minute: 11 min. Sliding minute on dense weighings: 10.208 min. Nearly instantaneous: 9.694 min
    # (by hand); the last one needs weighings without noise.
    rig = tmp_path / "rig.toml"
    rig.write_text("readability_g = 1e-9\nwhite_sd_g = 0.0\n")
    method = method_file(tmp_path, "interval", 25.0, interval=interval)
    code, [answer], _ = answers([weighed_file(tmp_path, times_min)], method, rig)
    assert code == 0
    assert answer["outcome"] == "endpoint"
    assert answer["endpoint_s"] == pytest.approx(stop_s, abs=1.3)


def test_what_if_rules_change_the_answer(tmp_path: Path) -> None:
    trace = weighed_file(tmp_path, [float(t) for t in range(21)])
    method = method_file(tmp_path, "interval", 25.0)
    stops = {}
    for what in (
        ("limit_pct_per_min=0.5",),
        ("relative-change", "change_pct=5"),
        ("relative-change", "change_pct=5", "interval_s=300"),
        ("fixed-time", "time_s=180"),
    ):
        code, [answer], _ = answers([trace], method, rule_overrides=what)
        assert code == 0
        stops[what] = answer["endpoint_s"] / 60
    # 5 % of the previous mass (by hand): 4.6 % in minute 5; 4.96 % from minute 7 to 12.
    assert list(stops.values()) == [6.0, 5.0, 12.0, 3.0]


@pytest.mark.parametrize(
    ("what", "said"),
    [
        ("limit_pct_per_minute=1", "did you mean limit_pct_per_min?"),
        ("loss-rat", "did you mean loss-rate?"),
        ("limit_pct_per_min=nan", "plain number"),
        ("combine=any", "either, both"),
        ("fixed-time", "needs time_s"),
        ("margin=0.9", "factor above 1"),
    ],
)
def test_a_what_if_that_cannot_be_meant_is_a_usage_error(tmp_path: Path, what: str, said: str) -> None:
    trace = weighed_file(tmp_path, [0.0, 1.0])
    code, found, err = answers([trace], method_file(tmp_path, "interval", 25.0), rule_overrides=[what])
    assert code == 2
    assert found == []
    assert said in err


def test_bad_method_rig_charge_or_no_trace_is_a_usage_error(tmp_path: Path) -> None:
    trace = weighed_file(tmp_path, [0.0, 1.0])
    method = method_file(tmp_path, "interval", 25.0)
    assert answers([trace], tmp_path / "none.toml")[0] == 2
    assert answers([trace], method, tmp_path / "none.toml")[0] == 2
    assert answers([trace], method, charge_g=-1.0)[0] == 2
    assert answers([], method)[0] == 2


def test_method_that_cannot_be_met_is_refused_with_what_would_help(tmp_path: Path) -> None:
    rig = tmp_path / "rig.toml"
    rig.write_text("readability_g = 0.01\nwhite_sd_g = 0.02\nflicker_rms_g = 0.005\nsample_hz = 10.0\n")
    setting = replace(EASY, charge_g=10.0, rest_s=30.0)
    code, [answer], _ = answers(
        [live_file(tmp_path, "a.csv", 3, setting)], method_file(tmp_path, charge=10.0), rig
    )
    assert code == 3
    assert answer["outcome"] == "refused"
    assert answer["endpoint_s"] is None
    assert "interval mode" in answer["reason"]


def test_time_limit_and_end_of_trace_never_read_as_an_endpoint(tmp_path: Path) -> None:
    short = live_file(tmp_path, "short.csv", 5, until_s=90.0)
    code, [answer], _ = answers([short], method_file(tmp_path))
    assert (code, answer["outcome"], answer["endpoint_s"]) == (0, "end-of-trace", None)
    assert "without an endpoint" in answer["reason"]
    code, [answer], _ = answers([live_file(tmp_path, "b.csv", 5)], method_file(tmp_path, max_time=100.0))
    assert (code, answer["outcome"], answer["endpoint_s"]) == (0, "time-limit", None)
    assert "not an endpoint" in answer["reason"]


def test_gross_mass_is_told_to_take_the_tare_off(tmp_path: Path) -> None:
    path = tmp_path / "gross.csv"
    path.write_text("t_s,mass_g,dp_pa,stable\n-1,350.0,0,1\n0,350.0,0,1\n1,349,2500,0\n")
    code, [answer], _ = answers([path], method_file(tmp_path))
    assert code == 3
    assert "take the tare off" in answer["reason"]


@pytest.mark.parametrize("mode", ["live", "interval"])
def test_comparison_measures_every_rule_against_the_method(tmp_path: Path, mode: str) -> None:
    trace = (
        live_file(tmp_path, "a.csv", 8)
        if mode == "live"
        else weighed_file(tmp_path, [t / 2 for t in range(41)])
    )
    method = method_file(tmp_path, mode, 50.0 if mode == "live" else 25.0)
    what = ["limit_pct_per_min=0.2"]
    _, [answer], _ = answers([trace], method, rule_overrides=what, compare=True)
    rules = {rule["rule"]: rule for rule in answer["rules"]}
    assert list(rules)[:2] == ["method", "with --rule"]
    assert rules["method"]["left_pct"] == 0.0
    assert rules["with --rule"]["endpoint_s"] == pytest.approx(answer["endpoint_s"], abs=1e-3)
    assert rules["with --rule"]["left_pct"] > 0
    assert rules["fixed 180 s"]["left_pct"] > 0
    assert rules["fixed 180 s"]["longer_s"] < 0


def test_for_people_the_answer_is_text(tmp_path: Path) -> None:
    out = io.StringIO()
    trace = weighed_file(tmp_path, [float(t) for t in range(16)])
    code = replay_command([trace], method_file(tmp_path, "interval", 25.0), compare=True, out=out)
    assert code == 0
    assert "stop at 660 s" in out.getvalue()
    assert "fixed 300 s" in out.getvalue()
