"""Is the equipment fit for this run, and is the method what it was? The checks that need the register."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from logger.core.method import Method
from logger.core.register.fitness import Fitness, balance_fitness, pressure_fitness, sieve_fitness
from logger.core.register.look import RegisterLook
from logger.core.register.methods import differences
from logger.core.register.planned import PlannedSieve
from logger.core.register.policy import CheckPolicy
from logger.core.register.state import SieveEntry
from logger.core.run.commands import Refused
from logger.core.run.plan import plain_json
from logger.core.run.start import pick_aperture
from logger.core.sieve_checks import aperture_mismatch, frame_mismatch
from logger.core.text import clean_text

Note = tuple[str, str]


@dataclass(frozen=True, slots=True, kw_only=True)
class Equipment:
    """Sieve and checks of a run that may start; `notes` become deviations as soon as it begins."""

    sieve_id: str
    sieve: PlannedSieve | None
    aperture_um: float
    fitness: tuple[Fitness, ...]
    notes: tuple[Note, ...]


def check_equipment(
    method: Method, args: Mapping[str, Any], look: RegisterLook, policy: CheckPolicy, utc: str
) -> Equipment:
    """Sieve, balance and pressure transducer for this run.

    Raises Refused for a retired sieve, one of another frame or aperture, a failed check, and for an
    overdue one where the bench says that it blocks.
    """
    sieve_id = read_sieve_id(args)
    entry = look.state.sieves.get(sieve_id)
    aperture_um = _aperture(method, args.get("aperture_um"), entry)
    fitness = [
        balance_fitness(look.state, policy, utc, look.runs_since_balance),
        pressure_fitness(look.state, policy, utc),
    ]
    notes = _sieve_notes(method, sieve_id, entry)
    if entry is not None:
        fitness.append(sieve_fitness(entry, policy, utc, look.sieve_runs_since_check))
    notes += [note for found in fitness if (note := _standing_note(found, policy)) is not None]
    return Equipment(
        sieve_id=sieve_id,
        sieve=None if entry is None else _planned(entry, look, policy),
        aperture_um=aperture_um,
        fitness=tuple(fitness),
        notes=tuple(notes),
    )


def read_sieve_id(args: Mapping[str, Any]) -> str:
    """The sieve as typed or scanned; empty when none was named. Raises Refused."""
    return clean_text("sieve", args.get("sieve_id", ""), 64)


def _aperture(method: Method, given: object, entry: SieveEntry | None) -> float:
    """The aperture asked for, else that of the named sieve, else the method's first. Raises Refused."""
    if entry is None:
        return pick_aperture(method, given)
    sieve, allowed = entry.sieve, method.sieve.all_um
    if entry.retired:
        raise Refused(f"Sieve {sieve.id} was retired ({entry.retired}): take another one.")
    wanted = allowed if given is None else (pick_aperture(method, given),)
    for mismatch in (
        frame_mismatch(sieve.frame_mm, method.sieve.frame_mm),
        aperture_mismatch(sieve.aperture_um, wanted),
    ):
        if mismatch is not None:
            raise Refused(f"Sieve {sieve.id} does not fit: {mismatch}.")
    return sieve.aperture_um


def _sieve_notes(method: Method, sieve_id: str, entry: SieveEntry | None) -> list[Note]:
    if not sieve_id:
        text = "No test sieve was named: aperture, tare and correction cannot be traced to one."
        return [("sieve-not-named", text)]
    if entry is None:
        text = f"Sieve {sieve_id} is not in the register: nothing is known of its aperture, frame and tare."
        return [("sieve-not-registered", text)]
    if method.sieve.correction != "none" and entry.factor is None:
        text = (
            f"The method corrects for the sieve, and sieve {sieve_id} has no factor: the residue stays raw "
            "(`lastgrain sieves reference`)."
        )
        return [("sieve-without-factor", text)]
    return []


def _standing_note(found: Fitness, policy: CheckPolicy) -> Note | None:
    """A deviation for what is due; Refused where it blocks."""
    words = found.text[:1].upper() + found.text[1:]
    if found.standing == "failed":
        raise Refused(f"The last {found.what} check failed. {words}. Put it right and check again.")
    if found.standing != "due":
        return None
    if policy.overdue == "blocks":
        command = "sieves reference" if found.what == "sieve" else f"checks {found.what}"
        raise Refused(f"A {found.what} check is due. {words}. Make it first (`lastgrain {command}`).")
    return f"{found.what}-check-due", f"A {found.what} check is due: {found.text}."


def _planned(entry: SieveEntry, look: RegisterLook, policy: CheckPolicy) -> PlannedSieve:
    tare = entry.tares[-1] if entry.tares else None
    return PlannedSieve(
        sieve=entry.sieve,
        factor=entry.factor,
        runs_before=look.sieve_runs,
        last_tare_g=None if tare is None else tare.mass_g,
        last_tare_utc="" if tare is None else tare.utc,
        tare_allowed_g=policy.tare_allowed_g,
    )


def check_revision(method: Method, used: Mapping[str, Any] | None) -> None:
    """A revision that was used stays what it was. Raises Refused naming what differs."""
    if used is None:
        return
    changed = list(differences(method, used, plain_json(method)))
    if changed:
        head = method.method
        raise Refused(
            f"Method {head.id} revision {head.revision} was used before with other values "
            f"({'; '.join(changed[:3])}{'; and more' if len(changed) > 3 else ''}): a used revision never changes. "
            f"Give the changed method revision = {head.revision + 1} (or the next free one)."
        )
