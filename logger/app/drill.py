"""The restore drill: is the backup worth anything? Tried on a scratch folder, and entered in the register."""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path

from logger.app.clock import utc_now
from logger.app.paths import DataFolder
from logger.app.register import enter
from logger.core.register.events import RegisterKind
from logger.core.run.commands import Refused
from logger.store.drill import drill, drill_words, require_sound


def restore_drill(data: DataFolder, bench: Callable[[], Path], copy: Path, by: str, why: str) -> str:
    """Restores `copy` beside the live store, verifies, compares, forgets it, and says so in the register.

    Raises StoreError when the backup is not sound or the live store lacks what it has; then nothing is entered.
    """
    if not by.strip():
        raise Refused("Say who you are (--by): the drill is entered in the register.")
    scratch = data.root / f"drill-{os.getpid()}"
    done = drill(data.store, copy, scratch, utc_now)
    require_sound(done)
    note = drill_words(copy.name, done)
    enter(data, bench, RegisterKind.RESTORE_DRILLED, {"note": note}, by, why)
    lines = [
        f"{copy} can be restored: {done.runs} runs and {done.records} records, head {done.copy.head}.",
        *(f"  {finding.verdict}: {finding.text}" for finding in done.copy.findings),
        "Everything in it stands in the live store as it is there; "
        f"{done.newer_runs} runs and {done.newer_records} records came after it.",
        "The drill is entered in the register; the trial copy is gone.",
    ]
    return "\n".join(lines)
