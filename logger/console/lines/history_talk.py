"""History, one run, review and control chart in words."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from textual.content import Content

from logger.console.answers import dict_of, dicts_of, number_of, text_of
from logger.console.kept import KeptRun, kept_run
from logger.console.lines.talk import Talk
from logger.console.literal import literal
from logger.console.panels import kept_pages
from logger.console.panels.control import SIGNS
from logger.console.run_rows import RunRow, detail_words, row_of, typed_filter
from logger.console.screens.sign_screen import accept_form, reject_form

PAGE = 10
WIDTH = 10_000
"""Pages are written without line breaks of their own: a screen reader has no columns."""
PAGES: dict[str, Callable[[KeptRun, int], Content]] = {
    "numbers": kept_pages.numbers,
    "decision": kept_pages.decision,
    "uncertainty": kept_pages.budget,
    "events": kept_pages.events,
    "revisions": kept_pages.revisions,
}


async def history(talk: Talk, rest: str) -> None:
    """Runs, newest first, narrowed by words and filters; with a number, that run."""
    words = rest.split()
    if words and words[0].isdecimal():
        await run(talk, rest)
        return
    wanted: dict[str, Any] = {**typed_filter(rest), "limit": PAGE}
    while True:
        reply = await talk.client.query("runs", **wanted)
        if not reply.ok:
            talk.answer(reply)
            return
        answer = dict_of(reply.data)
        rows = [row_of(each) for each in dicts_of(answer.get("runs"))]
        talk.say_all([_row(row) for row in rows] or ["No run fits. Words are found by their beginnings."])
        wanted["before"] = answer.get("cursor")
        if not rows or wanted["before"] is None or not await talk.sure("There are older ones."):
            return


def _row(row: RunRow) -> str:
    return f"Run {row.number}: {', '.join(detail_words(row))}, {row.stands}, residue {row.residue}"


async def run(talk: Talk, rest: str) -> KeptRun | None:
    """One run: its numbers, and the pages that are named behind its number."""
    which, *pages = rest.split() or [""]
    reply = await talk.client.query("run", which=which, parts=["record", "events"])
    if not talk.answer(reply):
        return None
    kept = kept_run(reply.data)
    for name in pages or ["numbers"]:
        if name not in PAGES:
            talk.say(f"There is no page {literal(name, 20)}; there are: {', '.join(PAGES)}.")
        else:
            talk.say_all(PAGES[name](kept, WIDTH).plain.split("\n"))
    if not pages:
        others = ", ".join(name for name in PAGES if name != "numbers")
        talk.say(f"More: history {kept.row.number} and one of {others}.")
    return kept


async def review(talk: Talk, rest: str) -> None:
    """Runs that wait for their review; with a number, that run and its signature."""
    if rest:
        kept = await run(talk, f"{rest.split()[0]} numbers decision")
        if kept is not None:
            await _sign(talk, kept)
        return
    reply = await talk.client.query("runs", review="unreviewed", limit=PAGE)
    if not talk.answer(reply):
        return
    rows = [row_of(each) for each in dicts_of(dict_of(reply.data).get("runs"))]
    talk.say_all([_row(row) for row in rows] or ["No run waits for a review."])
    if rows:
        talk.say(f"To look at one and sign it: review {rows[0].number}.")


async def _sign(talk: Talk, kept: KeptRun) -> None:
    """What is signed is the record that was said."""
    number, seen = kept.row.number, text_of(kept.record.get("record_sha256"), 64)
    if not seen:
        talk.say("There is no record to sign yet.")
        return
    talk.say("Type accept or reject; anything else goes back.")
    do = (await talk.next_line()).strip().lower()
    if do not in ("accept", "reject"):
        return
    form = accept_form(number) if do == "accept" else reject_form(number)
    await talk.ask(
        form, lambda values: talk.client.command("review", do=do, run=str(number), seen=seen, **values)
    )


async def control(talk: Talk, rest: str) -> None:
    """The reference powder's control chart: limits and the newest checks, each with its signal as a word."""
    asked: dict[str, Any] = {}
    if rest:
        series = dicts_of(dict_of((await talk.client.query("control")).data).get("series"))
        named = [each for each in series if each.get("sieve_id") == rest]
        asked = (
            {name: named[0].get(name) for name in ("sieve_id", "certificate")}
            if named
            else {"sieve_id": rest}
        )
    reply = await talk.client.query("control", **asked)
    if not talk.answer(reply):
        return
    answer = dict_of(reply.data)
    chart, limits = dict_of(answer.get("chart")), dict_of(dict_of(answer.get("chart")).get("limits"))
    if not chart:
        talk.say("No sieve was checked with a reference powder yet.")
        return
    talk.say(f"Sieve {text_of(chart.get('sieve_id'))}, reference powder {text_of(chart.get('certificate'))}.")
    talk.say(f"Centre {_figure(limits.get('centre_pct'))} %, s {_figure(limits.get('sd_pct'))} %.")
    for point in dicts_of(chart.get("points"))[-PAGE:]:
        word = text_of(point.get("signal"), 10)
        signal = f", {word}: {text_of(point.get('reason'))}" if word in SIGNS and word != "none" else ""
        talk.say(f"{text_of(point.get('checked_on'), 12)}: {_figure(point.get('value_pct'))} %{signal}.")
    others = [text_of(each.get("sieve_id")) for each in dicts_of(answer.get("series"))]
    if len(others) > 1:
        talk.say(f"Checked sieves: {', '.join(others)}. Type chart and one of them.")


def _figure(value: Any) -> str:
    number = number_of(value)
    return "-" if number is None else f"{number:.3f}"
