"""Outside check: Debian's mosquitto and mosquitto_sub get the run; the jsonschema package validates it.

The reference subscriber hears it too, and its tables hold the same.

Neither was written here: a broker and a subscriber of the Eclipse project, and an independent validator.
"""

from __future__ import annotations

import asyncio
import contextlib
import json
import subprocess
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from logger.app.demo import broker_table
from logger.app.schemas import schema_of
from tests.publish.listener import running
from tests.publish.mosquitto import Mosquitto
from tests.real import require_binary
from tests.sink.plant import select
from tests.sink.test_real_sink import sink
from tests.system.real_bench import START, real_bench

pytestmark = [pytest.mark.asyncio, pytest.mark.real]


def heard(lines: list[bytes]) -> dict[str, list[dict[str, Any]]]:
    """Messages by kind, in order of arrival. mosquitto_sub -v prints `TOPIC PAYLOAD`."""
    found: dict[str, list[dict[str, Any]]] = {}
    for line in lines:
        topic, _, payload = line.decode().partition(" ")
        found.setdefault(topic.rsplit("/", 1)[-1], []).append(json.loads(payload))
    return found


@contextlib.contextmanager
def subscriber(port: int, path: Path) -> Iterator[None]:
    """mosquitto_sub on everything of ours, its lines in `path`."""
    program = require_binary("mosquitto_sub")
    command = [program, "-V", "5", "-p", str(port), "-q", "1", "-v", "-t", "lastgrain/v1/#"]
    with path.open("wb") as out, subprocess.Popen(command, stdout=out) as listener:
        try:
            yield
        finally:
            listener.terminate()


async def test_the_plant_gets_the_whole_run_in_order_and_every_message_is_valid(tmp_path: Path) -> None:
    broker_folder = tmp_path / "broker"
    broker_folder.mkdir()
    with Mosquitto(broker_folder, "allow_anonymous true\nmax_queued_messages 0\n") as broker:
        table = broker_table(f"mqtt://127.0.0.1:{broker.port}") + "readings = true\n"
        with subscriber(broker.port, tmp_path / "heard"):
            async with running(sink(broker.port, tmp_path / "plant.db", [])):
                async with real_bench(tmp_path / "data", broker=table) as bench:
                    await bench.do("start", **START)
                    picture = await bench.operate("awaiting_review")
                    await bench.until(lambda p: "start" in p.can and p.broker.waiting == 0)
                    assert picture.run is not None
                    record = bench.record(picture.run.run_id)
                    kinds = bench.event_kinds(picture.run.run_id)
                await asyncio.sleep(0.5)
    messages = heard((tmp_path / "heard").read_bytes().splitlines())
    for kind, bodies in messages.items():
        validator = jsonschema.Draft202012Validator(schema_of(kind))
        for body in bodies:
            validator.validate(body)
    assert record is not None
    published = messages["record"][0]
    assert published["record_sha256"] == record["record_sha256"]
    assert published["result"] == record["result"]
    assert messages["latest"][-1]["run_id"] == record["run_id"]
    told = [body["kind"] for body in messages["event"]]
    assert told == [kind for kind in kinds if kind in told]
    assert "endpoint_reached" in told
    seqs = sorted(m["seq"] for kind in ("record", "event", "readings") for m in messages[kind])
    assert seqs == list(range(1, len(seqs) + 1))
    rows = [t_s for block in messages["readings"] for t_s in block["t_s"]]
    assert rows == sorted(rows)
    assert len(rows) > 1000
    assert messages["status"][-1]["state"] == "offline"
    assert messages["status"][-1]["cause"] == "shut-down"
    compare_tables(tmp_path / "plant.db", messages)


def compare_tables(path: Path, messages: dict[str, list[dict[str, Any]]]) -> None:
    """The sink's tables hold what mosquitto_sub heard, each once."""
    numbered = [message for kind in ("record", "event", "readings") for message in messages[kind]]
    kept = select(path, "SELECT seq, message_id FROM message ORDER BY seq")
    assert kept == sorted((message["seq"], message["message_id"]) for message in numbered)
    assert [json.loads(row[0]) for row in select(path, "SELECT body FROM record ORDER BY seq")] == messages[
        "record"
    ]
    assert [json.loads(row[0]) for row in select(path, "SELECT body FROM event ORDER BY seq")] == messages[
        "event"
    ]
    rows = select(path, "SELECT t_s, mass_g, dp_pa FROM reading ORDER BY seq, place")
    columns = [zip(m["t_s"], m["mass_g"], m["dp_pa"], strict=True) for m in messages["readings"]]
    assert rows == [row for block in columns for row in block]
    assert select(path, "SELECT residue_pct FROM newest_record") == [(messages["latest"][-1]["residue_pct"],)]
    assert select(path, "SELECT state, cause FROM bench") == [("offline", "shut-down")]
    assert select(path, "SELECT count(*) FROM set_aside") == [(0,)]
