"""Planned samples from a table that a spreadsheet or a laboratory system wrote.

Comma, semicolon or tab; with or without a byte order mark; any line ends; decimal point or comma; dates as
2031-05-02 or 02.05.2031. All faults of a file are told at once, by line, and then nothing of it is taken.
"""

from __future__ import annotations

import csv
import difflib
import re
from collections.abc import Collection, Iterator
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from logger.core.refusal import ResultError
from logger.core.run.commands import Refused
from logger.core.text import printable
from logger.core.worklist.entries import read_planned
from logger.core.worklist.items import PlannedSample, Worklist

COLUMNS = {
    "sample_id": "sample_id",
    "sample": "sample_id",
    "lot": "lot",
    "point": "point",
    "sampling_point": "point",
    "sampled_at": "sampled_at",
    "method": "method_id",
    "method_id": "method_id",
    "sieve": "sieve_id",
    "sieve_id": "sieve_id",
    "aperture_um": "aperture_um",
    "due": "due",
    "priority": "priority",
}
"""Headings, in small letters with underscores, and the field that each fills."""
LONGEST_FILE = 1_000_000
MOST_SAMPLES = 2000
FAULTS_SHOWN = 20
_DELIMITERS = ",;\t"
_DAY = re.compile(r"(\d{1,2})\.(\d{1,2})\.(\d{4})(.*)\Z")


@dataclass(frozen=True, slots=True, kw_only=True)
class ImportFound:
    """Samples to be planned, and sentences for the person: rows that were left out, columns passed over."""

    samples: tuple[PlannedSample, ...]
    duplicates: tuple[str, ...]
    notices: tuple[str, ...]


def read_worklist_csv(
    data: bytes, name: str, worklist: Worklist, methods: Collection[str] | None
) -> ImportFound:
    """The samples of a file that are not on the list yet. Raises `ResultError` with every fault, by line.

    `name` is the file's, for sentences; `methods` are the ids known on the bench, None where they are not known.
    """
    shown = printable(name)
    text = _decoded(data, shown)
    rows = list(_rows(text, shown))
    if not rows:
        raise ResultError(f"{shown} is empty: its first line names the columns ({_column_words()})")
    fields, notices = _heading(rows[0][1], shown)
    if len(rows) - 1 > MOST_SAMPLES:
        raise ResultError(f"{shown} has {len(rows) - 1} samples; at most {MOST_SAMPLES} at a time: split it")
    faults: list[str] = []
    found: list[tuple[int, PlannedSample]] = []
    for line, cells in rows[1:]:
        try:
            found.append((line, _sample(fields, cells, methods)))
        except (ResultError, Refused) as fault:
            faults.append(f"{shown}, line {line}: {fault}")
    if faults:
        more = [] if len(faults) <= FAULTS_SHOWN else [f"and {len(faults) - FAULTS_SHOWN} more"]
        head = f"nothing was taken from {shown}: {len(faults)} of its lines cannot be read as they are"
        raise ResultError("\n".join([head, *faults[:FAULTS_SHOWN], *more]))
    if not found:
        raise ResultError(f"{shown} has headings but no sample: nothing was taken from it")
    samples, duplicates = _without_twins(found, worklist, shown)
    return ImportFound(samples=tuple(samples), duplicates=tuple(duplicates), notices=tuple(notices))


def _decoded(data: bytes, shown: str) -> str:
    if len(data) > LONGEST_FILE:
        raise ResultError(f"{shown} has {len(data)} bytes; at most {LONGEST_FILE} are read: split it")
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        raise ResultError(f'{shown} is UTF-16 text: save it as "CSV UTF-8"')
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        raise ResultError(f'{shown}, line {line}: not UTF-8 text; save the file as "CSV UTF-8"') from None
    if "\0" in text:
        line = text.count("\n", 0, text.index("\0")) + 1
        raise ResultError(f"{shown}, line {line}: holds a zero byte; this is no text file")
    return text.replace("\r\n", "\n").replace("\r", "\n")


def _rows(text: str, shown: str) -> Iterator[tuple[int, list[str]]]:
    """Line number and cells of each row that is not empty."""
    heading = text.split("\n", 1)[0]
    delimiter = max(_DELIMITERS, key=heading.count)
    reader = csv.reader((f"{row}\n" for row in text.split("\n")), delimiter=delimiter, strict=True)
    line = 1
    try:
        for cells in reader:
            if any(cell.strip() for cell in cells):
                yield line, cells
            line = reader.line_num + 1
    except csv.Error as error:
        raise ResultError(f"{shown}, line {line}: {error}; look at its quotation marks") from None


def _heading(cells: list[str], shown: str) -> tuple[list[str | None], list[str]]:
    """The field of each column, None for one that is passed over."""
    fields: list[str | None] = []
    notices = []
    for cell in cells:
        key = "_".join(cell.strip().lower().replace("-", " ").split())
        field = COLUMNS.get(key)
        if field is None and key:
            near = difflib.get_close_matches(key, COLUMNS, n=1, cutoff=0.8)
            title = printable(cell.strip()[:40])
            if near:
                raise ResultError(
                    f'{shown}, line 1: column "{title}" is not known; did you mean "{near[0]}"?'
                )
            notices.append(f'column "{title}" is passed over')
        if field is not None and field in fields:
            raise ResultError(f"{shown}, line 1: two columns are {field}: keep one")
        fields.append(field)
    if "sample_id" not in fields:
        raise ResultError(
            f"{shown}, line 1: there is no column sample_id; the first line names the columns "
            f"({_column_words()}), parted by comma, semicolon or tab"
        )
    return fields, notices


def _column_words() -> str:
    return (
        ", ".join(dict.fromkeys(COLUMNS.values())).replace("method_id", "method").replace("sieve_id", "sieve")
    )


def _sample(fields: list[str | None], cells: list[str], methods: Collection[str] | None) -> PlannedSample:
    if any(cell.strip() for cell in cells[len(fields) :]):
        raise ResultError(
            f"{len(cells)} cells under {len(fields)} headings: a cell with the delimiter in it needs quotation marks"
        )
    plain: dict[str, Any] = {}
    for field, cell in zip(fields, cells, strict=False):
        value = cell.strip()
        if field is not None and value:
            plain[field] = _READERS.get(field, str)(value)
    sample = read_planned(plain)
    if methods is not None and sample.method_id and sample.method_id not in methods:
        known = ", ".join(sorted(methods)) or "none"
        raise ResultError(f"method {printable(sample.method_id)!r} is not on this bench; there are: {known}")
    return sample


def _aperture(value: str) -> float:
    return _number("aperture_um", value, "63 or 7,5")


def _priority(value: str) -> int:
    number = _number("priority", value, "1 (first) to 9")
    if number != int(number):
        raise ResultError(f"priority must be a whole number from 1 to 9, not {printable(value)!r}")
    return int(number)


def _number(name: str, value: str, example: str) -> float:
    if not re.fullmatch(r"\d{1,6}(?:[.,]\d{1,6})?", value, re.ASCII):
        raise ResultError(f"{name} must be a number such as {example}, not {printable(value[:40])!r}")
    return float(value.replace(",", "."))


def _time(name: str, value: str) -> str:
    """A date, with a time of day if there is one, as YYYY-MM-DD or YYYY-MM-DDTHH:MM."""
    turned = _DAY.match(value)
    text = value if turned is None else "{2}-{1:0>2}-{0:0>2}{3}".format(*turned.groups())
    try:
        found = datetime.fromisoformat(text.strip())
    except ValueError:
        raise ResultError(
            f"{name} {printable(value[:40])!r} is no date: write 2031-05-02, 2031-05-02 06:30 or 02.05.2031 06:30"
        ) from None
    if found.tzinfo is not None:
        raise ResultError(
            f"{name} {printable(value[:40])!r} names a time zone: write the laboratory's own time"
        )
    with_time = len(text.strip()) > 10
    return found.strftime("%Y-%m-%dT%H:%M") if with_time else found.strftime("%Y-%m-%d")


_READERS: dict[str, Any] = {
    "aperture_um": _aperture,
    "priority": _priority,
    "due": lambda value: _time("due", value),
    "sampled_at": lambda value: _time("sampled_at", value).replace("T", " "),
}


def _without_twins(
    found: list[tuple[int, PlannedSample]], worklist: Worklist, shown: str
) -> tuple[list[PlannedSample], list[str]]:
    """The samples that are new; rows of the same sample are left out, and said."""
    lines: dict[Any, int] = {}
    samples, duplicates = [], []
    for line, sample in found:
        twin = worklist.twin(sample)
        first = lines.setdefault(sample.same_as, line)
        if twin is not None:
            words = f"is on the list already as item {twin.number}"
        elif first != line:
            words = f"is the same as line {first}"
        else:
            samples.append(sample)
            continue
        duplicates.append(f"{shown}, line {line}: sample {printable(sample.sample_id)} {words}; left out")
    return samples, duplicates
