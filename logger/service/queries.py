"""Questions of a console about what is kept: a table of names, answered beside the event loop.

A question moves no run and needs no controls. Handlers run on a thread of their own, one at a time, so that
a slow one delays neither readings nor the start of a run. Answers are bounded: a handler gives a page.
"""

from __future__ import annotations

import asyncio
import json
import logging
from collections.abc import Callable, Mapping
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from typing import Any

from logger.core.refusal import ResultError
from logger.core.run.commands import Refused
from logger.core.text import clean_text, printable

ANSWER_LIMIT = 1024 * 1024
"""Bytes of one answer: well below what a console accepts as one line."""
_LOG = logging.getLogger("lastgrain.service")

Handler = Callable[[Mapping[str, Any]], Any]
"""Takes the arguments, gives JSON values. Blocks. Raises Refused for a question that cannot be answered."""


@dataclass(frozen=True, slots=True)
class Answer:
    """`data` is the answer as JSON text, "null" when not ok; `text` then says why."""

    ok: bool
    text: str
    data: str = "null"


class Queries:
    """The questions that one bench answers, by name."""

    def __init__(self, handlers: Mapping[str, Handler]) -> None:
        """No thread is started before the first question."""
        self._handlers = dict(handlers)
        self._thread = ThreadPoolExecutor(max_workers=1, thread_name_prefix="queries")

    async def answer(self, args: Mapping[str, Any]) -> Answer:
        """The answer to `{"what": NAME, ...}`. Never raises for anything that can be sent."""
        name = args.get("what")
        if not isinstance(name, str) or name not in self._handlers:
            shown = printable(repr(name)[:40])
            known = ", ".join(sorted(self._handlers)) or "none"
            return Answer(False, f"There is no question {shown}; there are: {known}.")
        rest = {key: value for key, value in args.items() if key != "what"}
        return await asyncio.get_running_loop().run_in_executor(
            self._thread, _ask, name, self._handlers[name], rest
        )

    def ask_ahead(self, name: str, args: Mapping[str, Any]) -> None:
        """Answers a question before anybody asks it: what it has to prepare is then ready. Does not wait."""
        self._thread.submit(_ask, name, self._handlers[name], args)

    def close(self) -> None:
        """Nothing more is asked; does not wait for what runs."""
        self._thread.shutdown(wait=False, cancel_futures=True)


def _ask(name: str, handler: Handler, args: Mapping[str, Any]) -> Answer:
    try:
        data = json.dumps(handler(args))
    except (Refused, ResultError) as refusal:
        return Answer(False, str(refusal))
    except Exception as error:
        _LOG.exception("the question %s could not be answered", name)
        return Answer(False, f"The service could not answer ({type(error).__name__}); its log says more.")
    if len(data) > ANSWER_LIMIT:
        return Answer(False, "The answer is too long to be shown: ask for fewer at a time.")
    return Answer(True, "", data)


# --- reading arguments ----------------------------------------------------------------------------------


def asked_text(args: Mapping[str, Any], name: str, longest: int = 64) -> str:
    """An optional text without hidden characters; empty when it is not given. Raises Refused."""
    return clean_text(name.replace("_", " "), args.get(name, ""), longest)


def asked_number(args: Mapping[str, Any], name: str, default: int, least: int, most: int) -> int:
    """An optional whole number within its bounds. Raises Refused."""
    value = args.get(name, default)
    if isinstance(value, bool) or not isinstance(value, int) or not least <= value <= most:
        raise Refused(f"{name.replace('_', ' ')} must be a whole number from {least} to {most}.")
    return value
