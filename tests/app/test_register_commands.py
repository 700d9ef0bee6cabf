"""sieves and checks as a person meets them: straight into the store, and through a running service."""

from __future__ import annotations

from pathlib import Path

import pytest

from logger.store.lock import InstanceLock
from tests.app.stores import MadeStore, made_store
from tests.core.run.made_runs import PLANNED, method

ADD = ("sieves", "add", "S-45-01", "--aperture", "45", "--by", "op-7")
POWDER = ("--certified", "4.9", "--certified-u", "0.05", "--certificate", "RP-7")
NOTHING = ("--found", "0", "--found-u", "0.1", "--on", "2026-01-12")
FOUND = ("--found", "4.6", "--found-u", "0.05", "--on", "2026-01-12")


@pytest.fixture
def store(tmp_path: Path) -> MadeStore:
    return made_store(tmp_path / "data")


def test_an_empty_register_says_how_to_fill_it(store: MadeStore) -> None:
    assert "`lastgrain sieves add`" in store("sieves", "list").out
    assert store("sieves", "list", "--json").json == []
    assert store("sieves", "show", "S-1").code == 3


def test_a_sieve_is_added_tared_checked_and_shown(store: MadeStore) -> None:
    assert store(*ADD).code == 0
    entry = store("sieves", "tare", "S-45-01", "--mass", "412.02", "--by", "op-7", "--json").json
    assert (entry["kind"], entry["by"], entry["why"]) == ("sieve_tared", "op-7", "after cleaning")
    done = store("sieves", "reference", "S-45-01", "--by", "op-7", *POWDER, *FOUND)
    assert "factor 1.0652" in done.out
    found = store("sieves", "show", "S-45-01", "--json").json
    assert found["factor"]["factor"] == pytest.approx(4.9 / 4.6)
    assert found["factor"]["correction_pct"] == pytest.approx(100 * 0.3 / 4.6)
    assert [tare["mass_g"] for tare in found["tares"]] == [412.02]
    assert (found["runs"], found["drift"]) == (0, None)
    text = store("sieves", "show", "S-45-01").out
    assert "mean within ± 2.8 µm" in text
    assert "S-45-01" in store("sieves", "list").out
    assert all(line.startswith("no-outside-head") for line in store("runs", "verify").out.splitlines())


@pytest.mark.parametrize(
    ("arguments", "code", "words"),
    [
        (ADD, 3, "in the register already"),
        (("sieves", "tare", "S-9", "--mass", "1", "--by", "x"), 3, "there are: S-45-01"),
        (("sieves", "tare", "S-45-01", "--by", "x"), 3, "No service reads the balance"),
        (("sieves", "reference", "S-45-01", "--by", "x", *POWDER), 2, "Give the runs that found it"),
        (
            (
                "sieves",
                "reference",
                "S-45-01",
                "--by",
                "x",
                *POWDER,
                "--found",
                "0",
                "--found-u",
                "0.1",
                "--on",
                "2026-01-12",
            ),
            3,
            "no factor can be formed",
        ),
        (
            ("sieves", "reference", "S-45-01", "--by", "x", *POWDER, "--found", "4", "--found-u", "0.1"),
            3,
            "has no date",
        ),
        (("sieves", "chart", "S-45-01"), 3, "needs 8 or more results"),
        (("checks", "balance", "--weight", "W-9", "--reading", "1", "--by", "x"), 3, "it has W-200"),
        (("checks", "pressure", "--zero", "0", "--span", "2500", "--by", "x"), 3, "APPLIED:READING"),
        (("sieves", "retire", "S-45-01", "--by", "x", "--why", " "), 3, "say why"),
    ],
)
def test_bad_input_is_a_sentence(store: MadeStore, arguments: tuple[str, ...], code: int, words: str) -> None:
    store(*ADD)
    done = store(*arguments)
    assert (done.code, done.out) == (code, "")
    assert words.lower() in done.err.lower()
    assert len(done.err.strip().splitlines()) == 1


def test_a_store_that_a_service_holds_is_not_written_beside_it(store: MadeStore) -> None:
    lock = InstanceLock(store.data.lock)
    try:
        done = store(*ADD)
    finally:
        lock.release()
    assert done.code == 5
    assert store("sieves", "list", "--json").json == []


def test_a_factor_from_runs_takes_their_raw_residues(store: MadeStore) -> None:
    store(*ADD)
    for residue_g in (1.10, 1.20):
        store.run(method(), residue_g, sieve=PLANNED)
    store.run(method(), 1.0)
    done = store("sieves", "reference", "S-45-01", "--by", "x", *POWDER, "--run", "1", "--run", "2", "--json")
    data = done.json["data"]
    assert data["found_pct"] == pytest.approx(4.6)
    assert data["found_u_pct"] == pytest.approx(0.2, rel=0.01), "their scatter 0.28 % over root 2 (computed)"
    assert (data["checked_on"], len(data["run_ids"])) == ("2026-02-01", 2)
    for runs, words in (
        (("--run", "3"), "not on S-45-01"),
        (("--run", "1", "--run", "1"), "given twice"),
        (("--run", "1", "--found", "4.6"), "either --run"),
    ):
        refused = store("sieves", "reference", "S-45-01", "--by", "x", *POWDER, *runs)
        assert refused.code in (2, 3)
        assert words in refused.err


def test_drift_and_control_chart_of_a_reference_powder(store: MadeStore) -> None:
    store(*ADD)
    for day, found in enumerate((4.60, 4.62, 4.59, 4.61, 4.60, 4.58, 4.61, 4.60, 4.90), start=1):
        arguments = ("--found", str(found), "--found-u", "0.02", "--on", f"2026-01-{day:02d}")
        store("sieves", "reference", "S-45-01", "--by", "x", *POWDER, *arguments)
    found = store("sieves", "chart", "S-45-01", "--json").json
    assert [point["signal"] for point in found["points"]] == ["none"] * 8 + ["action"]
    assert found["centre_pct"] == pytest.approx(4.60125)
    text = store("sieves", "chart", "S-45-01").out
    assert "action: beyond the action limit" in text
    assert "the sieve has changed" in store("sieves", "show", "S-45-01").out


def test_checks_are_kept_judged_and_listed(store: MadeStore) -> None:
    good = store("checks", "balance", "--weight", "W-200", "--reading", "200.002", "--by", "op-7")
    assert (good.code, good.out.startswith("Passed")) == (0, True)
    bad = store("checks", "balance", "--weight", "W-200", "--reading", "200.01", "--by", "op-7")
    assert (bad.code, bad.out.startswith("FAILED")) == (3, True)
    span = ("--span", "2500:2506", "--span", "1000:1001", "--reference", "REF-1")
    assert "--certificate" in store("checks", "pressure", "--zero", "2", *span, "--by", "op-7").err
    traced = ("--certificate", "CAL-7", "--valid-until", "2999-12-31")
    assert store("checks", "pressure", "--zero", "2", *span, *traced, "--by", "op-7").code == 0
    found = store("checks", "list", "--json").json
    assert [check["passed"] for check in found["balance_checks"]] == [True, False]
    assert {each["what"]: each["standing"] for each in found["standing"]} == {
        "balance": "failed",
        "pressure": "not asked",
    }
    assert "FAILED" in store("checks", "list").out


def test_drying_is_judged_by_the_latest_weighing_far_enough_back(store: MadeStore) -> None:
    """0.1 % in an hour or more (EN 933-10, read second-hand)."""
    done = store("checks", "drying", "0:101.2", "60:99.52", "120:99.48")
    assert (done.code, "constant mass" in done.out) == (0, True)
    assert store("checks", "drying", "0:101.2", "60:99.52").code == 3
    assert store("checks", "drying", "0:101.2", "--json").json["reached"] is False
    for wrong in ("60", "60:x", "60:0"):
        assert store("checks", "drying", "0:101.2", wrong).code == 3


def test_air_density_and_what_it_does(store: MadeStore) -> None:
    """OIML R 111 at 1013.25 hPa, 50 %, 20 °C: 1.199294 kg/m3 (from memory, recomputed)."""
    arguments = ("checks", "air", "--pressure", "1013.25", "--humidity", "50", "--temperature", "20")
    found = store(*arguments, "--powder-density", "3100", "--json").json
    assert found["air_density_kg_m3"] == pytest.approx(1.199294, abs=1e-6)
    assert found["true_mass_factor"] == pytest.approx(1.000237, abs=1e-6)
    assert "1.1993 kg/m3" in store(*arguments).out
    assert store("checks", "air", "--pressure", "101325", "--humidity", "50", "--temperature", "20").code == 3
