"""The one error of this package: which file, which line, what is wrong, what to do."""

from __future__ import annotations

from pathlib import Path


class ConfigError(Exception):
    """A file that cannot be used. Nothing was changed and the old settings stay."""

    def __init__(self, path: Path | str, text: str, line: int | None = None) -> None:
        super().__init__(text)
        self.path = str(path)
        self.line = line
        self.text = text

    def sentence(self) -> str:
        """FILE, line N: what is wrong."""
        where = f"{self.path}, line {self.line}" if self.line else self.path
        return f"{where}: {self.text}"

    def __str__(self) -> str:
        return self.sentence()
