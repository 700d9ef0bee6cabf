"""shift and worklist as a person meets them: what is due, entries, an import that takes all or nothing."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from logger.core.run.events import EventKind as E
from tests.app.stores import BENCH, MadeStore, made_store
from tests.system.virtual_run import shipped_method

PLAN = "sample_id;lot;method;due;priority\r\nM-1;L1;filler-45-interval;2031-05-02;1,0\r\nM-2;L1;;;\r\nM-2;L1;;;\r\n"
SHIFT = """[shift]
air_every_hours = 8
zero_every_hours = 12
backup_every_days = 7
humidity_max_pct = 60
"""
LATER = "2099-01-01T06:00:00.000Z"


@pytest.fixture
def store(tmp_path: Path) -> MadeStore:
    bench = tmp_path / "bench.toml"
    text = BENCH.read_text(encoding="utf-8")
    assert text.count("[shift]") == 1
    bench.write_text(text.replace("[shift]", SHIFT), encoding="utf-8")
    return made_store(tmp_path / "data", bench)


def _file(folder: Path, text: str) -> str:
    path = folder / "plan.csv"
    path.write_text(text, encoding="utf-8")
    return str(path)


def test_a_shift_begins_with_what_is_due_and_ends_with_nothing(store: MadeStore, tmp_path: Path) -> None:
    first = store("shift")
    assert first.code == 3
    assert "DUE     temperature, humidity" in first.out
    assert store("shift", "air", "--by", "ann", "--temperature", "21.5", "--humidity", "48").code == 0
    assert store("shift", "zero", "--by", "ann", "--zero", "31").code == 3
    assert "FAILED  pressure zero" in store("shift").out
    assert store("shift", "zero", "--by", "ann", "--zero", "-1.5").code == 0
    assert store("shift", "bag", "--by", "ann", "--part", "filter", "--note", "torn").code == 0
    assert store("backup", str(tmp_path / "copy.sqlite")).code == 0
    done = store("shift", "--json")
    assert (done.code, done.json["ready"]) == (0, True)
    assert {item["standing"] for item in done.json["items"]} == {"done", "not asked"}
    assert store("shift").out.startswith("Nothing is due.")


def test_entries_are_withdrawn_by_entries(store: MadeStore) -> None:
    store("shift", "air", "--by", "ann", "--temperature", "21.5", "--humidity", "84")
    done = store("shift", "withdraw", "air", "--by", "ann", "--why", "digits turned", "--json")
    assert done.json["data"]["entered_by"] == "ann"
    assert "not measured yet" in store("shift").out
    refused = store("shift", "withdraw", "air", "--by", "ann", "--why", "again")
    assert (refused.code, refused.out) == (3, "")
    assert refused.err == "There is no entry temperature and humidity to withdraw.\n"


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("air", "--temperature", "215", "--humidity", "48"), "temperature_c must be -20 to 60 °C"),
        (("bag", "--part", "hose"), "bag or filter"),
        (("drill", "--note", " "), "say which backup"),
        (("zero",), "No service reads the pressure transducer"),
        (("withdraw", "balance", "--why", "x"), "only these can be withdrawn"),
    ],
)
def test_what_cannot_be_entered(store: MadeStore, arguments: tuple[str, ...], words: str) -> None:
    done = store("shift", *arguments, "--by", "ann")
    assert done.code == 3
    assert words.lower() in done.err.lower()


def test_an_import_takes_what_is_new_and_tells_the_rest(store: MadeStore, tmp_path: Path) -> None:
    path = _file(tmp_path, "\ufeff" + PLAN)
    assert store("worklist", "import", path, "--by", "ann", "--check").out == "2 samples can be planned.\n"
    assert store("worklist", "list").out == "No sample is planned.\n"
    done = store("worklist", "import", path, "--by", "ann")
    assert done.out == "2 samples planned.\n"
    assert "plan.csv, line 4: sample M-2 is the same as line 3; left out" in done.err
    again = store("worklist", "import", path, "--by", "ann", "--json")
    assert (again.json["planned"], len(again.json["duplicates"])) == (0, 3)
    items = store("worklist", "list", "--json").json
    assert [(item["item"], item["sample_id"], item["priority"]) for item in items] == [
        (1, "M-1", 1),
        (2, "M-2", 5),
    ]


def test_a_bad_file_changes_nothing(store: MadeStore, tmp_path: Path) -> None:
    bad = _file(tmp_path, PLAN + "M-9;L1;nope;;\r\n")
    done = store("worklist", "import", bad, "--by", "ann")
    assert (done.code, done.out) == (3, "")
    assert "plan.csv, line 5: method 'nope' is not on this bench; there are: filler-45-interval" in done.err
    assert store("worklist", "list", "--all", "--json").json == []
    assert store("worklist", "import", str(tmp_path / "none.csv"), "--by", "ann").code == 3


def test_a_long_file_makes_several_entries(store: MadeStore, tmp_path: Path) -> None:
    path = _file(tmp_path, "sample_id\n" + "".join(f"M-{n}\n" for n in range(250)))
    assert store("worklist", "import", path, "--by", "ann").out == "250 samples planned.\n"
    assert len(store("worklist", "list", "--json").json) == 250


def test_an_item_is_done_by_its_run_and_an_aborted_one_leaves_it_planned(
    store: MadeStore, tmp_path: Path
) -> None:
    store("worklist", "import", _file(tmp_path, PLAN), "--by", "ann")
    filler = shipped_method("filler-45-interval")
    store.run(filler, outcome=None, sample="M-1", lot="L1", utc=LATER)
    item = store("worklist", "list", "--json").json[0]
    assert (item["state"], item["text"]) == ("planned", "run 1 ended as aborted")
    store.run(filler, outcome=E.ENDPOINT_REACHED, sample="M-1", lot="L1", utc=LATER)
    everything = store("worklist", "list", "--all", "--json").json
    assert [(each["item"], each["state"]) for each in everything] == [(2, "planned"), (1, "done")]
    refused = store("worklist", "withdraw", "1", "--by", "ann", "--why", "late")
    assert "item 1 is done" in refused.err.lower()
    assert store("worklist", "withdraw", "2", "--by", "ann", "--why", "jar broken").code == 0
    assert store("worklist", "list").out.startswith("No planned sample is open")
    assert store("worklist", "restore", "2", "--by", "ann").code == 0
    assert "M-2" in store("worklist", "list").out


def test_a_method_of_two_determinations_is_started_after_the_first(store: MadeStore, tmp_path: Path) -> None:
    path = store.bench
    text = path.read_text(encoding="utf-8")
    path.write_text(text.replace('"filler-45-interval"', '"cement-45-repeat"'), encoding="utf-8")
    store("worklist", "import", _file(tmp_path, "sample;method\nC-1;cement-45-repeat\n"), "--by", "ann")
    cement = replace(shipped_method("cement-45-repeat"))
    store.run(cement, sample="C-1", utc=LATER)
    item = store("worklist", "list", "--json").json[0]
    assert (item["state"], item["next"]["determination"]) == ("started", 2)
    assert "determination 2 of 2, on a fresh test portion" in store("worklist", "list").out
