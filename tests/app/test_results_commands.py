"""results, distribution, precision, runs show and the table for a spreadsheet, on stores of made runs."""

from __future__ import annotations

import csv
import dataclasses
import math
import xml.etree.ElementTree as ElementTree
from pathlib import Path

import pytest

from logger.core.method import Determinations, Sieve
from logger.core.run.events import EventKind as E
from logger.core.sieves import TestSieve
from tests.app.stores import MadeStore, lastgrain, made_store
from tests.core.distribution.curves import rrsb
from tests.core.run.made_runs import PLANNED, method

TWO = Determinations(count=2, repeatability_limit_pct=0.5)
CORRECTING = Sieve(aperture_um=45.0, correction="reference-powder")


@pytest.fixture
def store(tmp_path: Path) -> MadeStore:
    return made_store(tmp_path / "data")


def test_one_of_two_determinations_says_what_to_do_next(store: MadeStore) -> None:
    store.run(method(determinations=TWO))
    done = store("results", "--sample", "S-1")
    assert done.code == 0
    assert "1 of 2 determinations done: do one more on a fresh test portion" in done.out
    assert "Decision" not in done.out
    (answer,) = store("results", "--sample", "S-1", "--json").json
    assert (answer["status"], answer["assessment"]) == ("incomplete", None)


def test_two_that_agree_give_mean_budget_and_decision(store: MadeStore) -> None:
    for residue_g in (0.90, 0.95):
        store.run(method(determinations=TWO), residue_g)
    (answer,) = store("results", "--sample", "S-1", "--json").json
    found = answer["assessment"]
    assert (answer["status"], found["determinations"]) == ("final", 2)
    assert found["residue_pct"] == pytest.approx(3.7)
    assert found["decision"]["outcome"] == "accept"
    assert "repeatability" in [part["name"] for part in found["budget"]["components"]]
    text = store("results", "--sample", "S-1").out
    assert "mean of 2, 0.20 % apart, 0.50 % allowed for 2" in text
    assert "Residue    3.7 %" in text
    assert "expanded uncertainty U" in text


def test_two_too_far_apart_ask_for_a_third_and_give_no_figure(store: MadeStore) -> None:
    for residue_g in (0.75, 0.95):
        store.run(method(determinations=TWO), residue_g)
    done = store("results", "--sample", "S-1")
    assert "do one more on a fresh test portion" in done.out
    assert "Residue " not in done.out


def test_runs_that_cannot_count_are_named_with_the_reason(store: MadeStore) -> None:
    store.run(method(), outcome=E.TIME_LIMIT_REACHED)
    store.run(method(), outcome=None)
    store.run(method())
    (answer,) = store("results", "--sample", "S-1", "--json").json
    assert [run["run"] for run in answer["determinations"]] == [3]
    assert [run["number"] for run in answer["left_out"]] == [1, 2]
    assert "wrong sample" in answer["left_out"][1]["reason"]


def test_other_lots_revisions_and_sieves_are_not_joined(store: MadeStore) -> None:
    chosen = method(determinations=TWO)
    changed = dataclasses.replace(chosen, method=dataclasses.replace(chosen.method, revision=2))
    store.run(chosen, lot="A")
    store.run(chosen, lot="B")
    store.run(changed, lot="A")
    store.run(chosen, lot="A", sieve=PLANNED)
    store.run(chosen, lot="A", sample="S-2")
    answers = store("results", "--sample", "S-1", "--json").json
    assert [len(answer["determinations"]) for answer in answers] == [1, 1, 1, 1]
    assert len(store("results", "--sample", "S-1", "--lot", "B", "--json").json) == 1


def test_a_changed_factor_between_determinations_gives_no_figure(store: MadeStore) -> None:
    assert PLANNED.factor is not None
    other = dataclasses.replace(PLANNED, factor=dataclasses.replace(PLANNED.factor, found_pct=4.7))
    chosen = method(determinations=TWO, sieve=CORRECTING)
    store.run(chosen, sieve=PLANNED)
    store.run(chosen, sieve=other)
    done = store("results", "--sample", "S-1")
    assert "correction factor changed between these runs" in done.out
    assert "Residue " not in done.out


def test_a_known_slope_brings_the_aperture_into_the_budget(store: MadeStore) -> None:
    """Y = 2.8 µm as a rectangle times 0.7 %/µm is 1.13 % (computed)."""
    store.run(method(), sieve=dataclasses.replace(PLANNED, factor=None))
    (plain,) = store("results", "--sample", "S-1", "--json").json
    (wide,) = store("results", "--sample", "S-1", "--slope", "-0.7", "--json").json
    assert [n["name"] for n in plain["assessment"]["budget"]["not_included"]] == ["repeatability", "aperture"]
    parts = {part["name"]: part["contribution_pct"] for part in wide["assessment"]["budget"]["components"]}
    assert parts["aperture"] == pytest.approx(1.132, abs=1e-3)


def test_a_sample_without_runs_is_a_sentence(store: MadeStore) -> None:
    assert store("results", "--sample", "S-1").code == 5
    store.run(method())
    done = store("results", "--sample", "S-9")
    assert (done.code, done.out) == (5, "")
    assert "no run of sample S-9" in done.err


def test_show_prints_budget_correction_and_decision(store: MadeStore) -> None:
    store.run(method(sieve=CORRECTING), sieve=PLANNED)
    text = store("runs", "show", "1").out
    assert "Residue    4.0 % ±" in text
    assert "Correction raw 3.800 % times 1.0652" in text
    assert "Decision   reject" in text
    assert "Uncertainty budget" in text
    assert "correction factor" in text
    assert "S-45-01 by ISO 3310-1:2016, 3 runs before this one" in text
    body = store("runs", "show", "1", "--json").json["record"]
    assert body["assessment"]["corrected"]["raw_residue_pct"] == pytest.approx(3.8)


def test_show_of_a_run_without_its_endpoint_says_so_beside_the_figure(store: MadeStore) -> None:
    store.run(method(), outcome=E.STOPPED)
    text = store("runs", "show", "1").out
    assert "(outcome stopped: no endpoint)" in text
    assert "Decision   none: the run ended as stopped" in text
    store.run(method(), outcome=None)
    assert "Residue" not in store("runs", "show", "2").out


def test_records_as_a_table(store: MadeStore, tmp_path: Path) -> None:
    store.run(method(), sample="=cmd()")
    store.run(method(), outcome=None)
    done = store("runs", "export", "--csv", "--to", str(tmp_path))
    assert done.code == 0
    text = Path(done.out.strip()).read_text(encoding="utf-8-sig")
    first, second = csv.DictReader(text.splitlines())
    assert (first["sample_id"], first["decision"], first["reported_residue"]) == ("'=cmd()", "accept", "3.8")
    assert float(first["expanded_u_pct"]) > 0
    assert (second["outcome"], second["residue_pct"]) == ("aborted", "")
    assert len(store("runs", "export", "2", "--csv", "--to", str(tmp_path)).out.splitlines()) == 1
    assert store("runs", "export").code == 2


@pytest.mark.parametrize("more", [(), ("--bundle",), ("--csv",)])
def test_an_export_goes_over_no_other_file_unasked(
    store: MadeStore, tmp_path: Path, more: tuple[str, ...]
) -> None:
    store.run(method())
    export = ("runs", "export", "1", *more, "--to", str(tmp_path / "out"))
    paths = [Path(line) for line in store(*export).out.splitlines()]
    whole = [path.read_bytes() for path in paths]
    assert (len(paths), store(*export).code) == (1 if more else 4, 0)
    for path in paths:
        path.unlink()
    paths[-1].write_text("my notes")

    refused = store(*export)

    assert (refused.code, refused.out, paths[-1].read_text()) == (3, "", "my notes")
    assert f"{paths[-1]} is there already and holds something else" in refused.err
    assert [path for path in paths if path.exists()] == paths[-1:]  # all of them or none
    assert store(*export, "--replace").code == 0
    assert [path.read_bytes() for path in paths] == whole


def test_a_table_and_a_bundle_at_once_are_refused(store: MadeStore) -> None:
    assert store("runs", "export", "1", "--csv", "--bundle").code == 2


# --- distribution -----------------------------------------------------------------------------------------

APERTURES = (32.0, 63.0, 90.0, 125.0)
CURVE = rrsb(60.0, 1.2)


def sieves(portion: str = "fresh") -> Sieve:
    return Sieve(apertures_um=APERTURES, portion="same" if portion == "same" else "fresh")


def fresh(store: MadeStore, registered: bool = False) -> None:
    """One run a sieve, exactly on an RRSB curve, on 25 g."""
    for aperture_um in APERTURES:
        sieve = TestSieve(
            id=f"S-{aperture_um:g}", aperture_um=aperture_um, frame_mm=200, standard="ISO 3310-1:2016"
        )
        planned = dataclasses.replace(PLANNED, sieve=sieve, factor=None) if registered else None
        residue_g = round(25 * CURVE.residue_pct(aperture_um) / 100, 6)
        store.run(method(sieve=sieves()), residue_g, aperture_um=aperture_um, sieve=planned)


def test_a_distribution_comes_back_from_its_runs(store: MadeStore, tmp_path: Path) -> None:
    fresh(store)
    chart = tmp_path / "d.svg"
    answer = store("distribution", "4", "2", "3", "1", "--to", str(chart), "--json").json
    assert [point["aperture_um"] for point in answer["points"]] == list(APERTURES)
    assert [point["run"] for point in answer["points"]] == [1, 2, 3, 4]
    made = {each["family"]: each for each in answer["fits"]}
    assert made["rrsb"]["scale_um"] == pytest.approx(60.0, rel=1e-4)
    assert made["rrsb"]["shape"] == pytest.approx(1.2, rel=1e-4)
    assert made["rrsb"]["sauter_um"] == pytest.approx(CURVE.sauter_um, rel=1e-3)
    surface = 6 * math.gamma(1 - 1 / 1.2) / 60  # of spheres, with D[3,2] = d' / Gamma(1 - 1/n); from memory
    assert made["rrsb"]["specific_surface_m2_per_cm3"] == pytest.approx(surface, rel=1e-3)
    assert answer["specific_surface_m2_per_cm3"] is None
    fitted = [size["d_um"] for size in made["rrsb"]["sizes"]]
    assert fitted == pytest.approx([CURVE.diameter_um(share) for share in (10, 50, 90)], rel=1e-3)
    assert [size["extrapolated"] for size in made["rrsb"]["sizes"]] == [True, False, False]
    assert answer["sauter_um"] is None
    assert "would be a guess" in answer["sauter_reason"]
    d10, d50, _ = answer["sizes"]
    assert "below the finest sieve" in d10["reason"]
    assert 32 < d50["diameter"]["d_um"] < 63
    assert "nothing is known of the sieves" in answer["apertures"]
    assert sum(each["share_pct"] for each in answer["classes"]) == pytest.approx(100)
    assert ElementTree.fromstring(chart.read_text(encoding="utf-8")).tag.endswith("svg")
    text = store("distribution", "1", "2", "3", "4").out
    assert "Rosin-Rammler-Sperling-Bennett (line): d' = 60.0" in text
    assert "Gates-Gaudin-Schuhmann" in text


def test_registered_sieves_bring_their_apertures_into_the_points(store: MadeStore) -> None:
    """The slope at 63 µm times Y / sqrt 3 = 3.4 / sqrt 3 µm (computed)."""
    fresh(store, registered=True)
    answer = store("distribution", "1", "2", "3", "4", "--json").json
    point = answer["points"][1]
    slope = CURVE.slope_pct_per_um(63.0)
    assert point["slope_pct_per_um"] == pytest.approx(slope, rel=1e-3)
    assert point["aperture_u_pct"] == pytest.approx(abs(slope) * 3.4 / 3**0.5, rel=1e-3)
    assert point["u_pct"] > point["aperture_u_pct"]
    assert "apertures included" in answer["apertures"]


def test_one_portion_carried_upwards_has_a_mass_balance(store: MadeStore) -> None:
    charge_g = 25.0
    for hour, aperture_um in enumerate(APERTURES):
        residue_g = round(25 * CURVE.residue_pct(aperture_um) / 100, 6)
        store.run(
            method(sieve=sieves("same")),
            residue_g,
            aperture_um=aperture_um,
            charge_g=charge_g,
            utc=f"2026-02-01T0{hour}:00:00.000Z",
        )
        charge_g = round(residue_g - 0.02, 6)
    answer = store("distribution", "1", "2", "3", "4", "--json").json
    assert answer["portion"] == "same"
    # 0.02 g lost at each of three steps of 25 g: 0.24 % (computed).
    assert answer["balance"]["loss_pct"] == pytest.approx(0.24)
    assert answer["balance"]["within"] is True
    tight = store("distribution", "1", "2", "3", "4", "--loss-limit", "0.1").out
    assert "beyond 0.1 %" in tight


def test_one_portion_in_another_order_is_refused(store: MadeStore) -> None:
    for hour, aperture_um in enumerate((63.0, 32.0)):
        store.run(method(sieve=sieves("same")), aperture_um=aperture_um, utc=f"2026-02-01T0{hour}:00:00.000Z")
    done = store("distribution", "1", "2")
    assert done.code == 3
    assert "cannot be of one portion" in done.err


def test_runs_that_do_not_belong_together_are_refused(store: MadeStore) -> None:
    chosen = method(sieve=sieves())
    store.run(chosen, aperture_um=32.0)
    store.run(chosen, aperture_um=32.0)
    store.run(chosen, aperture_um=63.0, sample="S-2")
    store.run(chosen, aperture_um=63.0, outcome=E.STOPPED)
    for runs, words in (
        (("1", "2"), "given twice: keep one, or their mean"),
        (("1", "1"), "name each once"),
        (("1", "3"), "another sample"),
        (("1", "4"), "cannot be a point of a distribution (stopped"),
        (("1",), "two or more sieves"),
    ):
        done = store("distribution", *runs)
        assert (done.code, done.out) == (3, ""), words
        assert words in done.err
    assert store("distribution", "1", "9").code == 5
    assert store("distribution", "1", "3", "--to", "x.png").code == 2
    assert store("distribution", "1", "3", "--axes", "log").code == 2


# --- precision --------------------------------------------------------------------------------------------

STUDY = """material,group,residue_pct
cement,A,11.0
cement,A,11.2
cement,B,11.4
cement,B,11.8
filler,A,3.0
filler,A,3.1
filler,B,3.0
filler,B,3.3
"""


def test_a_precision_study_from_a_table(tmp_path: Path) -> None:
    """s_r^2 of cement = (0.02 + 0.08) / 2 = 0.05; between means 11.1 and 11.6 (computed by hand)."""
    table = tmp_path / "study.csv"
    table.write_text(STUDY, encoding="utf-8")
    filler, cement = lastgrain("precision", str(table), "--json").json
    assert (filler["material"], cement["material"]) == ("filler", "cement")
    assert cement["s_r_pct"] == pytest.approx(0.05**0.5)
    assert cement["s_big_r_pct"] == pytest.approx((0.05 + (0.25 - 0.05) / 2) ** 0.5)
    text = lastgrain("precision", str(table)).out
    assert "cement: r = 0.63 %" in text
    assert "Cochran" in text


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("material,operator,residue_pct\n", "line 1: the columns must be material, group, residue_pct"),
        ("", "line 1: the columns must be"),
        ("material,group,residue_pct\n", "there are no values"),
        ("material,group,residue_pct\nc,A,nan\n", "line 2: residue_pct is a number like 12.34, not 'nan'"),
        ("material,group,residue_pct\nc,A,1_0\n", "not '1_0'"),
        ("material,group,residue_pct\nc,A,11,5\n", "line 2: 4 cells, there must be 3"),
        ("material,group,residue_pct\nc,A,150\n", "cannot be meant"),
        ("material,group,residue_pct\nc,,1.0\n", "must not be empty"),
        ('material,group,residue_pct\nc,"A,1.0\n', "no table"),
    ],
)
def test_a_table_that_is_none_is_a_sentence_with_its_line(tmp_path: Path, text: str, words: str) -> None:
    table = tmp_path / "study.csv"
    table.write_text(text, encoding="utf-8")
    done = lastgrain("precision", str(table))
    assert (done.code, done.out) == (2, "")
    assert words in done.err


def test_a_study_without_repeats_or_groups_is_refused(tmp_path: Path) -> None:
    table = tmp_path / "study.csv"
    table.write_text("material,group,residue_pct\nc,A,1.0\nc,A,1.1\n", encoding="utf-8")
    done = lastgrain("precision", str(table))
    assert done.code == 3
    assert "two or more groups" in done.err
    assert lastgrain("precision", str(tmp_path / "none.csv")).code == 2


def test_lists_show_the_residue_that_is_reported_and_verify_agrees(store: MadeStore) -> None:
    store.run(method(sieve=CORRECTING), sieve=PLANNED)
    (row,) = store("runs", "list", "--json").json
    assert row["residue_pct"] == pytest.approx(3.8 * 4.9 / 4.6)
    assert store("runs", "verify").code == 0


def test_repeatability_from_the_duplicates_of_the_history(store: MadeStore) -> None:
    """Differences 0.2, 0.3, 0.1, 0.4 % give s_r = sqrt(0.30 / 8) = 0.1936 %, r = 0.54 % (computed)."""
    for number, difference_pct in enumerate((0.2, 0.3, 0.1, 0.4)):
        sample = f"S-{number}"
        store.run(method(), 0.95, sample=sample)
        store.run(method(), outcome=E.STOPPED, sample=sample)
        store.run(method(), round(0.95 + 25 * difference_pct / 100, 6), sample=sample)
        store.run(method(), 5.0, sample=sample)
    store.run(method(), 0.95, sample="alone")
    found = store("precision", "--method", "m", "--json").json
    assert found["s_r_pct"] == pytest.approx(0.193649, abs=1e-6)
    assert found["r_pct"] == pytest.approx(0.54, abs=0.005)
    assert [pair["runs"] for pair in found["pairs"]] == [[1, 3], [5, 7], [9, 11], [13, 15]]
    assert "first guess" in store("precision", "--method", "m").out
    assert store("precision", "--method", "m", "--revision", "2").code == 5
    assert store("precision").code == 2


def test_no_duplicates_no_repeatability(store: MadeStore) -> None:
    store.run(method())
    done = store("precision", "--method", "m")
    assert (done.code, "needs duplicates" in done.err) == (3, True)


def test_losses_of_one_run_against_their_limit(store: MadeStore) -> None:
    store.run(method())
    store.run(method(), outcome=None)
    # 25 g less 0.95 g less 23.55 g is 0.5 g, 2 % (computed).
    assert (
        store("checks", "losses", "1", "--collected", "23.55").out
        == "2.00 % of the charge lost, within 2 %.\n"
    )
    beyond = store("checks", "losses", "1", "--collected", "23.5")
    assert (beyond.code, "look at lid" in beyond.out) == (3, True)
    assert store("checks", "losses", "2", "--collected", "1").code == 3
