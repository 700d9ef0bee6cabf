"""Files that people asked for: never over another one unasked, several together or none."""

from __future__ import annotations

from pathlib import Path

import pytest

from logger.app.new_files import free_name, write, write_all
from logger.core.refusal import ResultError
from logger.store.errors import StoreError


def test_when_one_of_several_may_not_be_written_none_is(tmp_path: Path) -> None:
    first, second = tmp_path / "a.csv", tmp_path / "b.csv"
    second.write_bytes(b"mine")

    with pytest.raises(ResultError, match=r"b\.csv is there already and holds something else: .* --replace"):
        write_all({first: b"1", second: b"2"})
    assert [path.name for path in tmp_path.iterdir()] == ["b.csv"]
    assert second.read_bytes() == b"mine"
    assert write_all({first: b"1", second: b"2"}, replace=True) == [first, second]
    assert (first.read_bytes(), second.read_bytes()) == (b"1", b"2")


def test_the_same_bytes_are_left_as_they_are(tmp_path: Path) -> None:
    path = write(tmp_path / "new" / "a.csv", b"1")
    before = path.stat()

    assert write(path, b"1") == path
    assert (path.stat().st_ino, path.stat().st_mtime_ns) == (before.st_ino, before.st_mtime_ns)


def test_what_the_system_refuses_is_a_sentence(tmp_path: Path) -> None:
    (tmp_path / "file").touch()
    with pytest.raises(StoreError, match=r"a\.csv cannot be written: .*file is no folder\."):
        write(tmp_path / "file" / "a.csv", b"1")
    with pytest.raises(StoreError, match=r"a\.csv cannot be written: .*file/deep is no folder\."):
        write(tmp_path / "file" / "deep" / "a.csv", b"1")
    with pytest.raises(StoreError, match="cannot be written: File name too long"):
        write(tmp_path / ("x" * 300), b"1")


def test_the_next_free_name_keeps_the_endings(tmp_path: Path) -> None:
    path = tmp_path / "mine.heard.jsonl"
    assert free_name(path) == path
    path.touch()
    (tmp_path / "mine-2.heard.jsonl").touch()

    assert free_name(path).name == "mine-3.heard.jsonl"
