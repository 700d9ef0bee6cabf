"""History, one run, comparison and control chart, over the service's own answers to a small real history."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from textual.widgets import Input

from logger.app.paths import DataFolder
from logger.console.run_rows import head_line, row_line, row_of, typed_filter
from logger.console.screens.choice_list import ChoiceList
from logger.console.screens.run_screen import RunScreen
from logger.core.reference_series import reference_series, series_chart
from logger.service.client import Reply
from tests.console import examples
from tests.console.watching import Watching, watching
from tests.hostile import KEPT, REFUSED, SCREEN, hidden
from tests.kept_history import RUNS, Found, Kept, answers, keep_history
from tests.service.test_run_query import check

pytestmark = pytest.mark.asyncio
MORE = [Kept(sample=f"MILL-3-{n:04}", residue_g=0.9) for n in range(60)]


@pytest.fixture(scope="module")
def found(tmp_path_factory: pytest.TempPathFactory) -> Callable[[str, dict[str, Any]], Found]:
    return answers(keep_history(DataFolder(tmp_path_factory.mktemp("history")), RUNS))


async def _open_history(watched: Watching, shown: str = f"{len(RUNS)} shown") -> None:
    await watched.press("g", "h")
    await watched.until_shown("HISTORY")
    await watched.until_shown(shown)


async def _back_to_the_list(watched: Watching) -> None:
    """A key pressed before the screen has changed would be taken by the one that goes."""
    await watched.press("escape")
    await watched.until_shown("F7 compare")


async def _compare_the_first_two(watched: Watching) -> None:
    """Each key once what the one before did is seen: the list is just being asked for anew."""
    await watched.press("f6")
    await watched.until_shown("1 marked")
    await watched.press("down", "f6")
    await watched.until_shown("2 marked")
    await watched.press("f7")
    await watched.until_shown("COMPARISON")


async def _back_to_the_bench(watched: Watching) -> None:
    await watched.press("escape")
    await watched.until(lambda: watched.app.screen.id == "bench")


async def test_search_filters_and_open_with_the_keyboard_alone(
    tmp_path: Path, found: Callable[[str, dict[str, Any]], Found]
) -> None:
    async with watching(tmp_path, examples.idle(), found=found) as watched:
        await _open_history(watched, f"{len(RUNS)} shown")
        await watched.press(*"mill-2-0418")
        await watched.until_shown("2 shown")
        await watched.press("f2")
        await watched.until_shown("outcome: endpoint")
        await watched.until_shown("1 shown")
        await watched.press("enter")
        await watched.until_shown("RUN 4 chart · 4.8 % ±")
        await watched.until_shown("%, out of spec · ")
        asked = len(watched.service.questions)
        await watched.press("escape")
        await watched.until_shown("mill-2-0418")
        await watched.until(lambda: len(watched.service.questions) > asked)
        assert watched.service.questions[-1] == (
            "runs",
            {"outcome": "endpoint", "text": "mill-2-0418", "limit": 50},
        )
        assert watched.sent() == [], "looking back sends no command"


@pytest.mark.full
async def test_nothing_fits_is_said_and_a_slip_is_told(
    tmp_path: Path, found: Callable[[str, dict[str, Any]], Found]
) -> None:
    async with watching(tmp_path, examples.idle(), found=found) as watched:
        await _open_history(watched)
        await watched.press(*"zzz")
        await watched.until_shown("No run fits.")
        field = watched.app.screen.query_one("#field-search", Input)
        field.value = "since:yesterday"
        await watched.until_shown("✗ since must be a day such as 2026-03-31")
        field.value = "since:2026-02-06"
        await watched.until_shown("2 shown")
        await watched.press("f7")
        await watched.until_shown("✗ Mark two or more runs with F6 first.")


@pytest.mark.full
async def test_older_runs_are_fetched_at_the_end_of_the_list(tmp_path: Path) -> None:
    data = keep_history(DataFolder(tmp_path / "data"), MORE)
    async with watching(tmp_path, examples.idle(), found=answers(data)) as watched:
        await _open_history(watched, "50 shown, more below")
        runs = watched.app.screen.query_one("#runs", ChoiceList)
        await watched.press(*["pagedown"] * 5)
        await watched.until_shown("60 shown")
        await watched.press(*["pagedown"] * 2)
        await watched.until(lambda: runs.highlighted == 59)
        await watched.until_shown("▸ 1 2026-02-02 MILL-3-0000")


@pytest.mark.full
async def test_a_determination_group_by_one_key(
    tmp_path: Path, found: Callable[[str, dict[str, Any]], Found]
) -> None:
    async with watching(tmp_path, examples.idle(), found=found) as watched:
        await _open_history(watched)
        await watched.press("down", "down", "down", "f5")
        await watched.until_shown("3 shown · like: 3")
        await watched.press("f5")
        await watched.until_shown(f"{len(RUNS)} shown")


PAGES = {
    "c": ("LOAD % over", "LOSS RATE %/min", "limit 0.1", "PRESSURE Pa", "E end"),
    "n": ("passing", "sample MILL-2-0417, lot L-88", "decision in spec", "0.97 g of 25 g"),
    "d": ("WHY THE RUN ENDED", "loss rate surely below 0.1 %", "limit 0.1", "residue at most 4"),
    "u": ("weighing: repeatability", "degrees of freedom", "not in it"),
    "e": ("Run planned: sample MILL-2-0417", "Cautions acknowledged by op-7."),
    "r": ("revision 1: unreviewed, endpoint", "SHA-256"),
}


@pytest.mark.parametrize("size", [(80, 24), pytest.param((140, 45), marks=pytest.mark.full)])
async def test_every_page_of_a_run_its_report_and_a_comparison(
    size: tuple[int, int], tmp_path: Path, found: Callable[[str, dict[str, Any]], Found]
) -> None:
    async with watching(tmp_path, examples.idle(), size, found=found) as watched:
        await _open_history(watched)
        await watched.press("down", "down", "down", "enter")
        await watched.until_shown("RUN 3")
        for key, words in PAGES.items():
            await watched.press(key)
            for each in words:
                await watched.until_shown(each)
        await watched.press("right")
        await watched.until_shown("LOAD % over")
        await _report(watched)
        await _back_to_the_list(watched)
        await _compare_the_first_two(watched)
        await watched.until_shown("A run 3 · B run 2")
        await watched.until_shown("a letter a run")
        await watched.press("t")
        await watched.until_shown("residues 3.880 to 3.960 %, 0.080 % of the charge apart")


async def _report(watched: Watching) -> None:
    asked: list[int] = []

    def write(number: int) -> Reply:
        asked.append(number)
        return Reply(True, "The report is in reports/run-3.pdf: open it there to print it.")

    await watched.press("p")
    await watched.until_shown("✗ This console writes no files")
    watched.app.write_report = write
    await watched.press("p")
    await watched.until_shown("✓ The report is in reports/run-3.pdf")
    assert asked == [3]


@pytest.mark.full
async def test_a_run_without_result_says_so_on_every_page(
    tmp_path: Path, found: Callable[[str, dict[str, Any]], Found]
) -> None:
    async with watching(tmp_path, examples.idle(), found=found) as watched:
        await _open_history(watched)
        await watched.press(*"outcome", "colon", *"aborted")
        await watched.until_shown("1 shown")
        await watched.press("enter")
        await watched.until_shown("no result: aborted")
        await watched.until_shown("the suction was never seen on")
        for key, words in {"d": "wrong sample", "u": "there is no budget", "n": "aborted"}.items():
            await watched.press(key)
            await watched.until_shown(words)


def _series_answer(what: str, args: dict[str, Any]) -> Found:
    values = [20.0, 20.2, 19.9, 20.1, 19.8, 20.0, 20.2, 19.9, 20.1, 20.45, 23.0]
    checks = [check(f"2026-01-{n + 1:02}", value) for n, value in enumerate(values)]
    series = reference_series([*checks, check("2025-06-01", 20.0, powder="RP-8")])
    chosen = next((one for one in series if one.certificate == args.get("certificate")), series[0])
    named = [{"sieve_id": s.sieve_id, "certificate": s.certificate, "checks": len(s.checks)} for s in series]
    return True, "", {"series": named, "chart": series_chart(chosen)}


@pytest.mark.full
async def test_the_control_chart_says_in_words_what_it_shows(tmp_path: Path) -> None:
    async with watching(tmp_path, examples.idle(), found=_series_answer) as watched:
        await watched.press("g", "k")
        await watched.until_shown("SIEVE S-45-01 · REFERENCE POWDER RP-7 · 11 checks")
        await watched.until_shown("■ 2026-01-11 23.000 % action: beyond the action limit")
        await watched.until_shown("centre 20.012 %")
        await watched.press("right")
        await watched.until_shown("needs 8 or more results")


@pytest.mark.full
async def test_without_checks_the_way_to_them_is_said(
    tmp_path: Path, found: Callable[[str, dict[str, Any]], Found]
) -> None:
    async with watching(tmp_path, examples.idle(), found=found) as watched:
        await watched.press("g", "k")
        await watched.until_shown("No sieve has been checked with a reference powder yet.")


@pytest.mark.full
@pytest.mark.parametrize("place", ["h", "k"])
async def test_a_refusal_or_no_service_is_a_sentence(place: str, tmp_path: Path) -> None:
    refused = (False, "The store cannot be read: \x1b[2J[/ no.", None)
    async with watching(tmp_path, examples.idle(), found=lambda what, args: refused) as watched:
        await watched.press("g", place)
        await watched.until_shown("The store cannot be read: \\x1b[2J[/ no.")
        assert hidden(watched.text()) == []


def _garbled(value: Any, text: str) -> Any:
    """Every text of an answer replaced, every number kept."""
    if isinstance(value, dict):
        return {name: _garbled(item, text) for name, item in value.items()}
    if isinstance(value, list | tuple):
        return [_garbled(item, text) for item in value]
    return text if isinstance(value, str) else value


@pytest.mark.full
async def test_hostile_answers_are_shown_literally_on_every_page(
    tmp_path: Path, found: Callable[[str, dict[str, Any]], Found]
) -> None:
    now = [""]

    def answer(what: str, args: dict[str, Any]) -> Found:
        real = _series_answer(what, {}) if what == "control" else found(what, {**args, **_only_run(what)})
        return real[0], real[1], _garbled(real[2], now[0])

    async with watching(tmp_path, examples.idle(), found=answer) as watched:
        for text in SCREEN[::4]:
            now[0] = text
            await _open_history(watched)
            await watched.press("enter")
            await watched.until_shown("RUN 6")
            for key in PAGES:
                await watched.press(key)
                assert hidden(watched.text()) == []
            await _back_to_the_list(watched)
            await _compare_the_first_two(watched)
            await watched.press("t")
            assert hidden(watched.text()) == []
            await _back_to_the_list(watched)
            await _back_to_the_bench(watched)
            await watched.press("g", "k")
            await watched.until_shown("CONTROL CHART")
            assert hidden(watched.text()) == []
            await _back_to_the_bench(watched)
        assert watched.app.return_value is None


def _only_run(what: str) -> dict[str, str]:
    return {"which": "3"} if what == "run" else {}


@pytest.mark.full
async def test_answers_that_make_no_sense_break_nothing(tmp_path: Path) -> None:
    now: list[Any] = [None]
    async with watching(tmp_path, examples.idle(), found=lambda what, args: (True, "", now[0])) as watched:
        odd: list[Any] = [None, "x", {"runs": [None, {}], "cursor": "x"}]
        for now[0] in odd:
            await watched.press("g", "h")
            await watched.until_shown("HISTORY")
            await watched.pilot.pause(0.3)
            watched.app.push_screen(RunScreen(1))
            await watched.press("c", "n", "d", "u", "e", "r")
            await watched.until_shown("REVISIONS")
            await _back_to_the_list(watched)
            await _back_to_the_bench(watched)
            await watched.press("g", "k")
            await watched.until_shown("CONTROL CHART")
            await _back_to_the_bench(watched)


# --- rows and filters, without a screen -----------------------------------------------------------------


async def test_rows_keep_their_columns_at_every_width_whatever_stands_in_them() -> None:
    for text in (*KEPT.values(), *REFUSED.values()):
        row = row_of(
            {"number": 99999, "sample_id": text, "lot": text, "method_id": text, "outcome": "endpoint"}
        )
        for width in (72, 76, 118, 136):
            assert len(head_line(width)) <= width
            assert hidden(row_line(row, width, True)) == []


async def test_filters_are_typed_among_the_words() -> None:
    assert typed_filter("mill op-7 outcome:aborted since:2026-01-01") == {
        "text": "mill op-7",
        "outcome": "aborted",
        "since": "2026-01-01",
    }
    assert typed_filter("a:b Method:x review:") == {"text": "a:b", "method_id": "x"}
    assert typed_filter("  ") == {}
