"""The three figures: what stands there while the service does not answer."""

from __future__ import annotations

import dataclasses

from logger.console.panels import figures
from logger.console.panels.board import Board
from logger.core.run.instruct import LID_UNKNOWN
from tests.console import examples

FREE = "Lid may be opened."


def shown(answering: bool) -> str:
    snapshot = examples.taring()
    stable = dataclasses.replace(snapshot.mass, stable=True, value_g=386.2)
    free = dataclasses.replace(snapshot.pressure, lid=FREE)
    board = Board(dataclasses.replace(snapshot, mass=stable, pressure=free), answering, 5.0, "gone")
    return figures.mass(board, 40, 8).plain + figures.pressure(board, 40, 8).plain


def test_a_live_figure_says_that_it_is_stable_and_the_lid_free() -> None:
    assert "STABLE" in shown(answering=True)
    assert FREE in shown(answering=True)


def test_an_old_figure_is_not_called_stable_and_no_lid_is_called_free() -> None:
    text = shown(answering=False)
    assert "STABLE" not in text
    assert FREE not in text
    assert text.count("NOT LIVE") == 2
    assert LID_UNKNOWN in " ".join(text.split())
