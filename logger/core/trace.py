"""The trace file: readings of one run as text columns, to be replayed. Pure: lines in, arrays out.

    # charge_g = 25.004
    t_s,mass_g,dp_pa,stable

`# key = value` lines may precede the header. t_s is 0 when suction starts, negative during the rest before,
and never falls; readings that arrived together may share a time. An empty cell means no reading; a literal
nan is an error. `stable` is 0 or 1. `mass_g` is the load on the sieve. An interval trace has one row a
weighing, t_s in effective seconds sieved, dp_pa empty. Further columns are allowed and not read.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
COLUMNS = ("t_s", "mass_g", "dp_pa", "stable")
FINEST_DIGIT_G = 1e-6
_NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?", re.ASCII)
_STEMS = {"t": "t_s", "time": "t_s", "mass": "mass_g", "load": "mass_g", "dp": "dp_pa", "pressure": "dp_pa"}
_STABLE = {"0": False, "1": True, "": True}


class TraceError(ValueError):
    """A trace that cannot be used: which line, what is wrong, what to do."""

    def __init__(self, name: str, line: int | None, text: str) -> None:
        super().__init__(text)
        self.name, self.line, self.text = name, line, text

    def sentence(self) -> str:
        """FILE, line N: what is wrong and what to do."""
        where = self.name if self.line is None else f"{self.name}, line {self.line}"
        return f"{where}: {self.text}"

    def __str__(self) -> str:
        return self.sentence()


@dataclass(frozen=True, slots=True)
class Trace:
    """Columns of equal length; nan stands for "no reading". `meta` holds the `# key = value` lines."""

    name: str
    t_s: Array
    mass_g: Array
    dp_pa: Array
    stable: NDArray[np.bool_]
    meta: dict[str, str] = field(default_factory=dict)

    @property
    def charge_g(self) -> float | None:
        """The charge named in the file, None when it names none."""
        given = self.meta.get("charge_g")
        return None if given is None else float(given)

    @property
    def has_pressure(self) -> bool:
        """Whether there is a single reading of dP."""
        return bool(np.isfinite(self.dp_pa).any())

    @property
    def rest_s(self) -> float:
        """Length of the rest before suction that the trace shows."""
        before = self.t_s[(self.t_s < 0) & np.isfinite(self.mass_g)]
        return float(before[-1] - before[0]) if before.size > 1 else 0.0

    def rows(self) -> Iterator[tuple[float, float | None, float | None, bool]]:
        """(t_s, mass_g, dp_pa, stable), None where there was no reading."""
        for t, mass, dp, stable in zip(
            self.t_s.tolist(), self.mass_g.tolist(), self.dp_pa.tolist(), self.stable.tolist(), strict=True
        ):
            yield t, None if math.isnan(mass) else mass, None if math.isnan(dp) else dp, stable

    def readability_g(self) -> float:
        """One digit of the balance as the readings show it (g): the coarsest usual step they all lie on."""
        values = self.mass_g[np.isfinite(self.mass_g)]
        for exponent in range(0, -7, -1):
            for factor in (5.0, 2.0, 1.0):
                step = factor * 10.0**exponent
                if np.all(np.abs(values / step - np.round(values / step)) < 1e-4):
                    return step
        return FINEST_DIGIT_G


def parse_trace(lines: Iterable[str], name: str) -> Trace:
    """Reads a trace. Raises TraceError with the line and what to do."""
    meta: dict[str, str] = {}
    places: dict[str, int] | None = None
    width = 0
    columns: tuple[list[float], list[float], list[float], list[bool]] = ([], [], [], [])
    number = 0
    for number, raw in enumerate(lines, start=1):
        line = raw.lstrip("\ufeff").strip()
        if not line:
            continue
        if line.startswith("#"):
            _read_meta(line, name, number, meta, places is not None)
        elif places is None:
            cells = [cell.strip() for cell in line.split(",")]
            places, width = _read_header(cells, name, number), len(cells)
        else:
            _read_row(line.split(","), places, width, name, number, columns)
    if places is None:
        raise TraceError(name, None, f"the file is empty; it needs the header {','.join(COLUMNS)} and rows")
    return _finish(name, number, meta, columns)


def _read_meta(line: str, name: str, number: int, meta: dict[str, str], late: bool) -> None:
    key, equals, value = line.lstrip("#").partition("=")
    key, value = key.strip(), value.strip()
    if not equals:
        return
    if late:
        raise TraceError(name, number, f"{key} comes after the header; put the # lines before it")
    if key.startswith("charge") and key != "charge_g":
        raise TraceError(name, number, f"{key} is not known; give the charge in grams as charge_g")
    if key == "charge_g" and not (_NUMBER.fullmatch(value) and float(value) > 0):
        raise TraceError(name, number, f"charge_g must be a number of grams above zero, is {value!r}")
    meta[key] = value


def _read_header(cells: list[str], name: str, number: int) -> dict[str, int]:
    for cell in cells:
        stem = cell.split("_")[0].split(" ")[0].split("(")[0].split("[")[0].lower()
        if cell not in COLUMNS and stem in _STEMS:
            raise TraceError(
                name, number, f"column {cell!r} is not in our units; convert it and call it {_STEMS[stem]}"
            )
        if cells.count(cell) > 1:
            raise TraceError(name, number, f"column {cell!r} is there twice; keep one")
    missing = [column for column in COLUMNS if column not in cells]
    if missing:
        hint = "; leave its cells empty where there was no reading" if "dp_pa" in missing else ""
        raise TraceError(
            name, number, f"column {', '.join(missing)} is missing; the header is {','.join(COLUMNS)}{hint}"
        )
    return {column: cells.index(column) for column in COLUMNS}


def _read_row(
    cells: Sequence[str],
    places: dict[str, int],
    width: int,
    name: str,
    number: int,
    columns: tuple[list[float], list[float], list[float], list[bool]],
) -> None:
    if len(cells) != width:
        raise TraceError(
            name, number, f"{len(cells)} cells where the header has {width}; mend or remove the row"
        )
    t, mass, dp = (_read_number(cells[places[c]], c, name, number) for c in COLUMNS[:3])
    if math.isnan(t):
        raise TraceError(name, number, "t_s is empty; every row needs its time")
    if columns[0] and t < columns[0][-1]:
        raise TraceError(
            name, number, f"t_s falls from {columns[0][-1]:g} to {t:g}; sort the rows in the order of time"
        )
    stable = cells[places["stable"]].strip()
    if stable not in _STABLE:
        raise TraceError(name, number, f"stable must be 0 or 1, is {stable!r}")
    for column, value in zip(columns[:3], (t, mass, dp), strict=True):
        column.append(value)
    columns[3].append(_STABLE[stable])


def _read_number(cell: str, column: str, name: str, number: int) -> float:
    text = cell.strip()
    if not text:
        return math.nan
    if not _NUMBER.fullmatch(text):
        hint = "; leave the cell empty where there was no reading" if column != "t_s" else ""
        raise TraceError(name, number, f"{column} is {text!r}, not a plain number{hint}")
    value = float(text)
    if math.isinf(value):
        raise TraceError(name, number, f"{column} is {text!r}, beyond any number that can be meant")
    return value


def _finish(
    name: str,
    number: int,
    meta: dict[str, str],
    columns: tuple[list[float], list[float], list[float], list[bool]],
) -> Trace:
    if not columns[0]:
        raise TraceError(name, number, "there are no rows after the header; nothing to replay")
    trace = Trace(
        name,
        np.array(columns[0]),
        np.array(columns[1]),
        np.array(columns[2]),
        np.array(columns[3], dtype=np.bool_),
        meta,
    )
    if not np.isfinite(trace.mass_g[trace.t_s >= 0]).any():
        raise TraceError(name, number, "no mass_g from t_s = 0 on; a run needs readings after suction starts")
    return trace


def format_trace(trace: Trace) -> Iterator[str]:
    """The lines of a trace file (without line ends) that `parse_trace` reads back to the same numbers."""
    for key, value in trace.meta.items():
        yield f"# {key} = {value}"
    yield ",".join(COLUMNS)
    for t, mass, dp, stable in trace.rows():
        yield f"{t!r},{'' if mass is None else repr(mass)},{'' if dp is None else repr(dp)},{int(stable)}"
