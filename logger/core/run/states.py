"""Run states and the one table of moves between them. The diagram in the docs is generated from it."""

from __future__ import annotations

from enum import StrEnum

from logger.core.run.events import EventKind as E


class RunState(StrEnum):
    """Where a run stands. Stored as text, so names never change."""

    PLANNED = "planned"
    CHECKING = "checking"
    TARING = "taring"
    CHARGING = "charging"
    RESTING = "resting"
    DRAWING_DOWN = "drawing_down"
    SIEVING = "sieving"
    HELD = "held"
    RELEASING = "releasing"
    WEIGHING = "weighing"
    COMPUTING = "computing"
    AWAITING_REVIEW = "awaiting_review"
    CLOSED = "closed"
    ABORTED = "aborted"
    INTERRUPTED = "interrupted"
    INVALID = "invalid"


S = RunState

PREPARING = frozenset({S.PLANNED, S.CHECKING, S.TARING, S.CHARGING})
JET = frozenset({S.DRAWING_DOWN, S.SIEVING})
"""States in which the jet is wanted."""
ACTIVE = PREPARING | JET | {S.RESTING, S.HELD, S.RELEASING, S.WEIGHING, S.COMPUTING}
WEIGHED = frozenset({S.TARING, S.CHARGING, S.WEIGHING})
"""States that ask for a weighing."""
ENDED = frozenset({S.AWAITING_REVIEW, S.CLOSED, S.ABORTED, S.INTERRUPTED, S.INVALID})
"""No event but a review can follow."""

_MOVES: dict[tuple[RunState, E], RunState] = {
    (S.PLANNED, E.CAUTIONS_ACKNOWLEDGED): S.CHECKING,
    (S.CHECKING, E.CHECKS_PASSED): S.TARING,
    (S.TARING, E.TARE_WEIGHED): S.CHARGING,
    (S.CHARGING, E.REST_BEGUN): S.RESTING,
    (S.CHARGING, E.DRAW_DOWN_BEGUN): S.DRAWING_DOWN,
    (S.RESTING, E.DRAW_DOWN_BEGUN): S.DRAWING_DOWN,
    (S.DRAWING_DOWN, E.BAND_REACHED): S.SIEVING,
    (S.DRAWING_DOWN, E.TIME_LIMIT_REACHED): S.RELEASING,
    (S.DRAWING_DOWN, E.STOPPED): S.RELEASING,
    (S.DRAWING_DOWN, E.HELD): S.HELD,
    (S.SIEVING, E.INTERVAL_OVER): S.RELEASING,
    (S.SIEVING, E.ENDPOINT_REACHED): S.RELEASING,
    (S.SIEVING, E.TIME_LIMIT_REACHED): S.RELEASING,
    (S.SIEVING, E.STOPPED): S.RELEASING,
    (S.SIEVING, E.HELD): S.HELD,
    (S.HELD, E.RESUMED): S.DRAWING_DOWN,
    (S.HELD, E.TIME_LIMIT_REACHED): S.RELEASING,
    (S.HELD, E.STOPPED): S.RELEASING,
    (S.RELEASING, E.PRESSURE_RELEASED): S.WEIGHING,
    (S.WEIGHING, E.DRAW_DOWN_BEGUN): S.DRAWING_DOWN,
    (S.WEIGHING, E.ENDPOINT_REACHED): S.COMPUTING,
    (S.WEIGHING, E.TIME_LIMIT_REACHED): S.COMPUTING,
    (S.WEIGHING, E.RESULT_DUE): S.COMPUTING,
    (S.COMPUTING, E.RESULT_COMPUTED): S.AWAITING_REVIEW,
    (S.AWAITING_REVIEW, E.CLOSED): S.CLOSED,
}

TRANSITIONS: dict[tuple[RunState, E], RunState] = (
    _MOVES
    | {(state, E.ABORTED): S.ABORTED for state in ACTIVE}
    | {(state, E.INVALIDATED): S.INVALID for state in ACTIVE}
    | {(state, E.INTERRUPTED): S.INTERRUPTED for state in ACTIVE}
)

MOVING: frozenset[E] = frozenset(kind for _, kind in TRANSITIONS)
"""Events that change the state; every other kind leaves it."""


def after(state: RunState, kind: E) -> RunState:
    """The state after `kind` in `state`. Raises ValueError for a moving event that has no row."""
    if (state, kind) in TRANSITIONS:
        return TRANSITIONS[state, kind]
    if kind in MOVING and not (kind is E.STOPPED and state in (S.RELEASING, S.WEIGHING)):
        raise ValueError(f"{kind.value} cannot happen in state {state.value}")
    return state


def mermaid() -> str:
    """The table as a Mermaid state diagram; abort, invalid and interrupt are drawn once from `active`."""
    lines = ["stateDiagram-v2", "  [*] --> planned", "  state active {"]
    lines += [f"    {a.value} --> {b.value}: {kind.value}" for (a, kind), b in _MOVES.items() if a in ACTIVE]
    lines += ["  }", "  awaiting_review --> closed: closed"]
    lines += [f"  active --> {b}: {b}" for b in ("aborted", "invalid", "interrupted")]
    return "\n".join(lines) + "\n"
