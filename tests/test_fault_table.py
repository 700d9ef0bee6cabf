"""docs/faults.md says of each fault which test holds it; nothing in it is out of date."""

from __future__ import annotations

import ast
import re
from functools import cache
from pathlib import Path

import pytest

from tests.fault_table import PAGE, ROOT, TIERS, FaultRow, fault_rows

TEXT = PAGE.read_text(encoding="utf-8")
ROWS = fault_rows(TEXT)


@cache
def declared_in(path: str) -> dict[str, str]:
    """Names of the tests of a file, each with the tier that its decorators or its file give to all of it."""
    tree = ast.parse((ROOT / path).read_text(encoding="utf-8"))
    whole = " ".join(ast.unparse(node) for node in tree.body if _is_pytestmark(node))
    found = {}
    for node in ast.walk(tree):
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef) and node.name.startswith("test_"):
            marks = [
                ast.unparse(mark) for mark in node.decorator_list if "parametrize" not in ast.unparse(mark)
            ]
            found[node.name] = _tier(" ".join([whole, *marks]))
    return found


def _is_pytestmark(node: ast.stmt) -> bool:
    return isinstance(node, ast.Assign) and ast.unparse(node.targets[0]) == "pytestmark"


def _tier(marks: str) -> str:
    return "soak" if "mark.soak" in marks else "full" if "mark.full" in marks else "check"


def test_every_row_stands_once_and_in_order() -> None:
    assert [row.number for row in ROWS] == list(range(1, 68))


@pytest.mark.parametrize("row", ROWS, ids=lambda row: str(row.number))
def test_every_test_of_a_row_exists_and_has_its_tier(row: FaultRow) -> None:
    assert row.fault
    assert row.expected
    assert row.tests, "a row that does not apply still names the test that shows so"
    tiers = []
    for name in row.tests:
        path, _, function = name.partition("::")
        assert (ROOT / path).is_file(), path
        assert function in declared_in(path), name
        tiers.append(declared_in(path)[function])
    assert row.tier == max(tiers, key=TIERS.index)
    assert row.result == "passes"


def test_a_name_that_is_no_test_would_be_found() -> None:
    assert "test_no_such_thing" not in declared_in("tests/test_fault_table.py")
    with pytest.raises(ValueError, match="cells"):
        fault_rows("| 1 | a | b |")


def test_every_test_file_of_faults_has_a_place_on_the_page() -> None:
    files = {path.relative_to(ROOT).as_posix() for path in Path(__file__).parent.glob("faults/test_*.py")}
    assert {path for path in files if path not in TEXT} == set()


def test_the_page_speaks_for_itself() -> None:
    """It names no paper that a reader does not have."""
    named = re.findall(r"[\w./-]+\.md", TEXT)
    assert all((PAGE.parent / name).exists() or (ROOT / name).exists() for name in named)
