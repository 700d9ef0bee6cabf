"""The control chart of each sieve's reference powder: has the test, or its sieve, moved?"""

from __future__ import annotations

from typing import Any, ClassVar

from textual.binding import Binding, BindingType
from textual.content import Content

from logger.console.answers import dict_of, dicts_of, text_of
from logger.console.console import KeyLabels
from logger.console.literal import literal
from logger.console.panels.control import control
from logger.console.panels.ink import BAD, DIM, page, paragraph
from logger.console.screens.reading_screen import ReadingScreen

NO_CHECKS = (
    "No sieve has been checked with a reference powder yet. Sieve it as a run, then enter the check: "
    "`lastgrain sieves reference SIEVE --run NUMBER`."
)


class ControlScreen(ReadingScreen):
    """One series at a time; the arrows at the side go to the next sieve or powder."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("right,tab", "next(1)", show=False),
        Binding("left,shift+tab", "next(-1)", show=False),
    ]
    heading = "CONTROL CHART"
    about: tuple[str, ...] = (
        "Each check of a sieve with a reference powder is a point. The first eight set centre and spread; "
        "beyond two standard deviations it is a warning, beyond three, or by the usual run rules, action.",
        "Checks are entered with `lastgrain sieves reference`.",
    )

    def __init__(self) -> None:
        super().__init__()
        self._series: list[dict[str, Any]] = []
        self._at = 0
        self._chart: dict[str, Any] = {}
        self._problem = "Asking the service …"

    def on_mount(self) -> None:
        """Asks for the series that was checked last."""
        super().on_mount()
        self._ask({})

    def key_labels(self) -> KeyLabels:
        """How series are chosen."""
        return [("← →", "other sieve or powder"), ("↑ ↓", "read"), ("?", "help"), ("Esc", "back")]

    def action_next(self, step: int) -> None:
        """Another series."""
        if len(self._series) > 1:
            self._at = (self._at + step) % len(self._series)
            chosen = self._series[self._at]
            self._ask({name: chosen.get(name) for name in ("sieve_id", "certificate")})

    def _ask(self, wanted: dict[str, Any]) -> None:
        self.run_worker(self._fetch(wanted), exclusive=True, group="control", name="ask for a control chart")

    async def _fetch(self, wanted: dict[str, Any]) -> None:
        reply = await self.console.client.query("control", **wanted)
        answer = dict_of(reply.data)
        if reply.ok:
            self._series, self._chart = dicts_of(answer.get("series")), dict_of(answer.get("chart"))
            self._problem = "" if self._chart else NO_CHECKS
        else:
            self._problem = reply.text
        self.fill()

    def text(self, width: int, height: int) -> Content:
        """The chart, and which of how many it is."""
        if self._problem:
            return page(paragraph(literal(self._problem), width, BAD))
        shown = control(self._chart, width, height - 1)
        named = [
            f"{'▶ ' if at == self._at else ''}{text_of(each.get('sieve_id'), 30)} {text_of(each.get('certificate'), 30)}"
            for at, each in enumerate(self._series)
        ]
        others = paragraph(" · ".join(named), width, DIM) if len(named) > 1 else []
        return page([*others, shown])
