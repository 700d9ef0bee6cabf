"""A document as plain lines: for a terminal, a screen reader, a mail."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator, Sequence

from logger.report.document import Block, Document, Facts, Figure, KeyFigures, Lines, Section, Table

_WIDTH = 100


def plain_report(document: Document) -> str:
    """The whole document, its drawings as what they show."""
    lines = [document.title, document.subtitle, f"{document.code_label} {document.code}"]
    lines += [f"{banner.text}: {banner.detail}" for banner in document.banners]
    for section in document.sections:
        lines += ["", section.title, *_section(section)]
    return "\n".join(lines)


def _section(section: Section) -> Iterator[str]:
    for block in section.blocks:
        yield from (f"  {line}" for line in _block(block))


def _block(block: Block) -> Iterator[str]:
    if isinstance(block, Facts):
        width = max((len(name) for name, _ in block.rows), default=0)
        yield from (f"{name.ljust(width)}  {value}" for name, value in block.rows)
    elif isinstance(block, KeyFigures):
        yield from (f"{f.label}: {f.value}{f' ({f.detail})' if f.detail else ''}" for f in block.figures)
    elif isinstance(block, Table):
        yield from _table(block)
    elif isinstance(block, Figure):
        yield from textwrap.wrap(f"{block.title}: {block.alternative}", _WIDTH)
    elif isinstance(block, Lines):
        mark = "- " if block.style == "list" else ""
        for line in block.lines:
            yield from textwrap.wrap(f"{mark}{line}", _WIDTH, subsequent_indent=" " * len(mark))


def _table(table: Table) -> Iterator[str]:
    rows = [tuple(column.text for column in table.head), *table.rows, *table.foot]
    widths = [max(len(row[i]) for row in rows) for i in range(len(table.head))]
    yield from (_row(row, widths, table) for row in rows)


def _row(row: Sequence[str], widths: Sequence[int], table: Table) -> str:
    cells = (
        cell.rjust(width) if column.align == "right" else cell.ljust(width)
        for cell, width, column in zip(row, widths, table.head, strict=True)
    )
    return "  ".join(cells).rstrip()
