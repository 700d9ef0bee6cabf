"""The register with a running service: entries beside an attached console, and a run on what they allow."""

from __future__ import annotations

import asyncio
import signal
from pathlib import Path

import pytest

from logger.settings import config_dir
from logger.store.history import reading
from logger.store.verify import verify
from tests.app.stores import Done, lastgrain
from tests.system.real_bench import START, RealBench, real_bench, running

pytestmark = pytest.mark.asyncio
BY = ("--by", "op-7")


async def command(bench: RealBench, *arguments: str) -> Done:
    """`lastgrain ARGUMENTS` beside the running service."""
    options = ("--data", str(bench.root), "--bench", str(bench.bench_file))
    return await asyncio.to_thread(lastgrain, *options, *arguments)


async def refusal(bench: RealBench, **changes: object) -> str:
    reply = await bench.client.command("start", **(START | changes))
    assert not reply.ok
    return reply.text


@pytest.mark.full
async def test_a_run_on_a_registered_sieve_from_entry_to_result(tmp_path: Path) -> None:
    async with real_bench(tmp_path, speed=60.0) as bench:
        await bench.do("take_controls", name="someone else")
        added = await command(bench, "sieves", "add", "S-45-01", "--aperture", "45", *BY)
        assert (added.code, added.err) == (0, ""), "an entry needs no controls"
        again = await command(bench, "sieves", "add", "S-45-01", "--aperture", "45", *BY)
        assert (again.code, "already" in again.err) == (3, True)
        wide = ("--aperture", "45", "--frame", "203", "--standard", "ASTM E11-17")
        await command(bench, "sieves", "add", "S-8in", *wide, *BY)
        shown = await command(bench, "sieves", "tare", "S-45-01", *BY)
        assert (shown.code, "put the clean, empty sieve on" in shown.err) == (3, True), "an empty pan"
        await command(bench, "sieves", "tare", "S-45-01", "--mass", "300", "--why", "another scale", *BY)
        assert "frames do not seal" in await refusal(bench, sieve_id="S-8in")

        weight = ("checks", "balance", "--weight", "W-200", *BY, "--reading")
        assert (await command(bench, *weight, "200.5")).code == 3
        assert "balance check failed" in await refusal(bench, sieve_id="S-45-01")
        assert (await command(bench, *weight, "200.001")).code == 0

        await bench.do("start", **START, sieve_id="S-45-01")
        picture = await bench.operate("awaiting_review", limit_s=120.0)
        await bench.until(lambda p: "start" in p.can)
        assert picture.run is not None
        record = bench.record(picture.run.run_id)
        assert record is not None
        assert (record["sieve"]["id"], record["sieve"]["runs_before"]) == ("S-45-01", 0)
        keys = {entry["key"] for entry in record["deviations"]}
        assert "sieve-tare" in keys, "300 g was entered, the simulated sieve weighs more"
        assert not keys & {"sieve-not-named", "sieve-not-registered", "pressure-zero"}
        assert record["assessment"]["decision"]["outcome"] == "accept"
        assert record["register_head"].startswith("6:"), (
            "the files at the start of the service, then five by hand"
        )
        fitness = {entry["what"]: entry["standing"] for entry in record["fitness"]}
        assert fitness == {"balance": "not asked", "pressure": "not asked", "sieve": "due"}

        listed = (await command(bench, "sieves", "list", "--json")).json
        assert {sieve["id"]: sieve["runs"] for sieve in listed} == {"S-45-01": 1, "S-8in": 0}
        (result,) = (await command(bench, "results", "--sample", "S-1", "--json")).json
        assert result["assessment"]["residue_pct"] == pytest.approx(record["assessment"]["residue_pct"])
        assert result["assessment"]["budget"] == record["assessment"]["budget"]
    with reading(bench.data.store) as connection:
        assert all(finding.sound for finding in verify(connection))


async def test_a_changed_method_under_a_used_revision_is_refused(tmp_path: Path) -> None:
    text = (config_dir() / "methods" / "filler-45-interval.toml").read_text(encoding="utf-8")
    (tmp_path / "own.toml").write_text(text, encoding="utf-8")

    class OwnMethod(RealBench):
        def write_bench(self) -> None:
            super().write_bench()
            named = self.bench_file.read_text(encoding="utf-8")
            self.bench_file.write_text(named.replace('"filler-45-interval"', '"own.toml"'), encoding="utf-8")

    async with running(OwnMethod(tmp_path, 60.0)) as bench:
        await bench.do("start", **START)
        await bench.do("abort", reason="only to use the revision")
        await bench.until(lambda p: "start" in p.can)
        await bench.do("close")
        await asyncio.to_thread(bench.end_service, signal.SIGTERM)
        assert "mass_g = 25.0" in text
        (tmp_path / "own.toml").write_text(text.replace("mass_g = 25.0", "mass_g = 30.0"), encoding="utf-8")
        bench.start_service()
        await bench.ready()
        told = await refusal(bench)
        assert "charge.mass_g was 25.0, is 30.0" in told
        assert "revision = 2" in told
