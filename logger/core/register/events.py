"""Facts about equipment, as entered by a person: frozen, past tense, with who, when and why."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import Any


class RegisterKind(StrEnum):
    """Every kind of entry. Stored as text, so names never change."""

    SIEVE_ADDED = "sieve_added"
    SIEVE_RETIRED = "sieve_retired"
    SIEVE_TARED = "sieve_tared"
    SIEVE_REFERENCED = "sieve_referenced"
    """A reference powder was sieved on it: certified and found residue make its correction factor."""
    BALANCE_CHECKED = "balance_checked"
    PRESSURE_CHECKED = "pressure_checked"
    PART_CHANGED = "part_changed"
    """Bag or filter of the extractor."""
    AIR_MEASURED = "air_measured"
    PRESSURE_ZEROED = "pressure_zeroed"
    RESTORE_DRILLED = "restore_drilled"
    ENTRY_WITHDRAWN = "entry_withdrawn"
    """The newest entry of a kind of the start of a shift does not stand."""
    PERSON_ADDED = "person_added"
    PERSON_CHANGED = "person_changed"
    PERSON_RETIRED = "person_retired"
    PASSWORD_SET = "password_set"
    """The secret is not in it, only the fingerprint of what the store keeps."""
    METHOD_APPROVED = "method_approved"
    METHOD_WITHDRAWN = "method_withdrawn"
    FILES_SEEN = "files_seen"
    """The service found bench, rig or methods new or changed at its start."""
    SENT_AGAIN = "sent_again"
    """A person had messages of runs sent to the plant again."""
    SAMPLES_PLANNED = "samples_planned"
    SAMPLE_WITHDRAWN = "sample_withdrawn"
    SAMPLE_RESTORED = "sample_restored"


@dataclass(frozen=True, slots=True)
class RegisterEvent:
    """One entry. `utc` wall time, `by` who, `why` in a few words; `data` plain JSON, units in the keys."""

    kind: RegisterKind
    utc: str
    by: str
    why: str
    data: dict[str, Any]
