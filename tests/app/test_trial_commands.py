"""method ruggedness, method attrition, and replay of kept runs by number, on stores of made runs and files."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import pytest

from logger.core.method import Method
from tests.app.stores import MadeStore, lastgrain, made_store
from tests.core.run.made_runs import method

PRESSURES = {-1: 2000.0, 0: 2500.0, 1: 3000.0}


@pytest.fixture
def store(tmp_path: Path) -> MadeStore:
    return made_store(tmp_path / "data")


def at_pressure(dp_pa: float) -> Method:
    plain = method()
    return replace(plain, suction=replace(plain.suction, dp_pa=dp_pa))


def weighed(folder: Path, wear_pct_per_min: float, minutes: int = 20) -> Path:
    rows = ["# charge_g = 25", "t_s,mass_g,dp_pa,stable"]
    for minute in range(1, minutes + 1):
        load_pct = 10 + 8 * minute**-0.6 - wear_pct_per_min * minute
        rows.append(f"{60 * minute},{25 * load_pct / 100:.4f},,1")
    path = folder / "long.csv"
    path.write_text("\n".join(rows) + "\n")
    return path


def test_plan_is_printed_filled_in_and_judged(tmp_path: Path) -> None:
    done = lastgrain("method", "ruggedness", "--plan", "pressure,charge")
    assert done.code == 0
    header, *rows = done.out.splitlines()
    assert header == "pressure,charge,run,residue_pct"
    assert len(rows) == 4 + 3
    filled = [header]
    for row in rows:
        pressure, charge = (int(cell) for cell in row.split(",")[:2])
        filled.append(
            f"{pressure:+d},{charge:+d},,{8.0 - 0.4 * pressure + 0.01 * charge + 0.01 * len(filled) % 3:.3f}"
        )
    plan = tmp_path / "plan.csv"
    plan.write_text("\n".join(filled).replace("+0", "0") + "\n")
    told = lastgrain("method", "ruggedness", str(plan), "--allowed", "0.3", "--json").json
    assert [effect["factor"] for effect in told] == ["pressure", "charge"]
    assert told[0]["effect_pct"] == pytest.approx(-0.8, abs=0.05)
    assert told[0]["matters"]
    assert not told[1]["matters"]


@pytest.mark.parametrize(
    ("text", "wanted"),
    [
        ("pressure,run,residue_pct\n2,,8\n", "line 2: pressure must be -1, 0 or +1"),
        ("pressure,run,residue_pct\n1,,8 g\n", "line 2: residue_pct must be a share"),
        ("pressure\n1\n", "no column residue_pct"),
        ("pressure,run,residue_pct\n1,,8\n", "too few runs"),
    ],
)
def test_a_bad_plan_is_said_with_its_line(tmp_path: Path, text: str, wanted: str) -> None:
    plan = tmp_path / "plan.csv"
    plan.write_text(text)
    done = lastgrain("method", "ruggedness", str(plan))
    assert done.code == 2
    assert wanted in done.err


def test_kept_runs_whose_methods_differ_are_compared(store: MadeStore) -> None:
    residues_g = [(1, 0.80), (-1, 1.00), (1, 0.81), (-1, 1.01), (0, 0.90)]
    for level, residue_g in residues_g:
        store.run(at_pressure(PRESSURES[level]), residue_g)
    done = store("method", "ruggedness", "1", "2", "3", "4", "5")
    assert done.code == 0, done.err
    assert "pressure matters" in done.out
    assert "-0.80 %" in done.out
    assert "do not differ" in store("method", "ruggedness", "1", "3").err


@pytest.mark.parametrize(("wear", "verdict"), [(0.0, "ceases"), (0.3, "does-not-cease")])
def test_attrition_of_a_trace_of_weighings(tmp_path: Path, wear: float, verdict: str) -> None:
    trace = weighed(tmp_path, wear)
    done = lastgrain("method", "attrition", str(trace), "--method", "filler-45-interval", "--json")
    assert done.code == 0, done.err
    assert done.json["verdict"] == verdict
    assert done.json["total_s"] == 1200.0
    # What is told is the least wear that the loads prove.
    assert wear - 0.1 < done.json["wear_pct_per_min"] <= wear


def test_attrition_of_too_short_a_run_is_refused(tmp_path: Path) -> None:
    done = lastgrain("method", "attrition", str(weighed(tmp_path, 0.0, 3)), "--method", "filler-45-interval")
    assert done.code == 3
    assert "too little" in done.err
    assert "--method" in lastgrain("method", "attrition", str(weighed(tmp_path, 0.0, 3))).err


def test_a_kept_run_is_replayed_by_its_number_with_its_own_method(store: MadeStore) -> None:
    store.run(method(), 0.95)
    done = store("replay", "1", "99", "--json")
    first, second = (json.loads(line) for line in done.out.splitlines())
    assert first["trace"] == "run 1"
    assert first["outcome"] in ("endpoint", "end-of-trace")
    assert second["outcome"] == "error"
    assert "no run 99" in second["reason"]
    assert done.code == 3
    assert "--method" in store("replay", "1", "somewhere.csv", "--json").err
