"""Bench, rig and methods as they are at the start of a service: what changed is entered in the register."""

from __future__ import annotations

import hashlib
import logging
from collections.abc import Mapping
from concurrent.futures import Future
from pathlib import Path

from logger.core.ports import Register
from logger.core.refusal import ResultError
from logger.core.register.enter import enter
from logger.core.register.events import RegisterEvent, RegisterKind
from logger.core.register.files import FoundFile, What, changed
from logger.core.register.state import RegisterState
from logger.core.run.commands import Refused
from logger.core.run.plan import BenchPlan
from logger.settings import Bench, find_config

SERVICE = "service"
_LOG = logging.getLogger("lastgrain.service")


def found_files(bench: Bench, bench_path: Path, methods: Mapping[str, Path]) -> list[FoundFile]:
    """The files that a service reads, with their hashes. One that cannot be read is left out."""
    named: list[tuple[What, str, Path]] = [("bench", bench_path.name, bench_path)]
    if bench.rig is not None:
        beside = bench_path.parent / bench.rig.file
        path = beside if beside.exists() else find_config("rigs", bench.rig.file)
        named.append(("rig", bench.rig.file, path))
    named += [("method", name, path) for name, path in sorted(methods.items())]
    return [file for each in named if (file := _found(*each)) is not None]


def _found(what: What, name: str, path: Path) -> FoundFile | None:
    try:
        sha256 = hashlib.sha256(path.read_bytes()).hexdigest()
    except OSError:
        return None
    return FoundFile(what=what, name=name, sha256=sha256)


def note_files(register: Register, files: list[FoundFile], plan: BenchPlan, utc: str) -> str:
    """Enters what is new or changed since the last start; gives the sentence, empty when nothing is. Blocks.

    A register that cannot be written stops no bench: the log says so.
    """
    try:
        if not changed(register.state().seen, files):
            return ""
        done: Future[RegisterEvent] = register.enter(lambda state: _entry(state, files, plan, utc))
        data = done.result().data
    except (Refused, ResultError) as refusal:
        _LOG.error("changed files could not be entered: %s", refusal)
        return ""
    return ", ".join(f"{each['what']} {each['name']}" for each in data["files"])


def _entry(state: RegisterState, files: list[FoundFile], plan: BenchPlan, utc: str) -> RegisterEvent:
    return enter(
        RegisterKind.FILES_SEEN,
        {"files": changed(state.seen, files)},
        by=SERVICE,
        why="seen at the start of the service",
        utc=utc,
        state=state,
        policy=plan.checks,
        balance=plan.balance,
    )
