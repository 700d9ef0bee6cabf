"""The menu of places: each with its key and a line of help."""

from __future__ import annotations

from typing import ClassVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.content import Content
from textual.events import Key
from textual.widgets import OptionList, Static

from logger.console.console import KeyLabels
from logger.console.panels.ink import STRONG, line
from logger.console.places import PLACES, Place, place_of
from logger.console.screens.board_screen import BoardScreen
from logger.console.screens.choice_list import ChoiceList

LABEL_CELLS = 17


class PlacesScreen(BoardScreen):
    """Opens a place by its key, or the marked one with Enter; the bench is behind it."""

    BINDINGS: ClassVar[list[BindingType]] = [Binding("escape,q,Q", "leave", show=False)]
    AUTO_FOCUS = "#places"
    heading = "GO TO"
    about = ("The run goes on, whatever is looked at; its alarms are shown on every screen.",)

    def compose(self) -> ComposeResult:
        """Heading, places, keys."""
        yield from self.frame()
        yield Static(Content.styled(self.heading, STRONG), markup=False, id="title", classes="body")
        yield ChoiceList([_row(each) for each in PLACES], id="places")
        yield self.key_line()

    def key_labels(self) -> KeyLabels:
        """How the list is used."""
        keys = "".join(each.key for each in PLACES)
        return [("Enter", "open"), ("↑ ↓", "choose"), (keys, "open at once"), ("?", "help"), ("Esc", "back")]

    def key_help(self) -> KeyLabels:
        """Each place with its key."""
        return [("Enter", "Open the marked place."), *((each.key, each.help) for each in PLACES)]

    def on_key(self, event: Key) -> None:
        """A place's own key."""
        place = place_of(event.character or "")
        if place is not None:
            event.stop()
            self._open(place)

    def on_option_list_option_selected(self, event: OptionList.OptionSelected) -> None:
        """Enter."""
        event.stop()
        self._open(PLACES[event.option_index])

    def _open(self, place: Place) -> None:
        self.app.switch_screen(place.make_screen())

    def action_leave(self) -> None:
        """Back to the bench."""
        self.dismiss()


def _row(place: Place) -> Content:
    return line((f"{place.key} ", STRONG), f" {place.label.ljust(LABEL_CELLS)} ", place.help)
