"""The keys that work on a screen, in a row (or as many as they need)."""

from __future__ import annotations

from collections.abc import Callable

from textual.widgets import Static

from logger.console.console import KeyLabels
from logger.console.panels.bottom import key_rows
from logger.console.panels.ink import page


class KeyLine(Static):
    """Flows the labels into the width there is; `refresh_labels()` after they changed."""

    def __init__(self, labels: Callable[[], KeyLabels], *, id: str, classes: str = "") -> None:
        super().__init__("", markup=False, id=id, classes=classes)
        self._labels = labels

    def on_mount(self) -> None:
        """Something at once, so that the height is right."""
        self.refresh_labels()

    def on_resize(self) -> None:
        """Flows them anew."""
        self.refresh_labels()

    def refresh_labels(self) -> None:
        """Shows the labels of now."""
        width = self.size.width or max(1, self.screen.size.width - 2)
        self.update(page(key_rows(self._labels(), width)))
