"""The service's log: private, bounded, and free of anything that could move a cursor where it is read."""

from __future__ import annotations

import logging
import logging.handlers
from pathlib import Path

from logger.core.text import printable, printable_text


class PrintableFormatter(logging.Formatter):
    """One line a message, whatever stands in it; only a traceback has lines of its own."""

    def formatMessage(self, record: logging.LogRecord) -> str:  # noqa: N802  the library's name
        """The message with its line ends and other control characters as escapes."""
        return printable(super().formatMessage(record))

    def formatException(self, ei: object) -> str:  # noqa: N802  the library's name
        """The traceback; the text of the error in it may come from outside."""
        return printable_text(super().formatException(ei))  # type: ignore[arg-type]


def log_to_file(path: Path) -> None:
    """Everything from INFO up goes to `path`: 1 MB and three older ones, mode 0600."""
    logging.raiseExceptions = False  # a full disk must not fill the terminal as well
    handler = logging.handlers.RotatingFileHandler(
        path, maxBytes=1_000_000, backupCount=3, encoding="utf-8", errors="backslashreplace"
    )
    handler.setFormatter(PrintableFormatter("%(asctime)s %(levelname)s %(name)s %(message)s"))
    root = logging.getLogger()
    root.addHandler(handler)
    root.setLevel(logging.INFO)
    path.chmod(0o600)
