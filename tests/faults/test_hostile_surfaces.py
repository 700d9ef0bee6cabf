"""One corpus of hostile texts through every surface: the same bytes where they are kept, nothing hidden where shown."""

from __future__ import annotations

import asyncio
import csv
import io
import json
import logging
import re
import sqlite3
import sys
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from logger.app.log_file import PrintableFormatter
from logger.core.run.commands import Refused
from logger.core.text import clean_text, first_hidden, printable, printable_json, printable_text
from logger.publish.payloads import numbered_message
from logger.publish.topics import Topics
from logger.report.csv_export import safe_text
from logger.settings import ConfigError, config_dir, load_bench, load_method
from logger.store import history
from tests.app.stores import MadeStore, made_store
from tests.core.run.made_runs import method
from tests.hostile import KEPT, REFUSED, composed, hidden
from tests.publish.samples import item
from tests.service.bench import STARTED, DeskBench
from tests.system.real_bench import START, real_bench

ANY_TEXT = st.text(st.characters()) | st.sampled_from([*KEPT.values(), *REFUSED.values()])


@pytest.fixture(scope="module")
def store(tmp_path_factory: pytest.TempPathFactory) -> MadeStore:
    """A run for every text that may be typed; the text is both the sample and the lot."""
    made = made_store(tmp_path_factory.mktemp("outer") / "data")
    for text in KEPT.values():
        kept = clean_text("sample id", text, 64)
        made.run(method(), sample=kept, lot=kept)
    return made


# --- where it is typed -----------------------------------------------------------------------------------


@pytest.mark.parametrize("name", KEPT)
def test_what_can_be_printed_is_taken_as_written(name: str) -> None:
    assert clean_text("sample id", KEPT[name], 64) == composed(KEPT[name])


@pytest.mark.parametrize("name", REFUSED)
def test_what_cannot_be_printed_is_refused_in_printable_words(name: str) -> None:
    with pytest.raises(Refused) as caught:
        clean_text("sample id", REFUSED[name], 64)
    assert hidden(str(caught.value)) == []
    assert len(str(caught.value)) < 200


@settings(deadline=None)
@given(ANY_TEXT)
def test_any_text_is_refused_or_comes_out_clean_and_stays_so(text: str) -> None:
    try:
        kept = clean_text("lot", text, 64)
    except Refused:
        return
    assert hidden(kept) == []
    assert len(kept) <= 64
    assert clean_text("lot", kept, 64) == kept == composed(kept)


@settings(deadline=None)
@given(ANY_TEXT)
def test_any_text_is_shown_without_anything_hidden_and_reads_back_from_json(text: str) -> None:
    assert hidden(printable(text)) == []
    assert "\n" not in printable(text)
    assert hidden(printable_text(text)) == []
    shown = printable_json({"text": [text]})
    assert hidden(shown) == []
    assert json.loads(shown) == {"text": [text]}


@pytest.mark.asyncio
@pytest.mark.parametrize("field", ["sample_id", "operator_id", "lot", "point", "sampled_at", "sieve_id"])
async def test_every_field_of_a_start_refuses_what_cannot_be_printed(field: str) -> None:
    for name, text in REFUSED.items():
        bench = DeskBench()
        reply = await bench.service.command("start", "op-7", STARTED | {field: text})
        assert not reply.ok, name
        assert hidden(reply.text) == []
        assert bench.journal.events == []


@pytest.mark.asyncio
async def test_a_command_of_any_shape_gets_a_sentence() -> None:
    bench = DeskBench()
    odd: list[object] = [None, 1, [], {}, True, 1e308, 10**400, float("nan"), "x" * 10_000, *REFUSED.values()]
    for value in odd:
        for args in ({"method_id": value}, STARTED | {"sample_id": value}, STARTED | {"aperture_um": value}):
            reply = await bench.service.command("start", "op-7", args)
            if reply.ok:
                assert (await bench.service.command("abort", "op-7", {"reason": "next"})).ok
                bench = DeskBench()
            assert hidden(reply.text) == []
        for name in ("abort", "note", "type_weight", str(value)):
            assert (
                hidden((await bench.service.command(name, "op-7", {"reason": value, "text": value})).text)
                == []
            )


# --- where it is kept ------------------------------------------------------------------------------------


def test_the_record_holds_the_same_bytes(store: MadeStore) -> None:
    connection = sqlite3.connect(f"file:{store.data.store}?mode=ro", uri=True)
    bodies = [body for (body,) in connection.execute("SELECT body FROM record ORDER BY rowid")]
    connection.close()
    assert len(bodies) == len(KEPT)
    for text, body in zip(KEPT.values(), bodies, strict=True):
        kept = composed(text)
        assert json.dumps(kept, ensure_ascii=False).encode() in (
            body.encode() if isinstance(body, str) else body
        )
        assert json.loads(body)["sample"]["sample_id"] == kept


def test_every_run_is_found_by_its_sample_and_nothing_else_was_done(store: MadeStore) -> None:
    with history.reading(store.data.store) as connection:
        rows = history.list_runs(connection, 1000)
        tables = connection.execute("SELECT count(*) FROM sqlite_master WHERE name = 'run'").fetchone()
    assert [row.sample_id for row in rows][::-1] == [composed(text) for text in KEPT.values()]
    assert tables == (1,)


def test_a_message_carries_the_same_text_and_its_topic_none_of_it(store: MadeStore) -> None:
    with history.reading(store.data.store) as connection:
        rows = history.list_runs(connection, 1000)
        bodies = [history.record_body(connection, row.run_id) for row in rows][::-1]
    topics = Topics("site", "bench")
    for text, body in zip(KEPT.values(), bodies, strict=True):
        assert body is not None
        payload = numbered_message(topics, item("record", body), "2026-03-02T08:00:01.000Z")
        assert json.loads(payload)["sample"]["sample_id"] == composed(text)
        assert topics.of("record") == "lastgrain/v1/site/bench/record"


@pytest.mark.full
def test_files_are_named_by_the_run_and_stay_where_they_were_asked_for(
    store: MadeStore, tmp_path: Path
) -> None:
    outer = store.data.root.parent
    before = set(outer.rglob("*"))
    out = tmp_path / "out"
    for number in range(1, len(KEPT) + 1):
        assert store("runs", "export", str(number), "--to", str(out)).code == 0
        assert store("runs", "export", str(number), "--bundle", "--to", str(out)).code == 0
    assert store("runs", "export", "--csv", "--to", str(out)).code == 0
    names = [path.name for path in out.rglob("*")]
    assert len(names) == 5 * len(KEPT) + 1
    assert all(name.isascii() and name.startswith(("run-0", "records.csv")) for name in names)
    assert set(tmp_path.rglob("*")) == {out, *(out / name for name in names)}
    assert {path for path in outer.rglob("*") if "sqlite-" not in path.name} <= before


# --- where it is shown -----------------------------------------------------------------------------------


@pytest.mark.parametrize("command", [("runs", "list", "--limit", "100"), ("runs", "verify")])
def test_lists_show_nothing_hidden(store: MadeStore, command: tuple[str, ...]) -> None:
    done = store(*command)
    assert hidden(done.out + done.err) == []
    if command[1] == "list":
        assert all(composed(text)[:16] in done.out for text in KEPT.values())
        assert len(done.out.splitlines()) == len(KEPT) + 1


@pytest.mark.full
def test_a_run_shows_its_texts_literally(store: MadeStore) -> None:
    for number, text in enumerate(KEPT.values(), start=1):
        done = store("runs", "show", str(number))
        assert composed(text) in done.out
        assert hidden(done.out + done.err) == []
        body = store("runs", "show", str(number), "--json")
        assert hidden(body.out) == []
        assert body.json["record"]["sample"]["sample_id"] == composed(text)


def test_a_spreadsheet_gets_texts_as_texts_and_numbers_as_numbers(store: MadeStore, tmp_path: Path) -> None:
    assert store("runs", "export", "--csv", "--to", str(tmp_path)).code == 0
    text = (tmp_path / "records.csv").read_bytes().decode("utf-8-sig")
    rows = list(csv.DictReader(io.StringIO(text, newline="")))
    assert len(rows) == len(KEPT)
    for row, given_text in zip(rows, KEPT.values(), strict=True):
        kept = composed(given_text)
        assert row["sample_id"] == safe_text(kept)
        assert row["sample_id"].removeprefix("'") == kept.removeprefix("'")
        assert not row["sample_id"].startswith(("=", "+", "-", "@", "\t", "\r", "＝"))
        assert float(row["residue_g"]) == pytest.approx(0.95)


@pytest.mark.full
def test_what_was_typed_wrong_is_repeated_without_anything_hidden(store: MadeStore) -> None:
    for text in [*KEPT.values(), *REFUSED.values()]:
        if "\x00" in text or text.startswith("-"):
            continue
        for command in (("runs", "show", text), ("runs", "verify", "--head", text), ("method", "show", text)):
            done = store(*command)
            assert done.code in (2, 3, 5)
            assert hidden(done.out + done.err) == [], (command, done)
            assert "Traceback" not in done.err


@pytest.mark.parametrize("name", [*KEPT, *REFUSED])
def test_a_log_line_stays_one_line(name: str) -> None:
    text = (KEPT | REFUSED)[name]
    try:
        raise ValueError(text)
    except ValueError:
        record = logging.LogRecord("x", logging.ERROR, __file__, 1, "told: %s", (text,), sys.exc_info())
    shown = PrintableFormatter("%(levelname)s %(message)s").format(record)
    assert hidden(shown) == []
    first, second = shown.splitlines()[:2]
    assert first.startswith("ERROR told: ")
    assert second == "Traceback (most recent call last):"


# --- files that people write -----------------------------------------------------------------------------


def toml_text(text: str) -> str:
    """As a TOML string with every character outside plain ASCII escaped, as a file may hold it."""
    return (
        '"'
        + "".join(c if c.isascii() and c.isprintable() and c not in '"\\' else _escape(c) for c in text)
        + '"'
    )


def _escape(char: str) -> str:
    return f"\\U{ord(char):08x}"


@pytest.mark.parametrize("name", [*KEPT, *REFUSED])
def test_texts_of_a_method_file_are_kept_or_refused_with_their_line(name: str, tmp_path: Path) -> None:
    given_text = (KEPT | REFUSED)[name]
    shipped = (config_dir() / "methods" / "filler-45-interval.toml").read_text(encoding="utf-8")
    lines = shipped.splitlines()
    at = next(number for number, line in enumerate(lines) if line.startswith("title ="))
    lines[at] = f"title = {toml_text(given_text)}"
    path = tmp_path / "m.toml"
    path.write_text("\n".join(lines), encoding="utf-8")
    if first_hidden(given_text) or "\ud800" in given_text:
        with pytest.raises(ConfigError) as caught:
            load_method(path)
        assert caught.value.line == at + 1
        assert hidden(caught.value.sentence()) == []
    else:
        assert load_method(path).method.title == given_text


@pytest.mark.parametrize("name", KEPT)
def test_no_text_becomes_a_level_of_a_topic(name: str, tmp_path: Path) -> None:
    shipped = (config_dir() / "benches" / "demo-beside.toml").read_text(encoding="utf-8")
    path = tmp_path / "b.toml"
    path.write_text(shipped.replace('"demo-site"', toml_text(KEPT[name])), encoding="utf-8")
    if re.fullmatch("[a-z0-9][a-z0-9-]{0,39}", KEPT[name]):
        assert load_bench(path).site == KEPT[name], "a plain word is no danger"
        return
    with pytest.raises(ConfigError) as caught:
        load_bench(path)
    assert hidden(caught.value.sentence()) == []


# --- the installed programs ------------------------------------------------------------------------------


@pytest.mark.full
@pytest.mark.asyncio
async def test_the_whole_corpus_through_the_running_service(tmp_path: Path) -> None:
    async with real_bench(tmp_path / "data", speed=20.0) as bench:
        for name, text in REFUSED.items():
            try:
                reply = await bench.client.command("start", **(START | {"sample_id": text}))
            except ValueError:
                continue
            assert not reply.ok, name
        assert bench.runs() == []
        for name, text in KEPT.items():
            await bench.do("start", **(START | {"sample_id": text, "lot": text}))
            await bench.do("note", kind="other", text=text)
            picture = await bench.until(lambda p: p.run is not None)
            assert picture.run is not None
            assert picture.run.sample_id == composed(text), name
            await bench.do("abort", reason=text)
            await bench.until(lambda p: "start" in p.can)
            record = bench.record(picture.run.run_id)
            assert record is not None
            assert (record["sample"]["sample_id"], record["reason"]) == (composed(text), composed(text))
        assert not hidden(bench.data.log.read_text(encoding="utf-8"))
    names = await asyncio.to_thread(lambda: {path.name for path in tmp_path.rglob("*")})
    assert not {name for name in names for text in KEPT.values() if len(text) > 3 and text in name}
