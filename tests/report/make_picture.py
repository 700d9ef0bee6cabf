"""Draws docs/images/report.png, the first page of a report: `python -m tests.report.make_picture`.

The run is made by the demo, so the picture shows what a new user gets.
"""

from __future__ import annotations

import json
import tempfile
from pathlib import Path
from typing import Any

import typst

from logger.app.demo import DemoOptions, demo
from logger.app.paths import DataFolder
from logger.app.report import report_document
from logger.report.html import TEMPLATES
from logger.report.pdf import document_data

TARGET = Path(__file__).resolve().parents[2] / "docs" / "images" / "report.png"
DOTS_PER_INCH = 96.0


def main() -> None:
    """One simulated run weighed while the jet runs, printed."""
    with tempfile.TemporaryDirectory() as folder:
        data = DataFolder(Path(folder) / "demo")
        options = DemoOptions(
            headless=True, speed=20.0, seed=1, scenario="demo-filler", mode="live", broker=None, data=data
        )
        demo(options)
        values = json.dumps(document_data(report_document(data, "1"), "a4"), ensure_ascii=False)
    pages: Any = typst.compile(
        (TEMPLATES / "report.typ").read_bytes(),
        format="png",
        ppi=DOTS_PER_INCH,
        sys_inputs={"data": values},
        ignore_system_fonts=True,
    )
    TARGET.write_bytes(pages[0] if isinstance(pages, list) else pages)


if __name__ == "__main__":
    main()
