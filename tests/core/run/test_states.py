from pathlib import Path

import pytest

from logger.core.run.events import EventKind
from logger.core.run.states import ACTIVE, ENDED, TRANSITIONS, RunState, after, mermaid

DOC = Path(__file__).resolve().parents[3] / "docs" / "run-states.md"


def test_every_state_is_reachable_and_only_ended_ones_are_final() -> None:
    reached = {RunState.PLANNED} | set(TRANSITIONS.values())
    assert reached == set(RunState)
    with_exit = {state for state, _ in TRANSITIONS}
    assert set(RunState) - with_exit == ENDED - {RunState.AWAITING_REVIEW}


@pytest.mark.parametrize("state", sorted(ACTIVE))
def test_every_open_run_can_end_as_aborted_invalid_or_interrupted(state: RunState) -> None:
    assert after(state, EventKind.ABORTED) is RunState.ABORTED
    assert after(state, EventKind.INVALIDATED) is RunState.INVALID
    assert after(state, EventKind.INTERRUPTED) is RunState.INTERRUPTED


@pytest.mark.parametrize("state", sorted(ENDED))
def test_nothing_moves_an_ended_run_but_its_review(state: RunState) -> None:
    moves = {kind for (origin, kind) in TRANSITIONS if origin is state}
    assert moves <= {EventKind.CLOSED}
    with pytest.raises(ValueError, match="cannot happen"):
        after(state, EventKind.ENDPOINT_REACHED)


def test_events_that_move_nothing_leave_the_state() -> None:
    assert after(RunState.SIEVING, EventKind.NOTED) is RunState.SIEVING
    assert after(RunState.CLOSED, EventKind.RECORD_ISSUED) is RunState.CLOSED


def test_a_stop_while_releasing_or_weighing_sets_the_outcome_only() -> None:
    assert after(RunState.WEIGHING, EventKind.STOPPED) is RunState.WEIGHING
    with pytest.raises(ValueError, match="cannot happen"):
        after(RunState.TARING, EventKind.STOPPED)


def test_the_diagram_in_the_docs_is_the_table() -> None:
    """Regenerate with `python -m tests.write_docs` when this fails."""
    assert mermaid() in DOC.read_text(encoding="utf-8")
