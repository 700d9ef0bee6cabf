"""Implements the HistoryReader port: each question is one short read of the store. Blocks; not for an event loop."""

from __future__ import annotations

from pathlib import Path

from logger.core.run.commands import Refused
from logger.core.run_list import RunFilter, RunPage
from logger.store.errors import StoreError
from logger.store.history import reading
from logger.store.run_index import page, with_index


class StoreHistory:
    """The history of one store, for the service."""

    def __init__(self, path: Path) -> None:
        """Opens nothing."""
        self._path = path

    def list_runs(self, wanted: RunFilter, limit: int, before: int | None = None) -> RunPage:
        """See the port."""
        try:
            return list_page(self._path, wanted, limit, before)
        except StoreError as error:
            raise Refused(str(error)) from error


def list_page(path: Path, wanted: RunFilter, limit: int, before: int | None = None) -> RunPage:
    """A page of the history, newest first. Raises StoreError."""
    with reading(path) as connection:
        return with_index(path, connection, lambda index: page(index, wanted, limit, before))
