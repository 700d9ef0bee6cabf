"""A list to choose from whose marked row is seen without colour too."""

from __future__ import annotations

from collections.abc import Sequence

from textual.content import Content
from textual.widgets import OptionList
from textual.widgets.option_list import Option

MARK, NO_MARK = "▸ ", "  "


class ChoiceList(OptionList):
    """Rows of one or more lines; the marked one begins with a pointer. Two cells are taken for it."""

    def __init__(self, rows: Sequence[Content], *, id: str) -> None:
        self._rows = tuple(rows)
        self._marked: int | None = None
        super().__init__(
            *(Option(Content(NO_MARK) + row) for row in rows),
            markup=False,
            compact=True,
            id=id,
            classes="body choices",
        )

    def show_rows(self, rows: Sequence[Content], at: int | None = None) -> None:
        """Other rows, that `at` marked; without it the mark stays where it was as far as there is a row."""
        at = self.highlighted if at is None else at
        self._marked, self._rows = None, tuple(rows)
        self.set_options(Option(Content(NO_MARK) + row) for row in rows)
        self.highlighted = min(at or 0, len(rows) - 1) if rows else None

    def watch_highlighted(self, highlighted: int | None) -> None:
        """Moves the pointer along."""
        for index, mark in ((self._marked, NO_MARK), (highlighted, MARK)):
            if index is not None and index < len(self._rows):
                self.replace_option_prompt_at_index(index, Content(mark) + self._rows[index])
        self._marked = highlighted
        super().watch_highlighted(highlighted)
