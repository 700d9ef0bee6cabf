"""Implements the HistoryReader port: each question is one short read of the store. Blocks; not for an event loop."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import TypeVar

from logger.core.correction import CorrectionFactor
from logger.core.readings import Reading
from logger.core.register.state import fold_register
from logger.core.run.commands import Refused
from logger.core.run_history import RunHistory
from logger.core.run_list import RunFilter, RunPage
from logger.store import history
from logger.store.errors import DamagedRunError, StoreError
from logger.store.register import register_events
from logger.store.run_index import page, with_index

Found = TypeVar("Found")


class StoreHistory:
    """The history of one store, for the service."""

    def __init__(self, path: Path) -> None:
        """Opens nothing."""
        self._path = path

    def list_runs(self, wanted: RunFilter, limit: int, before: int | None = None) -> RunPage:
        """See the port."""
        return _asked(lambda: list_page(self._path, wanted, limit, before))

    def read_run(self, which: str) -> RunHistory:
        """See the port."""
        return _asked(lambda: read_run(self._path, which))

    def read_readings(self, run_id: str, most: int) -> list[Reading]:
        """See the port."""

        def read() -> list[Reading]:
            with history.reading(self._path) as connection:
                return history.thinned_readings(connection, run_id, most)

        return _asked(read)

    def reference_checks(self) -> tuple[CorrectionFactor, ...]:
        """See the port."""

        def read() -> tuple[CorrectionFactor, ...]:
            with history.reading(self._path) as connection:
                state = fold_register(register_events(connection))
            return tuple(factor for entry in state.sieves.values() for factor in entry.factors)

        return _asked(read)


def _asked(read: Callable[[], Found]) -> Found:
    try:
        return read()
    except StoreError as error:
        raise Refused(str(error)) from error


def list_page(path: Path, wanted: RunFilter, limit: int, before: int | None = None) -> RunPage:
    """A page of the history, newest first. Raises StoreError."""
    with history.reading(path) as connection:
        return with_index(path, connection, lambda index: page(index, wanted, limit, before))


def read_run(path: Path, which: str) -> RunHistory:
    """One run by its number, or by the beginning of its id. Raises StoreError."""
    with history.reading(path) as connection:
        row = history.find_run(connection, which)
        return RunHistory(
            line=row,
            records=tuple(
                _body(row.number, revision, text)
                for revision, text in history.record_texts(connection, row.run_id)
            ),
            events=tuple(history.run_events(connection, row.run_id)),
        )


def _body(number: int, revision: int, text: str) -> dict[str, object]:
    try:
        body: dict[str, object] = json.loads(text)
    except ValueError as error:
        raise DamagedRunError(
            f"Revision {revision} of the record of run {number} is damaged ({error}): "
            f"`lastgrain runs verify {number}` names the place; look for the run in a backup."
        ) from None
    return body
