"""New run: choose the method, scan or type the sample, the rest if there is any."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from textual.content import Content
from textual.widget import Widget
from textual.widgets import OptionList, Static

from logger.console.console import KeyLabels
from logger.console.forms import new_run
from logger.console.literal import fit, literal
from logger.console.panels.ink import DIM, TITLE, line
from logger.console.screens.choice_list import ChoiceList
from logger.console.screens.form_screen import FormScreen, Send, Values
from logger.core.snapshot import MethodView


class NewRunScreen(FormScreen):
    """The form with the list of methods above its fields."""

    AUTO_FOCUS = "#field-sample_id"

    def __init__(self, methods: Sequence[MethodView], chosen: str, operator: str, send: Send) -> None:
        super().__init__(new_run(operator), send)
        self._methods = methods
        self._chosen = next((i for i, each in enumerate(methods) if each.id == chosen), 0)

    def above(self) -> Iterator[Widget]:
        """The methods; the marked one is taken."""
        yield Static(
            line(("METHOD", TITLE), ("  up from the sample, then up and down to choose", DIM)),
            markup=False,
            classes="body",
        )
        if not self._methods:
            yield Static("No method is in use at this bench. Add one first.", markup=False, classes="body")
            return
        chosen = ChoiceList([_method_line(each) for each in self._methods], id="methods")
        chosen.highlighted = self._chosen
        yield chosen
        yield Static("", markup=False, id="summary", classes="body")

    def on_option_list_option_highlighted(self, event: OptionList.OptionHighlighted) -> None:
        """Says what the marked method is."""
        event.stop()
        method = self._methods[event.option_index]
        words = f"chosen: {literal(method.title, 60)}. {literal(method.summary, 90)}"
        self.query_one("#summary", Static).update(Content.styled(words, DIM))

    def key_labels(self) -> KeyLabels:
        """The form's own words for its keys."""
        keys = [("Enter", self.form.enter), ("Ctrl+S", "start now"), ("↑ ↓", "move")]
        return [*keys, ("F1", "help"), ("Esc", "back")]

    def values(self) -> Values:
        """The fields and the method."""
        methods = self.query("#methods")
        index = methods.first(OptionList).highlighted if methods else None
        method_id = self._methods[index].id if index is not None else ""
        return {"method_id": method_id, **super().values()}

    def on_option_list_option_selected(self, event: OptionList.OptionSelected) -> None:
        """Enter on a method: on to the sample."""
        event.stop()
        self.query_one("#field-sample_id").focus()

    def action_send(self) -> None:
        """Refuses without a method."""
        if not self.values()["method_id"]:
            self.say("No method is in use at this bench. Add one first.")
        else:
            super().action_send()


def _method_line(method: MethodView) -> Content:
    words = f"{literal(method.title, 48)}  rev. {method.revision}  ({literal(method.id, 16)})"
    return Content(fit(words, 74))
