"""One run as a bundle: the same bytes every time, checked without the store, every change in it named."""

from __future__ import annotations

import io
import json
import os
import subprocess
import sys
import zipfile
from collections.abc import Callable
from pathlib import Path

import jsonschema
import pytest

from logger.app.export import export_bundle
from logger.app.paths import DataFolder
from logger.core.record import ChainHead
from logger.core.trace import parse_trace
from logger.store import history
from logger.store.bundle import Files, check_bundle, read_bundle, with_manifest, zipped
from logger.store.errors import StoreError
from logger.store.verify import Finding
from tests.store.disk import ROOT
from tests.store.quick_runs import findings, keep, open_journal, open_run, real_run, short_run


@pytest.fixture(scope="module")
def data(tmp_path_factory: pytest.TempPathFactory) -> DataFolder:
    made = DataFolder(tmp_path_factory.mktemp("bundle"))
    made.prepare()
    journal = open_journal(made.store)
    keep(journal, short_run(2))
    keep(journal, real_run(), batches=300)
    keep(journal, short_run(3), pack=False)
    still = open_run(4)
    journal.start_run(still.run_id, still.events[0]).result()
    journal.close()
    return made


@pytest.fixture(scope="module")
def bundle(data: DataFolder, tmp_path_factory: pytest.TempPathFactory) -> Path:
    (path,) = export_bundle(data, "2", tmp_path_factory.mktemp("out"))
    return path


def heads(data: DataFolder, number: int) -> ChainHead:
    with history.reading(data.store) as connection:
        row = history.find_run(connection, str(number))
        body = history.record_body(connection, row.run_id)
    assert body is not None
    return ChainHead(body["journal"]["head_batch"], body["journal"]["head_sha256"])


def test_a_bundle_is_sound_and_whole_against_the_head_on_the_report(data: DataFolder, bundle: Path) -> None:
    assert [one.verdict for one in check_bundle(read_bundle(bundle))] == ["no-outside-head"]
    assert [one.verdict for one in check_bundle(read_bundle(bundle), heads(data, 2))] == ["whole"]
    assert [one.verdict for one in check_bundle(read_bundle(bundle), heads(data, 3))] == ["missing-tail"]
    other = ChainHead(heads(data, 2).batch, "0" * 64)
    assert [one.verdict for one in check_bundle(read_bundle(bundle), other)] == ["rewritten"]


def test_every_run_can_be_bundled_packed_or_not(data: DataFolder, tmp_path: Path) -> None:
    for number in ("1", "3"):
        (path,) = export_bundle(data, number, tmp_path)
        assert check_bundle(read_bundle(path))[0].sound
    with pytest.raises(StoreError, match="no record yet"):
        export_bundle(data, "4", tmp_path)


def test_the_same_run_gives_the_same_bytes(data: DataFolder, bundle: Path, tmp_path: Path) -> None:
    (again,) = export_bundle(data, "2", tmp_path)
    assert again.read_bytes() == bundle.read_bytes()
    assert again.name == bundle.name == "run-000002-00000001.zip"


def test_its_record_follows_its_schema_and_its_trace_can_be_read(bundle: Path) -> None:
    files = read_bundle(bundle)
    jsonschema.validate(json.loads(files["record-1.json"]), json.loads(files["record.schema.json"]))
    assert parse_trace(files["trace.csv"].decode().splitlines(), "trace.csv")
    assert len(files["readings.csv"].splitlines()) == len(real_run().readings) + 1


def test_a_folder_is_as_good_as_a_zip(bundle: Path, tmp_path: Path) -> None:
    with zipfile.ZipFile(bundle) as archive:
        archive.extractall(tmp_path / "unpacked")
    assert check_bundle(read_bundle(tmp_path / "unpacked"))[0].sound


def test_it_is_checked_where_there_is_no_store(bundle: Path, tmp_path: Path) -> None:
    environment = os.environ | {"LASTGRAIN_DATA": str(tmp_path / "nowhere"), "PYTHONPATH": str(ROOT)}
    command = [sys.executable, "-m", "logger.cli", "runs", "verify", "--bundle"]
    good = subprocess.run(
        [*command, str(bundle)], capture_output=True, text=True, env=environment, check=False
    )
    assert (good.returncode, good.stdout[:15]) == (0, "no-outside-head")
    broken = tmp_path / "broken.zip"
    broken.write_bytes(zipped(changed(read_bundle(bundle), "readings.tsv", swap_digit)))
    bad = subprocess.run(
        [*command, str(broken)], capture_output=True, text=True, env=environment, check=False
    )
    assert bad.returncode == 5
    assert "altered: " in bad.stdout
    assert not (tmp_path / "nowhere").exists()


def swap_digit(content: bytes) -> bytes:
    place = len(content) // 2
    while not chr(content[place]).isdigit():
        place += 1
    return content[:place] + bytes([content[place] ^ 1]) + content[place + 1 :]


def changed(files: Files, name: str, change: Callable[[bytes], bytes], remake: bool = True) -> Files:
    """The files with one changed; `remake` gives them a new manifest, as a careful forger would."""
    forged = {
        key: change(content) if key == name else content
        for key, content in files.items()
        if key != "manifest.json"
    }
    if not remake:
        return {"manifest.json": files["manifest.json"], **forged}
    old = json.loads(files["manifest.json"])
    return with_manifest(old["number"], old["run_id"], forged)


@pytest.mark.parametrize(
    "name", ["record-1.json", "journal.jsonl", "readings.tsv", "trace.csv", "readings.csv", "README.txt"]
)
def test_a_changed_file_does_not_fit_the_manifest(bundle: Path, name: str) -> None:
    found = check_bundle(
        changed(read_bundle(bundle), name, swap_digit if name != "README.txt" else bytes.upper, remake=False)
    )
    assert (
        any(one.verdict == "altered" and one.text.startswith(name) for one in found)
        or name == "journal.jsonl"
    )
    assert not any(one.sound for one in found)


@pytest.mark.parametrize(
    ("name", "change"),
    [
        ("readings.tsv", swap_digit),
        ("readings.tsv", lambda content: content + b"m\t1\tok\t1\t\t\tx\n"),
        ("record-1.json", lambda content: content.replace(b'"endpoint"', b'"time-limit"', 1)),
        ("record-1.json", lambda content: content.replace(b"residue_pct", b"residue_pcx", 1)),
        ("journal.jsonl", lambda content: content.replace(b"S-1", b"S-2", 1)),
        ("journal.jsonl", lambda content: b"\n".join(content.splitlines()[1:]) + b"\n"),
        ("journal.jsonl", lambda content: b"\n".join(content.splitlines()[:-1]) + b"\n"),
        ("journal.jsonl", lambda content: content.replace(b'"seq":20', b'"seq":21', 1)),
        ("journal.jsonl", lambda content: b"[]\n"),
        ("journal.jsonl", lambda content: b"{\n"),
    ],
)
def test_a_forger_who_makes_a_new_manifest_is_found_by_the_chain(
    bundle: Path, name: str, change: Callable[[bytes], bytes]
) -> None:
    try:
        forged = changed(read_bundle(bundle), name, change)
    except (ValueError, TypeError, KeyError):  # no manifest can be made of it
        forged = changed(read_bundle(bundle), name, change, remake=False)
    found = check_bundle(forged)
    assert not any(one.sound for one in found)
    assert {one.verdict for one in found} <= {"altered", "missing-tail"}


def test_missing_and_extra_files_are_named(bundle: Path) -> None:
    files = read_bundle(bundle)
    without = {name: content for name, content in files.items() if name != "trace.csv"}
    assert [one.text for one in check_bundle(without)] == ["trace.csv is missing."]
    assert [one.text for one in check_bundle(files | {"x": b""})] == ["x is not in the manifest."]
    assert check_bundle({})[0].text == "The bundle has no manifest.json."


@pytest.mark.parametrize("place", [0, 40, 0.3, 0.5, 0.9, -30])
def test_a_flipped_byte_in_the_zip_is_told(bundle: Path, tmp_path: Path, place: float) -> None:
    content = bytearray(bundle.read_bytes())
    content[int(place * len(content)) if isinstance(place, float) else place] ^= 0x20
    (tmp_path / "b.zip").write_bytes(content)
    try:
        found = check_bundle(read_bundle(tmp_path / "b.zip"))
    except StoreError as error:
        found = [Finding("altered", str(error))]
    assert not any(one.sound for one in found)


def test_what_is_no_bundle_is_said_to_be_none(tmp_path: Path) -> None:
    (tmp_path / "text.zip").write_text("hello")
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("a", b"1")
        with pytest.warns(UserWarning, match="Duplicate"):
            archive.writestr("a", b"2")
    (tmp_path / "twice.zip").write_bytes(stream.getvalue())
    for name in ("text.zip", "twice.zip", "none.zip"):
        with pytest.raises(StoreError, match=name):
            read_bundle(tmp_path / name)


def test_the_store_is_untouched_by_exports(data: DataFolder, bundle: Path) -> None:
    assert findings(data.store)[0].sound
