"""The questions about the history: lists and single runs."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict
from typing import Any

from logger.core.ports import HistoryReader
from logger.core.run.commands import Refused
from logger.core.run_list import FILTERS, run_filter
from logger.service.queries import Handler, asked_number

PAGE_RUNS = 50
MOST_RUNS = 200
LARGEST_NUMBER = 2**53


def history_queries(history: HistoryReader) -> dict[str, Handler]:
    """`runs`: a page of the list."""
    return {"runs": lambda args: _runs(history, args)}


def _runs(history: HistoryReader, args: Mapping[str, Any]) -> Any:
    """Arguments: the filters of `RunFilter`, `limit`, and `before`, the cursor of the page before."""
    unknown = [name for name in args if name not in (*FILTERS, "limit", "before")]
    if unknown:
        raise Refused(f"Runs are not filtered by {unknown[0][:40]!r}; there are: {', '.join(FILTERS)}.")
    limit = asked_number(args, "limit", PAGE_RUNS, 1, MOST_RUNS)
    before = None if args.get("before") is None else asked_number(args, "before", 1, 0, LARGEST_NUMBER)
    page = history.list_runs(run_filter(dict(args)), limit, before)
    return {"runs": [asdict(line) for line in page.runs], "cursor": page.cursor}
