"""Which revision of a run's record a printed code belongs to."""

from __future__ import annotations

import json
from dataclasses import dataclass

from logger.app.paths import DataFolder
from logger.core.record_code import record_code, same_code
from logger.report.run_sheet import hash_agrees
from logger.store import history
from logger.store.errors import StoreError


@dataclass(frozen=True, slots=True)
class RevisionCode:
    """One revision of a record: its code and hash, and whether its content still has that hash."""

    revision: int
    code: str
    sha256: str
    sound: bool


@dataclass(frozen=True, slots=True)
class PaperCodes:
    """Codes of a run's record, oldest revision first."""

    number: int
    revisions: tuple[RevisionCode, ...]

    def of(self, typed: str) -> RevisionCode | None:
        """The revision that a typed code belongs to; None when it is none of them."""
        return next((each for each in self.revisions if same_code(typed, each.sha256)), None)


def paper_codes(data: DataFolder, which: str) -> PaperCodes:
    """The codes of a run. Raises StoreError for no such run, one without a record, and a damaged record."""
    with history.reading(data.store) as connection:
        row = history.find_run(connection, which)
        kept = history.record_texts(connection, row.run_id)
    if not kept:
        raise StoreError(f"Run {row.number} has no record yet; it is still open.")
    return PaperCodes(row.number, tuple(_code(row.number, *each) for each in kept))


def _code(number: int, revision: int, text: str) -> RevisionCode:
    try:
        body = json.loads(text)
        sha256 = body["record_sha256"]
        return RevisionCode(revision, record_code(sha256), sha256, hash_agrees(body))
    except (ValueError, KeyError, TypeError):
        raise StoreError(
            f"Revision {revision} of the record of run {number} is damaged: `lastgrain runs verify` names the "
            "place; look for the run in a backup."
        ) from None


def codes_text(found: PaperCodes) -> str:
    """A line a revision."""
    lines = [f"Run {found.number}"]
    for each in found.revisions:
        altered = "" if each.sound else "   ALTERED: its content has another hash"
        lines.append(f"  revision {each.revision}  {each.code}  {each.sha256}{altered}")
    return "\n".join(lines)


def verdict(found: PaperCodes, typed: str) -> tuple[bool, str]:
    """Whether a printed code is good, and the sentence about it."""
    of = found.of(typed)
    if of is None:
        return (
            False,
            f"{typed} is no code of run {found.number}: the page is of another run, or not from this store.",
        )
    if not of.sound:
        return (
            False,
            f"Revision {of.revision} has this code, but its record was altered: `lastgrain runs verify`.",
        )
    newest = found.revisions[-1].revision
    later = "" if of.revision == newest else f" It is not the newest: that is revision {newest}."
    return True, f"The page is of run {found.number}, revision {of.revision}.{later}"
