"""Shared by all tests: which of them run side by side."""

from __future__ import annotations

from pathlib import Path

import pytest

REAL_BENCH = "real_bench"
"""Files whose tests start whole benches; one process runs them all, one after the other."""


def starts_a_bench(path: Path) -> bool:
    """Whether a test file works with children on real ports at high speed."""
    text = path.read_text(encoding="utf-8")
    return any(word in text for word in ("tests.system.real_bench", "tests.benchmarks", "start_child"))


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Put tests of real benches into one group of pytest-xdist."""
    known: dict[Path, bool] = {}
    for item in items:
        if known.setdefault(item.path, starts_a_bench(item.path)):
            item.add_marker(pytest.mark.xdist_group(REAL_BENCH))
