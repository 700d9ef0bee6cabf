"""From what a person typed to an entry of the register, judged on the way.

Every function gives the data of one entry or raises `ResultError` with a sentence; nothing is kept here.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any, get_args

from logger.core.balance_check import judge_check
from logger.core.correction import CorrectionFactor
from logger.core.refusal import require
from logger.core.register.enter_people import MAKERS as PEOPLE_MAKERS
from logger.core.register.enter_people import require_known
from logger.core.register.events import RegisterEvent, RegisterKind
from logger.core.register.policy import CheckPolicy
from logger.core.register.state import RegisterState, factor_of
from logger.core.register.typed import LONGEST, EntryBench, any_day, id_of, list_of, number, past_day, text_of
from logger.core.review import Proof
from logger.core.shift import entries as shift_entries
from logger.core.shift.policy import ShiftPolicy
from logger.core.sieve_checks import LEAST_SIEVE_G, judge_tare
from logger.core.sieves import Standard, TestSieve, apertures_um, tolerance
from logger.core.text import clean_text
from logger.core.weighing import BalanceSpec
from logger.core.worklist import entries as worklist_entries


def enter(
    kind: RegisterKind,
    entry: Mapping[str, Any],
    *,
    by: str,
    why: str,
    utc: str,
    state: RegisterState,
    policy: CheckPolicy,
    balance: BalanceSpec,
    shift: ShiftPolicy | None = None,
    proof: Proof = "typed",
) -> RegisterEvent:
    """One entry, ready to be kept. Raises `ResultError` or `Refused` for what cannot be meant.

    `proof` says how `by` is known; entries about people and methods need a password once there are people.
    """
    person = clean_text("by", by, 64)
    reason = clean_text("why", why, LONGEST)
    require(bool(person), "say who you are (--by): the register keeps it")
    bench = EntryBench(
        state=state,
        policy=policy,
        balance=balance,
        utc=utc,
        by=person,
        why=reason,
        proof=proof,
        shift=shift or ShiftPolicy(),
    )
    if kind not in PEOPLE_MAKERS or kind is RegisterKind.SENT_AGAIN:
        require_known(bench)
    data = _MAKERS[kind](bench, entry)
    if kind is RegisterKind.SIEVE_RETIRED:
        require(bool(reason), "say why the sieve is retired (--why)")
    return RegisterEvent(kind, utc, person, reason, data)


def _sieve_added(bench: EntryBench, entry: Mapping[str, Any]) -> dict[str, Any]:
    sieve_id, standard = id_of(entry, "id", "a sieve's"), text_of(entry, "standard")
    require(sieve_id not in bench.state.sieves, f"sieve {sieve_id} is in the register already")
    known = get_args(Standard)
    require(standard in known, f"standard must be one of {', '.join(known)}, not {standard!r}")
    chosen: Standard = next(name for name in known if name == standard)
    certified_on = text_of(entry, "certified_on")
    if certified_on:
        past_day(certified_on, "certified_on", bench.today)
    mean, mean_u = (
        None if entry.get(name) is None else number(entry, name)
        for name in ("mean_aperture_um", "mean_aperture_u_um")
    )
    sieve = TestSieve(
        id=sieve_id,
        aperture_um=number(entry, "aperture_um"),
        frame_mm=number(entry, "frame_mm"),
        standard=chosen,
        certificate=text_of(entry, "certificate"),
        certified_on=certified_on,
        mean_aperture_um=mean,
        mean_aperture_u_um=mean_u,
    )
    _check_aperture(sieve)
    return {name: getattr(sieve, name) for name in TestSieve.__dataclass_fields__}


def _check_aperture(sieve: TestSieve) -> None:
    """The aperture stands in its series, and a certificate's mean lies within the series' tolerance."""
    if sieve.standard == "certificate" or (sieve.aperture_um < 20 and sieve.mean_aperture_um is not None):
        require(
            sieve.mean_aperture_um is not None,
            f"sieve {sieve.id}: standard = certificate needs mean aperture and uncertainty from it",
        )
        return
    require(
        sieve.aperture_um in apertures_um(sieve.standard) or sieve.mean_aperture_um is not None,
        f"{sieve.aperture_um:g} µm is no nominal aperture of {sieve.standard}",
    )
    if sieve.mean_aperture_um is None or sieve.aperture_um not in apertures_um(sieve.standard):
        return
    y_um = tolerance(sieve.aperture_um, sieve.standard).y_um
    off_um = sieve.mean_aperture_um - sieve.aperture_um
    require(
        abs(off_um) <= y_um + 1e-9,
        f"mean aperture {sieve.mean_aperture_um:g} µm is {off_um:+.3g} µm from {sieve.aperture_um:g} µm, "
        f"outside the tolerance Y = {y_um:g} µm of {sieve.standard}: such a sieve is not one of that standard",
    )


def _sieve_retired(bench: EntryBench, entry: Mapping[str, Any]) -> dict[str, Any]:
    return {"sieve_id": bench.sieve(entry).sieve.id}


def _sieve_tared(bench: EntryBench, entry: Mapping[str, Any]) -> dict[str, Any]:
    known, mass_g = bench.sieve(entry), number(entry, "mass_g")
    require(
        mass_g >= LEAST_SIEVE_G, f"{mass_g:g} g is no test sieve: put the clean, empty sieve on the balance"
    )
    text = "first tare"
    if known.tares:
        judged = judge_tare(mass_g, known.tares[-1].mass_g, bench.balance, bench.policy.tare_allowed_g)
        text = judged.text
    return {"sieve_id": known.sieve.id, "mass_g": mass_g, "text": text}


def _sieve_referenced(bench: EntryBench, entry: Mapping[str, Any]) -> dict[str, Any]:
    known = bench.sieve(entry)
    text = text_of(entry, "checked_on")
    require(
        bool(text), f"the correction factor of sieve {known.sieve.id} has no date: enter when it was found"
    )
    factor = CorrectionFactor(
        sieve_id=known.sieve.id,
        certified_pct=number(entry, "certified_pct"),
        certified_u_pct=number(entry, "certified_u_pct"),
        found_pct=number(entry, "found_pct"),
        found_u_pct=number(entry, "found_u_pct"),
        checked_on=past_day(text, "checked_on", bench.today),
        certificate=text_of(entry, "certificate"),
    )
    data = {name: getattr(factor, name) for name in CorrectionFactor.__dataclass_fields__}
    data |= {"checked_on": factor.checked_on.isoformat()}
    run_ids = [clean_text("run", run_id, 64) for run_id in list_of(entry, "run_ids", str)]
    factor_of(data)
    return data | {"run_ids": run_ids, "factor": factor.factor, "factor_u": factor.factor_u}


def _balance_checked(bench: EntryBench, entry: Mapping[str, Any]) -> dict[str, Any]:
    weight = bench.policy.weight(text_of(entry, "weight_id"))
    zero_g, reading_g = number(entry, "zero_g"), number(entry, "reading_g")
    found = judge_check(weight.weight(), zero_g, reading_g, bench.balance.readability_g)
    return {
        "weight_id": weight.id,
        "certificate": weight.certificate,
        "mass_g": weight.mass_g,
        "tolerance_g": weight.tolerance_g,
        "zero_g": zero_g,
        "reading_g": reading_g,
        "deviation_g": round(found.deviation_g, 9),
        "passed": found.passed,
        "text": found.text,
    }


def _pressure_checked(bench: EntryBench, entry: Mapping[str, Any]) -> dict[str, Any]:
    policy, zero_pa = bench.policy, number(entry, "zero_pa")
    span = [
        {"applied_pa": number(point, "applied_pa"), "reading_pa": number(point, "reading_pa")}
        for point in list_of(entry, "span", Mapping)
    ]
    faults = []
    limit_pa = policy.pressure_zero_tolerance_pa
    if limit_pa is not None and abs(zero_pa) > limit_pa:
        faults.append(f"zero is {zero_pa:+g} Pa, {limit_pa:g} Pa allowed")
    for point in span:
        applied_pa = point["applied_pa"]
        require(applied_pa > 0, f"an applied pressure must be above zero, not {applied_pa:g} Pa")
        off_pct = 100 * (point["reading_pa"] - applied_pa) / applied_pa
        if abs(off_pct) > policy.pressure_span_tolerance_pct + 1e-9:
            allowed = f"{policy.pressure_span_tolerance_pct:g} % allowed"
            faults.append(f"{off_pct:+.2g} % off at {applied_pa:g} Pa, {allowed}")
    text = "; ".join(faults) or f"zero {zero_pa:+g} Pa, {len(span)} points of span within tolerance"
    found = {"zero_pa": zero_pa, "span": span, "passed": not faults, "text": text}
    return _reference(bench, entry, bool(span)) | found


def _reference(bench: EntryBench, entry: Mapping[str, Any], asked: bool) -> dict[str, str]:
    """The reference instrument of a span check with its certificate, which must be valid today."""
    reference, certificate = text_of(entry, "reference"), text_of(entry, "certificate")
    require(not asked or bool(reference), "name the reference instrument (--reference) of a span check")
    require(
        not asked or bool(certificate),
        "name the certificate of the reference instrument (--certificate): without it the span is traced to nothing",
    )
    until = text_of(entry, "valid_until")
    if until:
        last = any_day(until, "valid_until")
        require(
            last >= bench.today,
            f"the certificate {certificate} of {reference} was valid until {last}: have it renewed first",
        )
    return {"reference": reference, "certificate": certificate, "valid_until": until}


_MAKERS: dict[RegisterKind, Callable[[EntryBench, Mapping[str, Any]], dict[str, Any]]] = {
    **PEOPLE_MAKERS,
    RegisterKind.SIEVE_ADDED: _sieve_added,
    RegisterKind.SIEVE_RETIRED: _sieve_retired,
    RegisterKind.SIEVE_TARED: _sieve_tared,
    RegisterKind.SIEVE_REFERENCED: _sieve_referenced,
    RegisterKind.BALANCE_CHECKED: _balance_checked,
    RegisterKind.PRESSURE_CHECKED: _pressure_checked,
    RegisterKind.PART_CHANGED: lambda bench, entry: shift_entries.part_changed(entry),
    RegisterKind.AIR_MEASURED: lambda bench, entry: shift_entries.air_measured(entry, bench.shift),
    RegisterKind.PRESSURE_ZEROED: lambda bench, entry: shift_entries.pressure_zeroed(entry, bench.policy),
    RegisterKind.RESTORE_DRILLED: lambda bench, entry: shift_entries.restore_drilled(entry),
    RegisterKind.ENTRY_WITHDRAWN: lambda bench, entry: shift_entries.entry_withdrawn(
        entry, bench.state.shift, bench.utc, bench.why
    ),
    RegisterKind.SAMPLES_PLANNED: lambda bench, entry: worklist_entries.samples_planned(
        entry, bench.state.worklist
    ),
    RegisterKind.SAMPLE_WITHDRAWN: lambda bench, entry: worklist_entries.sample_withdrawn(
        entry, bench.state.worklist, bench.why
    ),
    RegisterKind.SAMPLE_RESTORED: lambda bench, entry: worklist_entries.sample_restored(
        entry, bench.state.worklist
    ),
}
