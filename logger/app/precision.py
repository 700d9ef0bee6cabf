"""Precision study from a table: columns material, group, residue_pct; a line for each value."""

from __future__ import annotations

import csv
import io
import re
from pathlib import Path
from typing import Any

from logger.app.kept_runs import kept_run
from logger.app.paths import DataFolder
from logger.core.duplicates import duplicates
from logger.core.precision import MaterialPrecision, precision_study
from logger.core.run.plan import plain_json
from logger.core.text import printable
from logger.settings import ConfigError
from logger.settings.toml_model import read_text
from logger.store.errors import StoreError
from logger.store.history import reading
from logger.store.samples import runs_of_method

COLUMNS = ("material", "group", "residue_pct")
_NUMBER = re.compile(r"[+-]?\d+(\.\d+)?\Z", re.ASCII)

Study = dict[str, dict[str, list[float]]]


def read_study(path: Path) -> Study:
    """The table as {material: {group: values in %}}. Raises ConfigError with the line."""
    rows = csv.reader(io.StringIO(read_text(path)), strict=True)
    study: Study = {}
    try:
        header = [name.strip() for name in next(rows, [])]
        if sorted(header) != sorted(COLUMNS):
            found = ", ".join(header)[:80]
            raise ConfigError(path, f"the columns must be {', '.join(COLUMNS)}, not {found}", 1)
        for row in rows:
            if row:
                _take(study, dict(zip(header, row, strict=False)), path, rows.line_num, len(row))
    except csv.Error as error:
        raise ConfigError(
            path, f"is no table of values separated by commas: {error}", rows.line_num
        ) from None
    if not study:
        raise ConfigError(path, "there are no values in it")
    return study


def _take(study: Study, row: dict[str, str], path: Path, line: int, cells: int) -> None:
    if cells != len(COLUMNS):
        raise ConfigError(path, f"{cells} cells, there must be {len(COLUMNS)}", line)
    material, group, text = (row[name].strip() for name in COLUMNS)
    if not material or not group:
        raise ConfigError(path, "material and group must not be empty", line)
    if not _NUMBER.match(text):
        raise ConfigError(path, f"residue_pct is a number like 12.34, not {text!r}", line)
    value = float(text)
    if not -1 <= value <= 101:
        raise ConfigError(path, f"a residue of {value:g} % of the charge cannot be meant", line)
    study.setdefault(material, {}).setdefault(group, []).append(value)


def precision(path: Path, json_out: bool) -> str | list[dict[str, Any]]:
    """Repeatability and reproducibility for each material. Raises ConfigError, `ResultError`."""
    found = precision_study(read_study(path))
    if json_out:
        return [plain_json(each) for each in found]
    names = "".join(f"  {name:>7}" for name in ("s_r %", "s_R %", "r %", "R %"))
    lines = [f"{'material':16}  {'groups':>6}  {'values':>6}  {'mean %':>8}{names}"]
    for each in found:
        lines.append(
            f"{printable(each.material)[:16]:16}  {len(each.groups):>6}  {each.values:>6}  {each.mean_pct:>8.3f}  "
            f"{each.s_r_pct:>7.3f}  {each.s_big_r_pct:>7.3f}  {each.r_pct:>7.2f}  {each.big_r_pct:>7.2f}"
        )
    return "\n".join([*lines, *(line for each in found for line in _tests(each))])


def precision_of_runs(
    data: DataFolder, method_id: str, revision: int | None, json_out: bool
) -> str | dict[str, Any]:
    """Repeatability from the duplicates that the history holds. Raises StoreError, `ResultError`."""
    with reading(data.store) as connection:
        runs = [kept_run(connection, run_id) for run_id in runs_of_method(connection, method_id, revision)]
    if not runs:
        raise StoreError(f"There is no run by method {method_id}; `lastgrain runs list` shows them.")
    found = duplicates(runs)
    if json_out:
        return plain_json(found)
    lines = [f"{'sample':16}  {'runs':>11}  {'difference %':>12}"]
    lines += [
        f"{printable(pair.sample_id)[:16]:16}  {pair.runs[0]:>5} {pair.runs[1]:>5}  {pair.difference_pct:>12.3f}"
        for pair in found.pairs
    ]
    return "\n".join([*lines, "", found.text])


def _tests(found: MaterialPrecision) -> list[str]:
    lines = ["", printable(found.text)]
    if found.between_negative:
        lines.append("  scatter between groups came out below zero and counts as zero")
    for test in found.tests:
        names = ", ".join(printable(found.groups[i]) for i in test.indices)
        lines.append(
            f"  {test.name}: {names}: {test.statistic:.4f} (5 %: {test.critical_5:.4f}, 1 %: {test.critical_1:.4f}), "
            f"{'nothing marked' if test.mark == 'none' else test.mark}"
        )
    return lines
