"""Whether a run may be planned at all, and with what: the checks before anything is started."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from logger.core.endpoint.feasibility import check_feasibility, coupling_objection
from logger.core.method import Method
from logger.core.rig import Rig
from logger.core.run.commands import Refused
from logger.core.run.plan import Sample
from logger.core.text import clean_text, printable
from logger.core.weighing import BalanceSpec

_LONGEST = {"sample_id": 64, "operator_id": 64, "lot": 64, "point": 64, "sampled_at": 40}


def read_sample(args: Mapping[str, Any]) -> Sample:
    """Sample and people from what was typed or scanned. Raises Refused naming the field."""
    found = {
        name: clean_text(name.replace("_", " "), args.get(name, ""), longest)
        for name, longest in _LONGEST.items()
    }
    for name in ("sample_id", "operator_id"):
        if not found[name]:
            raise Refused(f"The {name.removesuffix('_id')} is missing: type or scan it.")
    return Sample(**found)


def pick_method(methods: Mapping[str, Method], method_id: object) -> Method:
    """The method by its id. Raises Refused that lists what there is."""
    if isinstance(method_id, str) and method_id in methods:
        return methods[method_id]
    known = ", ".join(sorted(methods)) or "none"
    raise Refused(f"There is no method {method_id!r} on this bench; there are: {known}.")


def pick_aperture(method: Method, given: object) -> float:
    """The sieve of this determination: the method's only one, or one of its several. Raises Refused."""
    apertures = method.sieve.all_um
    if given is None:
        return apertures[0]
    if isinstance(given, int | float) and given in apertures:
        return float(given)
    known = ", ".join(f"{value:g}" for value in apertures)
    shown = printable(repr(given)[:40])
    raise Refused(f"The method has no sieve of {shown} um; it has {known} um.")


def check_arrangement(method: Method, arrangement: str) -> None:
    """Live weighing needs the rig on the balance. Raises Refused."""
    if method.weighing.mode == "live" and arrangement != "under":
        raise Refused(
            f"Method {method.method.id} weighs live, but this bench has its balance beside the rig: "
            "a balance that carries the sieve alone cannot be read while the jet runs. Use an interval method."
        )


def check_endpoint(method: Method, rig: Rig | None, balance: BalanceSpec) -> None:
    """The endpoint must be findable on this rig, and live weighing must be possible. Raises Refused."""
    known = rig or Rig(
        readability_g=balance.readability_g,
        white_sd_g=balance.repeatability_g if method.weighing.mode == "interval" else None,
    )
    if method.weighing.mode == "live":
        objection = coupling_objection(method, known, method.charge.mass_g)
        if objection is not None:
            raise Refused(f"Method {method.method.id} cannot weigh live on this rig: {objection}.")
    found = check_feasibility(method, known)
    if found.refused:
        raise Refused(f"{found.text} What would help: {'; '.join(found.remedies)}.")


def check_capacity(method: Method, capacity_g: float, readability_g: float) -> None:
    """The charge must be weighable here. Raises Refused."""
    if method.charge.mass_g > capacity_g:
        raise Refused(
            f"The charge of {method.charge.mass_g:g} g is above the balance's capacity of {capacity_g:g} g."
        )
    if method.charge.tolerance_g < readability_g:
        raise Refused(
            f"The charge's tolerance of {method.charge.tolerance_g:g} g is finer than the balance shows "
            f"({readability_g:g} g)."
        )
