"""The bench file and what it names: profiles, methods, rig."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from datetime import UTC, datetime, timedelta
from pathlib import Path

from logger.app.bench_files import read_bench, read_methods, read_rig
from logger.app.doctor.findings import Finding, hint, ok, wrong
from logger.core.endpoint.feasibility import check_feasibility, coupling_objection
from logger.core.method import Method
from logger.core.rig import Rig
from logger.settings import Bench, ConfigError


def find_bench(path: Path) -> tuple[Bench | None, list[Finding]]:
    """The bench, with its profiles proved readable."""
    if not path.exists():
        todo = "make one with `lastgrain setup`, or name one with --bench (`lastgrain demo` needs none)"
        return None, [wrong("bench file", "is not there", todo, str(path))]
    try:
        bench = read_bench(path)
    except ConfigError as error:
        return None, [wrong("bench file", error.text, "correct it there", _place(error))]
    what = f"{bench.site}/{bench.bench}, balance {bench.arrangement} the rig"
    profiles = f"profiles {Path(bench.balance.profile).stem} and {Path(bench.pressure.profile).stem}"
    return bench, [ok("bench file", f"{what}, {profiles}", str(path))]


def _place(error: ConfigError) -> str:
    return error.path if error.line is None else f"{error.path}, line {error.line}"


def methods_and_rig(bench: Bench, path: Path, now: datetime) -> Iterator[Finding]:
    """Whether the methods can be met on this rig, and whether the rig file is still valid."""
    try:
        methods, rig = read_methods(bench, path), read_rig(bench, path)
    except ConfigError as error:
        yield wrong("bench file", error.text, "correct it there", _place(error))
        return
    yield from _rig(bench, rig, now)
    yield from _methods(bench, methods, rig)


def _rig(bench: Bench, rig: Rig | None, now: datetime) -> Iterator[Finding]:
    if rig is None:
        if bench.arrangement == "under":
            todo = "make a blank run (`lastgrain blank`) and name its file in the table [rig]"
            yield hint(
                "bench file", "no rig file: live runs know the rig's coupling and noise less well", todo
            )
        return
    where = "" if bench.rig is None else bench.rig.file
    measured = _day(rig.measured_at)
    if measured is None:
        yield hint("bench file", "the rig file does not say when it was measured", "make a blank run", where)
        return
    age_days = (now - measured) / timedelta(days=1)
    if rig.valid_days is not None and age_days > rig.valid_days:
        text = f"the blank run is {age_days:.0f} days old and was valid for {rig.valid_days:g}"
        yield wrong("bench file", text, "make a new one: `lastgrain blank`", where)
    else:
        yield ok("bench file", f"the blank run is {max(age_days, 0):.0f} days old", where)


def _day(text: str | None) -> datetime | None:
    try:
        found = datetime.fromisoformat(text or "")
    except ValueError:
        return None
    return found if found.tzinfo is not None else found.replace(tzinfo=UTC)


def _methods(bench: Bench, methods: Mapping[str, Method], rig: Rig | None) -> Iterator[Finding]:
    if not methods:
        yield wrong("bench file", "no method fits this bench", "name methods in the bench file, or write one")
    used = rig or Rig(readability_g=bench.balance.readability_g)
    good: list[str] = []
    for method_id, method in methods.items():
        live = method.weighing.mode == "live"
        if live != (bench.arrangement == "under"):
            continue
        found = check_feasibility(method, used)
        objection = coupling_objection(method, used, method.charge.mass_g) if live else None
        if found.refused or objection:
            todo = "; or ".join(found.remedies) or "use another method or rig"
            yield wrong("bench file", objection or found.text.rstrip("."), todo, f"method {method_id}")
        elif not found.feasible:
            yield hint(
                "bench file", found.text.rstrip("."), "; or ".join(found.remedies), f"method {method_id}"
            )
        else:
            good.append(method_id)
    if good:
        yield ok("bench file", f"can be met on this rig: {', '.join(good)}", "methods")
