"""Imports point one way. Read from the source, so that a lazy import inside a function counts as well."""

from __future__ import annotations

import ast
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent

MAY_IMPORT: dict[str, set[str]] = {
    "logger.core": {"logger.core"},
    "logger.settings": {"logger.core", "logger.settings"},
    "logger.service": {"logger.core", "logger.service"},
    "logger.store": {"logger.core", "logger.store"},
    "logger.publish": {"logger.core", "logger.publish"},
    "logger.sink": {"logger.core", "logger.publish", "logger.sink"},
    "logger.sparkplug": {"logger.core", "logger.publish", "logger.sparkplug"},
    "logger.report": {"logger.core", "logger.report"},
    "logger.console": {"logger.core", "logger.service", "logger.console"},
    "drivers": {"drivers"},
    "simulators": {"simulators"},
}
OURS = ("logger", "drivers", "simulators", "tests")
CORE_LIBRARIES = {"numpy"}
NOT_IN_CORE = {
    "asyncio",
    "threading",
    "socket",
    "sqlite3",
    "time",
    "random",
    "subprocess",
    "pathlib",
    "os",
    "io",
}


def imports(path: Path) -> Iterator[str]:
    """Every module that a file imports, also inside functions; of `from a import b` both a and a.b."""
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}: relative import"
            yield node.module or ""
            yield from (f"{node.module}.{alias.name}" for alias in node.names)


def files(package: str) -> list[Path]:
    found = sorted((ROOT / package.replace(".", "/")).rglob("*.py"))
    assert found, package
    return found


@pytest.mark.parametrize("package", sorted(MAY_IMPORT))
def test_package_imports_only_what_lies_below_it(package: str) -> None:
    allowed = MAY_IMPORT[package]
    wrong = [
        f"{path.relative_to(ROOT)}: {name}"
        for path in files(package)
        for name in imports(path)
        if name.split(".")[0] in OURS
        and name != "logger"
        and not any(name == root or name.startswith(f"{root}.") for root in allowed)
    ]
    assert wrong == []


def test_core_is_standard_library_and_numpy_without_clock_files_or_loops() -> None:
    wrong = [
        f"{path.relative_to(ROOT)}: {name}"
        for path in files("logger.core")
        for name in imports(path)
        if name.split(".")[0] not in OURS
        and (name.split(".")[0] in NOT_IN_CORE or not known_in_core(name.split(".")[0]))
    ]
    assert wrong == []


def known_in_core(name: str) -> bool:
    return name in sys.stdlib_module_names or name in CORE_LIBRARIES


def test_only_the_console_knows_textual() -> None:
    wrong = [
        str(path.relative_to(ROOT))
        for path in [*files("logger"), *files("drivers"), *files("simulators")]
        for name in imports(path)
        if name.split(".")[0] in ("textual", "rich")
        and "console" not in path.parts
        and not (name.startswith("rich.") and path.name == "progress.py")
    ]
    assert wrong == []


def test_nothing_that_talks_to_the_broker_can_reach_an_instrument() -> None:
    """No module of logger.publish, sparkplug or sink, nor anything it imports, imports drivers."""
    seen: set[str] = set()
    talking = [*files("logger.publish"), *files("logger.sparkplug"), *files("logger.sink")]
    todo = [".".join(path.relative_to(ROOT).with_suffix("").parts) for path in talking]
    while todo:
        name = todo.pop()
        path = ROOT / f"{name.replace('.', '/')}.py"
        if name in seen or not path.exists():
            continue
        seen.add(name)
        todo += [found for found in imports(path) if found.split(".")[0] in OURS]
    assert len(seen) > 10
    assert [name for name in seen if name.startswith(("drivers", "simulators", "logger.service"))] == []


def test_the_rule_bites(tmp_path: Path) -> None:
    bad = tmp_path / "bad.py"
    bad.write_text("def f():\n    import drivers.instrument\n    from logger import service\n")
    assert list(imports(bad)) == ["drivers.instrument", "logger", "logger.service"]
