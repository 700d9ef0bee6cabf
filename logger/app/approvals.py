"""Approved methods for the command line."""

from __future__ import annotations

from typing import Any

from logger.app.clock import utc_now
from logger.app.paths import DataFolder
from logger.app.register import read_register
from logger.core.register.methods import Approval, in_force
from logger.core.text import printable


def list_approvals(data: DataFolder, json_out: bool) -> str | list[dict[str, Any]]:
    """Every approval, newest last, and which are in force today (UTC). Raises StoreError."""
    approvals, today = read_register(data).approvals, utc_now()[:10]
    standing = [(each, _standing(approvals, each, today)) for each in approvals]
    if json_out:
        return [
            {
                "method_id": each.method_id,
                "revision": each.revision,
                "sha256": each.sha256,
                "effective_from": each.effective_from,
                "approved_by": each.approved_by,
                "approved_at": each.approved_utc,
                "standing": words,
                "withdrawn": each.withdrawn,
            }
            for each, words in standing
        ]
    if not approvals:
        return "No method is approved on this bench, and none is asked for: `lastgrain method approve ID`."
    return "\n".join(
        f"{each.effective_from}  {each.method_id:26} rev {each.revision}  {words:10}  "
        f"by {printable(each.name)}{f': {printable(each.withdrawn)}' if each.withdrawn else ''}"
        for each, words in standing
    )


def _standing(approvals: tuple[Approval, ...], each: Approval, today: str) -> str:
    if each.withdrawn:
        return "withdrawn"
    if each.effective_from > today:
        return "to come"
    return "in force" if in_force(approvals, each.method_id, today) is each else "replaced"
