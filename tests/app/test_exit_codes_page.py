from __future__ import annotations

import re
from pathlib import Path

from logger.app import cli_base

PAGE = Path(__file__).parents[2] / "docs" / "exit-codes.md"


def test_the_page_names_every_exit_code_and_no_other() -> None:
    codes = {value for name, value in vars(cli_base).items() if name.startswith("EXIT_")}
    listed = {
        int(code) for code in re.findall(r"^\| (\d+) \|", PAGE.read_text(encoding="utf-8"), re.MULTILINE)
    }

    assert listed == codes
