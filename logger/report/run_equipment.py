"""Sieve, balance and pressure transducer: what they were and how they stood; and the air around them."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from logger.report.document import Column, Facts, Section, Table
from logger.report.run_sheet import RunSheet
from logger.report.texts import Texts
from logger.report.wording import NONE, decimals_of, micrometres, said, told, utc


def equipment_section(sheet: RunSheet, t: Texts) -> Section | None:
    """The checks as they stood at the start; nothing for a run of a version that knew none."""
    head = (Column(t("equipment.what")), Column(t("equipment.standing")), Column(t("equipment.found")))
    rows = tuple(
        (
            t.word("equipment_name", entry["what"]),
            t.word("standing", entry["standing"]),
            told(entry["text"], t),
        )
        for entry in sheet.body.get("fitness", ())
    )
    return Section(t("equipment.title"), (Table(t("equipment.title"), head, rows, wide=2),)) if rows else None


def sieve_section(sheet: RunSheet, t: Texts) -> Section:
    """The test sieve and its care, and what the displays show."""
    rows = [*_sieve(sheet.body, t), *_care(sheet.body, t), *_rest(sheet.body, t)]
    return Section(t("equipment.sieve_title"), (Facts(tuple(rows)),), half=True)


def _care(body: Mapping[str, Any], t: Texts) -> list[tuple[str, str]]:
    return [
        (
            t(f"equipment.care_{entry['when']}"),
            t("equipment.care_value", text=told(entry["text"], t), by=said(entry["by"])),
        )
        for entry in body.get("sieve_care") or ()
    ]


def _sieve(body: Mapping[str, Any], t: Texts) -> list[tuple[str, str]]:
    sieve, aperture = body.get("sieve"), micrometres(body["aperture_um"], t)
    if sieve is None:
        return [(t("equipment.sieve"), t("equipment.sieve_not_named", aperture=aperture))]
    if not sieve["registered"]:
        name = t("equipment.sieve_unknown", aperture=aperture, id=said(sieve["id"]))
        return [(t("equipment.sieve"), name)]
    name = t(
        "equipment.sieve_value",
        aperture=aperture,
        id=said(sieve["id"]),
        frame=t.short(sieve["frame_mm"]),
        standard=said(sieve["standard"]),
        runs=sieve["runs_before"],
    )
    rows = [(t("equipment.sieve"), name)]
    if sieve["certificate"]:
        mean = ""
        if sieve["mean_aperture_um"] is not None:
            spread = NONE if sieve["mean_aperture_u_um"] is None else t.short(sieve["mean_aperture_u_um"])
            mean = t("equipment.mean", value=t.short(sieve["mean_aperture_um"]), u=spread)
        text = t(
            "equipment.certificate_value", id=said(sieve["certificate"]), day=said(sieve["certified_on"])
        )
        rows.append((t("equipment.certificate"), text + mean))
    if sieve["last_tare_g"] is not None:
        text = f"{t.short(sieve['last_tare_g'], 8)} g, {utc(sieve['last_tare_at'])}"
        rows.append((t("equipment.last_tare"), text))
    return rows


def _rest(body: Mapping[str, Any], t: Texts) -> list[tuple[str, str]]:
    displays = body.get("displays") or {}
    mass, pressure = displays.get("mass_digit_g"), displays.get("dp_digit_pa")
    digits = t(
        "equipment.digits_value",
        mass=NONE if mass is None else f"{t.fixed(mass, decimals_of(mass))} g",
        pressure=NONE if pressure is None else f"{t.short(pressure)} Pa",
    )
    return [
        (t("equipment.digits"), digits),
        (t("equipment.arrangement"), t(f"equipment.{body['arrangement']}")),
    ]


def conditions_section(sheet: RunSheet, t: Texts) -> Section:
    """Temperature and humidity where they were recorded, and the extractor's newest part."""
    found = sheet.body.get("conditions") or {}
    rows = [
        (t(f"conditions.{name}"), f"{t.short(found[name])} {unit}")
        for name, unit in (("temperature_c", "°C"), ("humidity_pct", "%"))
        if found.get(name) is not None
    ]
    if found.get("air_measured_at"):
        by = t("conditions.read_value", by=said(found["air_measured_by"]), at=utc(found["air_measured_at"]))
        rows.append((t("conditions.read"), by))
    if found.get("part"):
        at, runs = utc(found["part_changed_at"]), found["part_runs"]
        changed = t("conditions.part_value", part=t.word("part", found["part"]), at=at, runs=runs)
        rows.append((t("conditions.part"), changed))
    if not rows:
        rows = [(t("conditions.air"), t("conditions.none"))]
    return Section(t("conditions.title"), (Facts(tuple(rows)),), half=True)
