"""The report as the console asks for it: a file with a name of its own, and a sentence."""

from __future__ import annotations

from pathlib import Path

import pytest

from logger.app.console_report import FOLDER, report_writer
from tests.app.stores import made_store
from tests.core.run.made_runs import method


def test_there_is_no_such_run(tmp_path: Path) -> None:
    store = made_store(tmp_path / "data")
    store.run(method())
    reply = report_writer(store.data)(7)
    assert (reply.ok, "There is no run 7" in reply.text) == (False, True)
    assert not (store.data.root / FOLDER).exists()


@pytest.mark.full
def test_the_report_is_written_and_found_where_the_sentence_says(tmp_path: Path) -> None:
    store = made_store(tmp_path / "data")
    store.run(method(), sample="../../etc/passwd")
    write = report_writer(store.data)
    first, again = write(1), write(1)
    assert first.ok
    assert first == again
    (path,) = (store.data.root / FOLDER).iterdir()
    assert str(path) in first.text
    assert path.name.startswith("run-000001-")
