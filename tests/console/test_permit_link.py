"""The permit relay stands in the row of links wherever links are shown, and survives the local socket."""

from __future__ import annotations

from dataclasses import replace

from logger.console.line_report import Reporter
from logger.console.words import link_line
from logger.core.snapshot import LinkView, Snapshot
from logger.core.snapshot_json import snapshot_from_json, snapshot_to_json
from logger.service.client import History, Watch
from tests.console import examples

PERMIT = LinkView(
    channel="permit",
    port="/dev/relay",
    profile="modbus",
    state="up",
    age_s=0.4,
    text="Permit withdrawn: the suction is to be off.",
)
LOST = replace(PERMIT, state="lost", text="the link at /dev/relay was lost.")


def with_permit(link: LinkView) -> Snapshot:
    picture = examples.sieving()
    return replace(picture, links=(*picture.links, link))


def test_it_has_its_mark_and_word() -> None:
    assert link_line(PERMIT) == "● permit 0.4 s"
    assert link_line(LOST) == "■ permit LOST 0.4 s"


def test_it_travels_to_the_watchers() -> None:
    picture = with_permit(PERMIT)

    assert snapshot_from_json(snapshot_to_json(picture)) == picture


def test_line_mode_says_when_it_is_lost() -> None:
    reporter = Reporter()
    reporter.take(Watch(with_permit(PERMIT), History(), True, 0.1, ""), 0.0)

    lines = reporter.take(Watch(with_permit(LOST), History(), True, 0.1, ""), 1.0)

    assert "The permit link is lost. the link at /dev/relay was lost." in lines
