"""Writes the generated parts of docs/ anew: `python -m tests.write_docs`."""

from __future__ import annotations

from pathlib import Path

from logger.core.run.states import mermaid
from tests.docs_charts import endpoint_chart, uncertainty_chart
from tests.reference_pages import command_page, config_page

DOCS = Path(__file__).resolve().parent.parent / "docs"

RUN_STATES = """# Run states

Generated from the table in `logger/core/run/states.py` by `python -m tests.write_docs`; a test compares the two.

```mermaid
{diagram}```

Interval mode loops drawing_down, sieving, releasing, weighing. Sieving is cumulative, so a hold resumes as a
new segment. A run ends as `invalid` only when the balance was tared or an instrument changed its unit, when mass
was lost at once under the jet, when the computer slept, or after a hold longer than `hold_max_s`. A service that
is killed leaves an open run; the next start closes it as `interrupted`, with a record and without a result.
"""


def pages() -> dict[str, str]:
    """Every generated page by its file name."""
    return {
        "run-states.md": RUN_STATES.format(diagram=mermaid()),
        "reference-config.md": config_page(),
        "reference-commands.md": command_page(),
    }


def charts() -> dict[str, str]:
    """Every generated chart. Not compared by a test: another processor may round the last digit otherwise."""
    return {"images/endpoint.svg": endpoint_chart(), "images/uncertainty.svg": uncertainty_chart()}


def main() -> None:
    """Writes every generated page."""
    DOCS.mkdir(exist_ok=True)
    for name, text in (pages() | charts()).items():
        (DOCS / name).write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main()
