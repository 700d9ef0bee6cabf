"""Every screen at every size: nothing is cut, nothing that must be seen is missing."""

from __future__ import annotations

import contextlib
from dataclasses import replace
from pathlib import Path

import pytest

from logger.console import words as w
from logger.console.keys import key_labels
from logger.console.panels.bottom import key_rows
from logger.console.screens.panel import Panel
from logger.core.snapshot import AlarmView, Snapshot
from tests.console import examples
from tests.console.watching import MORE_SIZES, SIZES, Watching, watching

pytestmark = pytest.mark.asyncio


async def assert_nothing_cut(watched: Watching) -> None:
    """Each panel shows on the screen exactly the lines that it has drawn, once the screen has settled."""
    for _ in range(40):
        with contextlib.suppress(AssertionError):
            _assert_whole(watched)
            return
        await watched.pilot.pause(0.05)
    _assert_whole(watched)


def _assert_whole(watched: Watching) -> None:
    panels = [panel for panel in watched.app.screen.query(Panel) if panel.display and panel.size.height]
    assert panels
    for panel in panels:
        assert panel._shown is not None, panel.id
        drawn = [line.rstrip() for line in panel._shown[0].split("\n")]
        seen = watched.visible(panel)
        assert seen[: len(drawn)] == drawn, panel.id
        assert not any(seen[len(drawn) :]), panel.id


def must_be_seen(snapshot: Snapshot) -> list[str]:
    """The texts that no size may leave out."""
    texts = [
        snapshot.instruction.text,
        snapshot.instruction.detail,
        w.state_words(snapshot.state).upper(),
        w.mass_figure(snapshot.mass) if snapshot.mass.value_g is None else "",
        w.mass_mark(snapshot.mass),
        w.pressure_word(snapshot.pressure),
        snapshot.pressure.lid,
        w.broker_line(snapshot.broker),
        w.controls_line(snapshot),
        *(w.link_line(link) for link in snapshot.links),
        *(alarm.text for alarm in snapshot.alarms),
        *(f" {label} " for _, label in key_labels(snapshot.can, True)),
    ]
    return texts + _of_the_run(snapshot)


def _of_the_run(snapshot: Snapshot) -> list[str]:
    run = snapshot.run
    if run is None:
        return []
    texts = [f"effective {w.duration(run.effective_s)}"] if run.elapsed_s is not None else []
    if run.result is not None:
        residue = w.with_uncertainty(run.result.residue_pct, run.result.residue_u_pct)
        return [*texts, run.result.reason, f"{residue} %", "passing"]
    if run.rate.rate_pct_per_min is not None:
        texts += [f"{w.with_uncertainty(run.rate.rate_pct_per_min, run.rate.rate_u_pct_per_min)} %/min"]
        texts += [f"limit {run.rate.limit_pct_per_min:g} %/min"]
        unread = run.mode == "live" and snapshot.mass.value_g is None
        texts += ["NOT READ"] if unread else [w.rate_word(run.rate), w.forecast(run.rate)]
    if run.held_reason:
        return [*texts, run.held_reason]
    return texts + list(run.rate.open_conditions)


@pytest.mark.parametrize(
    "size", [SIZES[0], *(pytest.param(size, marks=pytest.mark.full) for size in SIZES[1:]), *MORE_SIZES]
)
@pytest.mark.parametrize("name", examples.ALL)
async def test_the_bench_shows_everything_whole(name: str, size: tuple[int, int], tmp_path: Path) -> None:
    snapshot = examples.ALL[name]()
    async with watching(tmp_path, snapshot, size) as watched:
        await assert_nothing_cut(watched)
        shown = " ".join(
            " ".join(" ".join(watched.visible(p)).split()) for p in watched.app.screen.query(Panel)
        )
        for text in must_be_seen(snapshot):
            assert " ".join(text.split()) in f" {shown} ", text


@pytest.mark.parametrize("size", SIZES)
async def test_the_instruction_is_the_largest_text(size: tuple[int, int], tmp_path: Path) -> None:
    async with watching(tmp_path, examples.taring(), size) as watched:
        seen = watched.visible(watched.app.screen.query_one("#instruction"))
        big = [line for line in seen if set(line) <= set(" ▘▝▀▖▌▞▛▗▚▐▜▄▙▟█") and line]
        assert len(big) >= (3 if size[1] == 24 else 4)
        assert max(map(len, big)) > 40


async def test_the_whole_help_can_be_read(tmp_path: Path) -> None:
    async with watching(tmp_path, examples.idle()) as watched:
        await watched.press("question_mark")
        await watched.until_shown("New run: choose the method")
        await watched.press("pagedown", "pagedown", "pagedown")
        await watched.until_shown("start the console again to come back")


async def test_all_events_and_alarms_can_be_read(tmp_path: Path) -> None:
    async with watching(tmp_path, examples.alarming()) as watched:
        await watched.press("e")
        await watched.until_shown("Pressure 3320 Pa is above 3000 Pa: open the bypass.")
        await watched.press("pagedown", "pagedown")
        await watched.until_shown("Run planned for MILL-2-0417.")
        await watched.until_shown("look at the cable")
        await watched.press("escape")
        await watched.until(lambda: watched.app.screen.id == "bench")


@pytest.mark.parametrize("size", [(20, 5), (79, 24), (80, 23), (1, 1), (2, 40), (300, 3)])
async def test_a_small_terminal_says_so_and_shows_key_values(size: tuple[int, int], tmp_path: Path) -> None:
    async with watching(tmp_path, examples.alarming(), size) as watched:
        await assert_nothing_cut(watched)
        if size[0] >= 20:
            assert "too small: 80x24 needed" in watched.words()
        if size[0] >= 20 and size[1] >= 5:
            assert "SIEVING ■ 2 alarm" in watched.words()
            assert "■ STALE" in watched.words()
            assert "3320 Pa ▲ HIGH" in watched.words()


async def test_growing_brings_everything_back(tmp_path: Path) -> None:
    async with watching(tmp_path, examples.sieving(), (20, 5)) as watched:
        await watched.press("n")
        for size in ((1, 1), (400, 100), (20, 5), (80, 24)):
            await watched.resize(*size)
            await watched.pilot.pause(0.05)
        await assert_nothing_cut(watched)
        assert "effective 2:52" in watched.words()


async def test_a_form_survives_a_small_terminal(tmp_path: Path) -> None:
    async with watching(tmp_path, examples.idle()) as watched:
        await watched.press("n", *"AB")
        await watched.resize(20, 5)
        await watched.pilot.pause(0.05)
        assert "too small" in watched.words()
        await watched.resize(80, 24)
        await watched.pilot.pause(0.05)
        await watched.press(*"CD")
        assert "ABCD" in watched.words()


async def test_more_alarms_than_room_are_counted(tmp_path: Path) -> None:
    many = tuple(AlarmView(key=f"a{i}", level="alarm", text=f"Alarm number {i}.") for i in range(9))
    async with watching(tmp_path, replace(examples.sieving(), alarms=many)) as watched:
        await assert_nothing_cut(watched)
        assert "and 6 more: press e to read them" in watched.words()


async def test_alarms_are_seen_while_a_form_is_open(tmp_path: Path) -> None:
    async with watching(tmp_path, examples.sieving()) as watched:
        await watched.press("s")
        await watched.service.show(
            replace(examples.alarming(), can=examples.sieving().can, you_hold_controls=True)
        )
        await watched.until_shown("ALARM Pressure 3320 Pa is above 3000 Pa: open the bypass.")
        assert "STOP SIEVING EARLY" in watched.words()


async def test_charts_and_weighings_change_places(tmp_path: Path) -> None:
    async with watching(tmp_path, examples.weighing()) as watched:
        assert "55.54" in watched.words()
        for words in ("LOAD % over", "RATE %/min over", "PRESSURE Pa over", "55.54"):
            await watched.press("v")
            await watched.until_shown(words)


async def test_keys_and_labels_are_never_parted() -> None:
    labels = [("Enter", "accept weight")] + [(chr(97 + i), f"label {i}") for i in range(20)]
    for width in range(24, 120, 7):
        rows = [row.plain for row in key_rows(labels, width)]
        assert all(len(row.rstrip()) <= width for row in rows)
        joined = " ".join(rows)
        assert all(f"{key} {label}" in joined for key, label in labels)


async def test_no_colour_means_no_colour(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("NO_COLOR", "1")
    async with watching(tmp_path, examples.alarming()) as watched:
        colours = {
            str(segment.style.color)
            for strip in watched.app.screen._compositor.render_strips()
            for segment in strip.apply_filter(
                watched.app._filters[-1], watched.app.screen.background_colors[0]
            )
            if segment.style and segment.style.color and not segment.style.color.is_default
        }
        assert not colours
        assert "■ ALARM" in watched.words()
