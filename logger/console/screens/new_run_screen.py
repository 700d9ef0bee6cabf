"""New run: choose the method, scan or type the sample, the rest if there is any.

A sample that is planned fills in what its plan says, and so does the next step of a sample's job. Enter on
a field that is needed and empty stays there.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from textual.content import Content
from textual.widget import Widget
from textual.widgets import Input, OptionList, Static

from logger.console.console import KeyLabels
from logger.console.forms import new_run
from logger.console.literal import fit, literal
from logger.console.panels.ink import DIM, STRONG, TITLE, line
from logger.console.screens.choice_list import ChoiceList
from logger.console.screens.form_screen import FormScreen, Send, Values
from logger.console.shift_rows import PlannedRow, SieveRow, planned_of, sieves_of
from logger.core.snapshot import MethodView

PLANNED_FIELDS = ("lot", "point", "sampled_at", "sieve_id")


class NewRunScreen(FormScreen):
    """The form with the list of methods above its fields. `fill` holds values that are known already."""

    AUTO_FOCUS = ""
    about = (
        "Scan the sample: a planned one fills in the rest. Enter goes from field to field and starts from the last; "
        "Ctrl+S starts at once. The only sieve in the register that fits the method is filled in.",
    )

    def __init__(
        self,
        methods: Sequence[MethodView],
        chosen: str,
        operator: str,
        send: Send,
        fill: Mapping[str, str] | None = None,
    ) -> None:
        self._fill = dict(fill or {})
        super().__init__(new_run(self._fill.get("operator_id") or operator, self._fill), send)
        self.about = NewRunScreen.about
        self._methods = methods
        wanted = self._fill.get("method_id") or chosen
        place = self._place(wanted)
        self._chosen = 0 if place is None and not self._fill.get("method_id") else place
        self._sieves: list[SieveRow] = []
        self._planned: list[PlannedRow] = []
        self._own_sieve = ""
        """The sieve that was filled in here, and may be changed here as long as nobody typed another."""

    def _place(self, method_id: str) -> int | None:
        return next((i for i, each in enumerate(self._methods) if each.id == method_id), None)

    def on_mount(self) -> None:
        """The cursor where something is still to be said; asks what may be filled in."""
        fields = self.form.fields
        empty = next((each for each in fields if each.required and not each.initial), None)
        self._input(empty or fields[-1]).focus()
        self.run_worker(self._ask(), name="ask what may be filled in")

    async def _ask(self) -> None:
        reply = await self.console.client.query("new_run")
        if reply.ok:
            self._sieves, self._planned = sieves_of(reply.data), planned_of(reply.data, "planned")
            self._fill_sieve()
            self._say_more()

    def above(self) -> Iterator[Widget]:
        """The methods; the marked one is taken."""
        yield Static(
            line(("METHOD", TITLE), ("  ↑ from the sample, then ↑ ↓ to choose", DIM)),
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
        self._fill_sieve()
        self._say_more()

    def _say_more(self) -> None:
        method = self._method()
        if method is None:
            return
        words = f"chosen: {literal(method.title, 60)}. {literal(method.summary, 90)}"
        fitting = [sieve.id for sieve in self._fitting(method)]
        if len(fitting) > 1:
            words += f". Sieves: {literal(', '.join(fitting), 60)}"
        self.query_one("#summary", Static).update(Content.styled(words, DIM))

    def key_labels(self) -> KeyLabels:
        """The form's own words for its keys."""
        keys = [("Enter", self.form.enter), ("Ctrl+S", "start now"), ("↑ ↓", "move")]
        return [*keys, ("F1", "help"), ("Esc", "back")]

    # filling in

    def _method(self) -> MethodView | None:
        methods = self.query("#methods")
        index = methods.first(OptionList).highlighted if methods else None
        return None if index is None else self._methods[index]

    def _fitting(self, method: MethodView) -> list[SieveRow]:
        wanted = self._fill.get("aperture_um", "")
        apertures = (float(wanted),) if wanted else method.apertures_um
        return [
            sieve
            for sieve in self._sieves
            if sieve.aperture_um in apertures and abs(sieve.frame_mm - method.frame_mm) < 0.5
        ]

    def _fill_sieve(self) -> None:
        """The one sieve that fits; nothing where there are several, or another was typed."""
        field, method = self.query_one("#field-sieve_id", Input), self._method()
        if method is None or not self._sieves or field.value not in ("", self._own_sieve):
            return
        fitting = self._fitting(method)
        self._own_sieve = fitting[0].id if len(fitting) == 1 else ""
        field.value = self._own_sieve

    def entered(self, field: Input) -> None:
        """Stays on a field that is needed and empty; fills in what is planned for the sample."""
        spec = next(each for each in self.form.fields if field.id == f"field-{each.name}")
        value = field.value.strip()
        if spec.required and not value:
            self.say(f"{spec.label} is needed.")
        elif spec.name == "sample_id" and self._take_plan(value):
            rest = [each for each in self.form.fields if each.required and not self._input(each).value]
            self._input(rest[0] if rest else self.form.fields[-1]).focus()
        else:
            self.query_one("#error", Static).update("")
            super().entered(field)

    def _take_plan(self, sample_id: str) -> bool:
        """Fills in the plan of this sample, where there is exactly one."""
        plans = [row for row in self._planned if row.sample_id == sample_id and row.state != "running"]
        if len(plans) != 1 or self._fill.get("sample_id") == sample_id:
            return False
        self._fill = plans[0].fill()
        for name in PLANNED_FIELDS:
            if self._fill[name]:
                self.query_one(f"#field-{name}", Input).value = self._fill[name]
        if self._fill["method_id"] and self._methods:
            self.query_one("#methods", ChoiceList).highlighted = self._place(self._fill["method_id"])
        self._fill_sieve()
        words = f"✓ Planned as item {plans[0].item}: filled in. Enter starts its run."
        self.query_one("#error", Static).update(Content.styled(words, STRONG))
        return True

    # sending

    def values(self) -> Values:
        """The fields and the method."""
        method = self._method()
        return {"method_id": "" if method is None else method.id, **super().values()}

    def on_option_list_option_selected(self, event: OptionList.OptionSelected) -> None:
        """Enter on a method: on to the sample."""
        event.stop()
        self.query_one("#field-sample_id").focus()

    def action_send(self) -> None:
        """Refuses without a method."""
        if not self._methods:
            self.say("No method is in use at this bench. Add one first.")
        elif not self.values()["method_id"]:
            self.say(f"Method {self._fill.get('method_id')} of the plan is not on this bench: choose one.")
            self.query_one("#methods").focus()
        else:
            super().action_send()


def _method_line(method: MethodView) -> Content:
    # The id tells two methods apart where their titles are cut; the chosen title stands whole below the list.
    words = f"{literal(method.id, 28)} rev. {method.revision}  {literal(method.title, 48)}"
    return Content(fit(words, 74))
