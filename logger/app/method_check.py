"""`lastgrain method check`: is the method valid, and can it be met on this rig?"""

from __future__ import annotations

import json
import sys
from dataclasses import asdict
from pathlib import Path
from typing import TextIO

from logger.app.cli_base import require_charge
from logger.core.endpoint.feasibility import Feasibility, check_feasibility, coupling_objection
from logger.core.method import Method
from logger.core.rig import Rig
from logger.core.text import printable_text
from logger.settings import ConfigError, load_method, load_rig

EXIT_OK, EXIT_USAGE, EXIT_REFUSED = 0, 2, 3
DEFAULT_READABILITY_G = 0.01


def method_check_command(
    method_path: str | Path,
    rig_path: str | Path | None = None,
    charge_g: float | None = None,
    json_out: bool = False,
    out: TextIO | None = None,
    err: TextIO | None = None,
) -> int:
    """Prints window, expected delay or the refusal with what would help. Exit 0, 2 (bad file), 3 (refused)."""
    out, err = out or sys.stdout, err or sys.stderr
    try:
        require_charge(charge_g)
        method = load_method(Path(method_path))
        rig = None if rig_path is None else load_rig(Path(rig_path))
    except (ConfigError, ValueError) as error:
        print(printable_text(str(error)), file=err)
        return EXIT_USAGE
    used = rig or Rig(readability_g=DEFAULT_READABILITY_G)
    found = check_feasibility(method, used, charge_g)
    objection = _objection(method, used, charge_g)
    if json_out:
        print(json.dumps(_as_json(method, found, objection), allow_nan=False), file=out)
    else:
        print(printable_text("\n".join(_lines(method, found, objection, rig is not None))), file=out)
    return EXIT_REFUSED if found.refused or objection else EXIT_OK


def _objection(method: Method, rig: Rig, charge_g: float | None) -> str | None:
    if method.weighing.mode != "live":
        return None
    return coupling_objection(method, rig, charge_g or method.charge.mass_g)


def _as_json(method: Method, found: Feasibility, objection: str | None) -> dict[str, object]:
    answer = asdict(found)
    answer["refused"] = found.refused or objection is not None
    return {"method": method.method.id, "revision": method.method.revision, **answer, "objection": objection}


def _lines(method: Method, found: Feasibility, objection: str | None, rig_given: bool) -> list[str]:
    lines = [f"{method.method.id} revision {method.method.revision}: {found.text}"]
    if objection:
        lines.append(f"Refused: {objection}.")
    if found.remedies:
        lines.append("What would help, each alone:")
        lines += [f"  - {remedy}" for remedy in found.remedies]
    if not rig_given:
        lines.append(
            f"No rig file given: a readability of {DEFAULT_READABILITY_G:g} g was assumed (--rig FILE)."
        )
    if found.assumptions:
        lines.append("Assumed: " + "; ".join(found.assumptions) + ". A blank run measures it.")
    return lines
