"""The report of a distribution: points with their runs, the drawing, sizes, fits, mass balance, remarks."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from logger.core.distribution.curve import Diameter
from logger.core.distribution.interpolation import CHARACTERISTIC_PCT, Axes
from logger.core.distribution.summary import FamilyFit, Summary
from logger.report.distribution_svg import distribution_drawing
from logger.report.document import Banner, Column, Document, Facts, Figure, Lines, Section, Table
from logger.report.summary_document import joint_code
from logger.report.texts import Texts
from logger.report.wording import NONE, percent_probability, person, said, told, uncertainty, utc


@dataclass(frozen=True, slots=True, kw_only=True)
class DistributionSheet:
    """One distribution. Numbers and records stand in the order of the points, finest sieve first."""

    numbers: tuple[int, ...]
    bodies: tuple[Mapping[str, Any], ...]
    summary: Summary
    notes: tuple[str, ...]
    axes: Axes


def distribution_document(sheet: DistributionSheet, t: Texts) -> Document:
    """The report in the catalogue's language. Raises ValueError when no point has a place on the axes."""
    first = sheet.bodies[0]
    sample = said(first["sample"]["sample_id"])
    return Document(
        language=t.language,
        title=t("distribution.title"),
        subtitle=t("distribution.subtitle", sample=sample, count=len(sheet.numbers)),
        code=joint_code(body["record_sha256"] for body in sheet.bodies),
        code_label=t("distribution.code"),
        dated=max(body["tested_at"] for body in sheet.bodies),
        page_text=t("common.page", page="{page}", pages="{pages}"),
        sections=(
            _sample(sheet, t),
            _drawing(sheet, t),
            _points(sheet, t),
            _sizes(sheet, t),
            _remarks(sheet, t),
            _fits(sheet.summary.fits, t),
        ),
        banners=tuple(_banners(sheet, t)),
        foot=t("distribution.foot", sample=sample),
        missing_letter_text=t("common.missing_letter"),
    )


def _banners(sheet: DistributionSheet, t: Texts) -> list[Banner]:
    banners = []
    if any(body["simulated"] for body in sheet.bodies):
        banners.append(Banner(t("banner.simulated"), t("banner.simulated_detail"), "alarm"))
    waiting = [
        str(number)
        for number, body in zip(sheet.numbers, sheet.bodies, strict=True)
        if body["review"] == "unreviewed"
    ]
    if waiting:
        banners.append(Banner(t("banner.unreviewed"), t("distribution.waiting", numbers=", ".join(waiting))))
    return banners


def _sample(sheet: DistributionSheet, t: Texts) -> Section:
    first = sheet.bodies[0]
    method, sample = first["method"], first["sample"]
    people = dict.fromkeys(person(b.get("operator_name"), b["operator_id"]) for b in sheet.bodies)
    rows = (
        (t("identity.sample"), said(sample["sample_id"])),
        (t("identity.lot"), said(sample["lot"])),
        (t("identity.point"), said(sample["point"])),
        (t("method.id"), t("method.id_value", id=said(method["id"]), revision=method["revision"])),
        (t("method.title_row"), said(method["title"])),
        (t("method.source"), said(method["source"])),
        (t("distribution.portion"), t(f"distribution.portion_{sheet.summary.distribution.portion}")),
        (t("identity.operator"), ", ".join(people)),
        (t("identity.place"), f"{said(first['site'])}, {said(first['bench'])}"),
        (t("identity.tested_at"), utc(max(body["tested_at"] for body in sheet.bodies))),
    )
    return Section(t("distribution.sample_title"), (Facts(rows),))


def _drawing(sheet: DistributionSheet, t: Texts) -> Section:
    found = sheet.summary
    made = [each.fit for each in found.fits if each.fit is not None]
    finest, coarsest = found.points[0], found.points[-1]
    figure = Figure(
        svg=distribution_drawing(found.points, made, sheet.axes, t),
        title=t("distribution.chart"),
        alternative=t(
            "distribution.alternative",
            low=t.fixed(finest.passing_pct, 1),
            finest=t.short(finest.aperture_um),
            high=t.fixed(coarsest.passing_pct, 1),
            coarsest=t.short(coarsest.aperture_um),
        ),
        caption=t("distribution.caption"),
        narrow=True,
    )
    return Section(t("distribution.chart"), (figure,))


def _points(sheet: DistributionSheet, t: Texts) -> Section:
    head = (
        Column(t("distribution.run")),
        Column(t("distribution.aperture"), "right"),
        Column(t("distribution.residue"), "right"),
        Column(t("distribution.passing"), "right"),
        Column(t("distribution.u"), "right"),
        Column(t("distribution.u_aperture"), "right"),
        Column(t("distribution.class"), "right"),
        Column(t("distribution.reviewed")),
    )
    found = sheet.summary
    shares = [each.share_pct for each in found.distribution.classes]
    rows = tuple(
        (
            str(number),
            t.short(point.aperture_um),
            t.fixed(point.residue_pct, 3),
            t.fixed(point.passing_pct, 3),
            t.fixed(point.u_pct, 3),
            NONE if aperture is None else t.fixed(aperture, 3),
            t.fixed(share, 3),
            t.word("review", body["review"]),
        )
        for number, body, point, aperture, share in zip(
            sheet.numbers, sheet.bodies, found.points, found.aperture_u_pct, shares[1:], strict=True
        )
    )
    finest = t.short(found.points[0].aperture_um)
    note = t("distribution.class_note", finest=finest, share=t.fixed(shares[0], 3))
    table = Table(t("distribution.points"), head, rows, wide=7)
    return Section(t("distribution.points"), (table, Lines((note, t("distribution.check")), "small")))


def _sizes(sheet: DistributionSheet, t: Texts) -> Section:
    head = (
        Column(t("distribution.size")),
        Column(t("distribution.d"), "right"),
        Column(t("distribution.u_um"), "right"),
        Column(t("distribution.basis")),
    )
    rows = []
    for size in sheet.summary.sizes:
        known, name = size.diameter, _size_name(size.passing_pct, t)
        if known is None:
            rows.append((name, NONE, NONE, told(size.reason, t)))
        else:
            rows.append((name, t.fixed(known.d_um, 2), uncertainty(known.u_um, t), told(known.basis, t)))
    table = Table(t("distribution.sizes_title"), head, tuple(rows), wide=3)
    return Section(t("distribution.sizes_title"), (table,), half=True)


def _size_name(passing_pct: float, t: Texts) -> str:
    return t("distribution.size_value", percent=t.short(passing_pct))


def _sauter(found: Summary | FamilyFit, t: Texts) -> str:
    """The Sauter mean with the surface that goes with it, or why there is none."""
    surface = found.specific_surface_m2_per_cm3
    if found.sauter_um is None or surface is None:
        return told(found.sauter_reason, t)
    return t("distribution.sauter", value=t.fixed(found.sauter_um, 2), surface=t.short(surface, 3))


def _remarks(sheet: DistributionSheet, t: Texts) -> Section:
    found = sheet.summary
    texts = [told(text, t) for text in (found.slope_basis, *found.distribution.notices, *sheet.notes)]
    if found.distribution.balance is not None:
        texts.append(t("distribution.balance", text=told(found.distribution.balance.text, t)))
    texts.append(
        t("distribution.of_points", text=_sauter(found, t)) if found.sauter_um else _sauter(found, t)
    )
    return Section(t("distribution.notices"), (Lines(tuple(texts), "list"),), half=True)


def _fits(fits: Sequence[FamilyFit], t: Texts) -> Section:
    head = (
        Column(t("distribution.family")),
        Column(t("distribution.scale")),
        Column(t("distribution.shape")),
        *(Column(f"{_size_name(pct, t)}, µm", "right") for pct in CHARACTERISTIC_PCT),
        Column(t("distribution.lack")),
    )
    rows = tuple(_fit(each, t) for each in fits)
    notes = [t("distribution.star")]
    notes += [
        t(
            "distribution.fit_left_out",
            family=each.title,
            aperture=t.short(p.aperture_um),
            why=told(p.reason, t),
        )
        for each in fits
        if each.fit is not None
        for p in each.fit.left_out
    ]
    notes += [
        t("distribution.in_family", family=each.title, text=_sauter(each, t))
        if each.sauter_um
        else _sauter(each, t)
        for each in fits
        if each.fit is not None
    ]
    table = Table(t("distribution.fits_title"), head, rows, wide=6)
    return Section(t("distribution.fits_title"), (table, Lines(tuple(notes), "small")))


def _fit(each: FamilyFit, t: Texts) -> tuple[str, ...]:
    made = each.fit
    if made is None:
        return (each.title, NONE, NONE, NONE, NONE, NONE, t("distribution.no_fit", why=told(each.reason, t)))
    name, shape = made.curve.named_shape
    shape_u = shape * made.shape_u / made.curve.shape
    scale = _value(made.curve.family.scale_name, t.fixed(made.curve.scale_um, 2), made.scale_u_um, t)
    sizes = [_size(size, t) for size in each.sizes]
    return (
        f"{each.title} ({t.word('way', made.way)})",
        scale,
        _value(name, t.fixed(shape, 3), shape_u, t),
        *sizes,
        _lack(made.lack_of_fit, t),
    )


def _value(name: str, value: str, u: float, t: Texts) -> str:
    return t("distribution.fit_value", name=name, value=value, u=uncertainty(u, t))


def _size(size: Diameter, t: Texts) -> str:
    """A star marks what lies outside the sieves."""
    return f"{t.fixed(size.d_um, 2)}{'*' if size.extrapolated else ''}"


def _lack(probability: float | None, t: Texts) -> str:
    if probability is None:
        return t("distribution.lack_unknown")
    return t("distribution.lack_value", value=percent_probability(probability, t))
