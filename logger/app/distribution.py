"""A distribution from several runs, one sieve each, for a person or a program, with its chart."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from logger.app.kept_runs import kept_run, run_facts
from logger.app.new_files import write
from logger.app.paths import DataFolder
from logger.core.distribution.curve import Diameter
from logger.core.distribution.fits import Fit, Way
from logger.core.distribution.interpolation import Axes
from logger.core.distribution.points import (
    Distribution,
    PortionStep,
    SievePoint,
    from_fresh_portions,
    from_same_portion,
)
from logger.core.distribution.summary import FamilyFit, Summary, summarise
from logger.core.joining import KeptRun, why_left_out
from logger.core.refusal import ResultError, require
from logger.core.run.facts import RunFacts
from logger.core.run.plan import plain_json
from logger.core.run.result import assess_run
from logger.core.text import printable
from logger.report.distribution_svg import distribution_svg
from logger.store.history import find_run, reading

Kept = tuple[KeptRun, RunFacts]


@dataclass(frozen=True, slots=True)
class WorkedOut:
    """The runs, finest sieve first, what they make together, and remarks."""

    runs: tuple[Kept, ...]
    summary: Summary
    notes: tuple[str, ...]


def distribution(
    data: DataFolder,
    which: Sequence[str],
    loss_limit_pct: float,
    way: Way,
    axes: Axes,
    to: Path | None,
    json_out: bool,
    replace: bool = False,
) -> str | dict[str, Any]:
    """Table, sizes, fits and mass balance; the chart goes to `to`, over another file only on request.

    Raises StoreError, `ResultError`.
    """
    found = work_out(data, which, loss_limit_pct, way, axes)
    if to is not None:
        write(to, _chart(found.summary, axes, found.runs[0][0]), replace)
    if json_out:
        return _plain(found.summary, found.runs, found.notes)
    return "\n".join(_lines(found.summary, found.runs, found.notes))


def work_out(
    data: DataFolder, which: Sequence[str], loss_limit_pct: float, way: Way, axes: Axes
) -> WorkedOut:
    """The distribution of these runs. Raises StoreError, `ResultError`."""
    runs = _load(data, which)
    _check_same(runs)
    found, notes = _points(runs, loss_limit_pct)
    summary = summarise(found, [_aperture_u_um(run) for run, _ in runs], way, axes)
    return WorkedOut(tuple(runs), summary, tuple(notes))


def _load(data: DataFolder, which: Sequence[str]) -> list[Kept]:
    with reading(data.store) as connection:
        ids = [find_run(connection, name).run_id for name in which]
        require(len(set(ids)) == len(ids), "one of the runs is given twice: name each once")
        runs = [(kept_run(connection, run_id), run_facts(connection, run_id)) for run_id in ids]
    return sorted(runs, key=lambda item: item[0].belongs.aperture_um)


def _check_same(runs: Sequence[Kept]) -> None:
    """All are determinations of one sample by one method revision."""
    first = runs[0][0]
    for run, _ in runs:
        reason = why_left_out(run)
        require(not reason, f"run {run.number} cannot be a point of a distribution ({reason})")
        for name, words in (
            ("sample_id", "another sample"),
            ("lot", "another lot"),
            ("method_sha256", "another method or revision"),
            ("simulated", "another source (simulated and real)"),
        ):
            same = getattr(run.belongs, name) == getattr(first.belongs, name)
            require(same, f"run {run.number} is of {words} than run {first.number}: a distribution needs one")
    if first.method.sieve.portion == "same":
        times = [run.started_at for run, _ in runs]
        require(
            times == sorted(times),
            "one portion is carried from the finest sieve to the coarsest, and these runs were made in "
            "another order: they cannot be of one portion",
        )


def _points(runs: Sequence[Kept], loss_limit_pct: float) -> tuple[Distribution, list[str]]:
    method = runs[0][0].method
    if method.sieve.portion == "same":
        notes = []
        if method.sieve.correction != "none":
            notes.append(
                "residues are raw: a portion that is carried upwards is not corrected for its sieves"
            )
        return from_same_portion([_step(*kept) for kept in runs], runs[0][0].spec, loss_limit_pct), notes
    return from_fresh_portions([_fresh(*kept) for kept in runs]), []


def _fresh(run: KeptRun, facts: RunFacts) -> SievePoint:
    if run.found is None:
        raise ResultError(f"run {run.number} has no result")
    whole = assess_run(facts, run.method, run.spec, run.planned, run.found)
    require(not whole.uncorrected, f"run {run.number}: {whole.uncorrected}")
    return SievePoint(
        aperture_um=run.belongs.aperture_um, residue_pct=whole.residue_pct, u_pct=whole.budget.u_pct
    )


def _step(run: KeptRun, facts: RunFacts) -> PortionStep:
    tare_g = facts.tare_g or 0.0
    return PortionStep(
        aperture_um=run.belongs.aperture_um,
        tare_g=tare_g,
        gross_charge_g=facts.charge_gross_g or 0.0,
        gross_after_g=tare_g + facts.weighings[-1].load_g,
        further_readings=0 if run.found is None else run.found.further_readings,
    )


def _aperture_u_um(run: KeptRun) -> float | None:
    """None for a sieve that is not in the register, and where the factor holds the aperture already: 0."""
    if run.planned is None:
        return None
    if run.method.sieve.correction != "none" and run.planned.factor is not None:
        return 0.0
    try:
        return run.planned.sieve.aperture_u_um
    except ResultError:
        return None


def _chart(summary: Summary, axes: Axes, first: KeptRun) -> bytes:
    title = f"Sample {printable(first.belongs.sample_id)}, {first.method.method.title}"
    try:
        return distribution_svg(summary.points, _made(summary), axes, title).encode()
    except ValueError as error:
        raise ResultError(str(error)) from error


def _made(summary: Summary) -> list[Fit]:
    return [each.fit for each in summary.fits if each.fit is not None]


def _plain(summary: Summary, runs: Sequence[Kept], notes: Sequence[str]) -> dict[str, Any]:
    found = summary.distribution
    return {
        "sample_id": runs[0][0].belongs.sample_id,
        "lot": runs[0][0].belongs.lot,
        "method_id": runs[0][0].belongs.method_id,
        "revision": runs[0][0].belongs.revision,
        "portion": found.portion,
        "points": [
            {
                "run": run.number,
                "aperture_um": point.aperture_um,
                "residue_pct": point.residue_pct,
                "passing_pct": point.passing_pct,
                "u_pct": point.u_pct,
                "aperture_u_pct": aperture_u,
                "slope_pct_per_um": slope,
            }
            for (run, _), point, aperture_u, slope in zip(
                runs, summary.points, summary.aperture_u_pct, summary.slope_pct_per_um, strict=True
            )
        ],
        "classes": [plain_json(each) for each in found.classes],
        "notices": [*found.notices, *notes],
        "apertures": summary.slope_basis,
        "balance": None if found.balance is None else plain_json(found.balance),
        "sizes": [plain_json(each) for each in summary.sizes],
        "sauter_um": summary.sauter_um,
        "sauter_reason": summary.sauter_reason,
        "specific_surface_m2_per_cm3": summary.specific_surface_m2_per_cm3,
        "fits": [_plain_fit(each) for each in summary.fits],
    }


def _plain_fit(each: FamilyFit) -> dict[str, Any]:
    made = each.fit
    figures: dict[str, Any] = {
        "family": each.family,
        "reason": each.reason,
        "sauter_um": each.sauter_um,
        "sauter_reason": each.sauter_reason,
        "specific_surface_m2_per_cm3": each.specific_surface_m2_per_cm3,
    }
    if made is None:
        return figures
    name, shape = made.curve.named_shape
    return figures | {
        "way": made.way,
        "scale_name": made.curve.family.scale_name,
        "scale_um": made.curve.scale_um,
        "scale_u_um": made.scale_u_um,
        "shape_name": name,
        "shape": shape,
        "shape_u": shape * made.shape_u / made.curve.shape,
        "chi2": made.chi2,
        "dof": made.dof,
        "lack_of_fit": made.lack_of_fit,
        "sizes": [plain_json(size) for size in each.sizes],
        "left_out": [plain_json(point) for point in made.left_out],
        "text": made.text,
    }


def _lines(summary: Summary, runs: Sequence[Kept], notes: Sequence[str]) -> list[str]:
    first, found = runs[0][0], summary.distribution
    lines = [
        f"Sample {printable(first.belongs.sample_id)}, {first.method.method.title} "
        f"({first.belongs.method_id} revision {first.belongs.revision}), {found.portion} portion",
        "",
        f"  {'run':>5}  {'aperture µm':>11}  {'residue %':>9}  {'passing %':>9}  {'u %':>6}  {'class %':>8}",
    ]
    shares = [each.share_pct for each in found.classes]
    for (run, _), point, share in zip(runs, summary.points, shares[1:], strict=True):
        lines.append(
            f"  {run.number:>5}  {point.aperture_um:>11g}  {point.residue_pct:>9.3f}  {point.passing_pct:>9.3f}  "
            f"{point.u_pct:>6.3f}  {share:>8.3f}"
        )
    finest = found.points[0].aperture_um
    lines.append(f"  class: between this sieve and the next; below {finest:g} µm {shares[0]:.3f} %")
    lines += [f"  {text}" for text in (summary.slope_basis, *found.notices, *notes)]
    if found.balance is not None:
        lines.append(f"Mass balance  {found.balance.text}")
    lines.append("")
    for size in summary.sizes:
        known = size.diameter
        words = size.reason if known is None else f"{known.d_um:.2f} µm, u {known.u_um:.2g} µm; {known.basis}"
        lines.append(f"d{size.passing_pct:<4g} {words}")
    lines.append(_sauter_words(summary, "Sauter mean of the points"))
    lines.append("")
    for each in summary.fits:
        lines.append(each.fit.text if each.fit is not None else f"{each.title}: {each.reason}")
        if each.fit is not None:
            lines += [f"  {_size_words(size)}" for size in each.sizes]
            lines.append(f"  {_sauter_words(each, 'Sauter mean')}")
            lines += [f"  left out: {point.aperture_um:g} µm, {point.reason}" for point in each.fit.left_out]
    return lines


def _sauter_words(found: Summary | FamilyFit, name: str) -> str:
    surface = found.specific_surface_m2_per_cm3
    if found.sauter_um is None or surface is None:
        return found.sauter_reason
    return f"{name} {found.sauter_um:.2f} µm, specific surface of spheres {surface:.3g} m²/cm³"


def _size_words(size: Diameter) -> str:
    outside = ", outside the sieves: extrapolated" if size.extrapolated else ""
    return f"d{size.passing_pct:<4g} {size.d_um:.2f} µm, u {size.u_um:.2g} µm{outside}"
