"""A document as one HTML file: no script, nothing fetched from elsewhere, drawings inside, made for paper too."""

from __future__ import annotations

from functools import cache
from pathlib import Path

from jinja2 import Environment, FileSystemLoader, StrictUndefined, Template
from markupsafe import Markup, escape

from logger.report.document import Document, Figure, Paper, Section, unbroken

TEMPLATES = Path(__file__).parent / "templates"
_KINDS = {
    "Facts": "facts",
    "KeyFigures": "key",
    "Table": "table",
    "Lines": "lines",
    "Figure": "figure",
}
PAGE_SIZES: dict[Paper, str] = {"a4": "A4", "letter": "letter"}


def html_report(document: Document, paper: Paper) -> str:
    """The whole file as text. The same document gives the same text."""
    return _template().render(
        document=document,
        rows=side_by_side(document.sections),
        page_size=PAGE_SIZES[paper],
        kind=lambda block: _KINDS[type(block).__name__],
        drawn=_drawn,
    )


def side_by_side(sections: tuple[Section, ...]) -> list[list[Section]]:
    """Sections row by row: neighbours that take half the width stand beside each other."""
    rows: list[list[Section]] = []
    for section in sections:
        if section.half and rows and len(rows[-1]) == 1 and rows[-1][0].half:
            rows[-1].append(section)
        else:
            rows.append([section])
    return rows


@cache
def _template() -> Template:
    environment = Environment(
        loader=FileSystemLoader(TEMPLATES),
        autoescape=True,
        undefined=StrictUndefined,
        finalize=_finished,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
    )
    return environment.get_template("report.html.j2")


def _finished(value: object) -> object:
    return value if isinstance(value, Markup) or not isinstance(value, str) else unbroken(value)


def _drawn(figure: Figure, name: str) -> Markup:
    """The drawing with its title and description, which screen readers say."""
    head, _, rest = figure.svg.partition(">")
    labels = f' role="img" aria-labelledby="{name}-title {name}-text"'
    title = f'<title id="{name}-title">{escape(figure.title)}</title>'
    text = f'<desc id="{name}-text">{escape(figure.alternative)}</desc>'
    return Markup(f"{head}{labels}>{title}{text}{rest}")
