"""Who stands behind the record: corrections, signatures with what they mean, cautions, and the hash."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from logger.core.review import standing_signature
from logger.report.document import Column, Facts, Lines, Section, Table
from logger.report.run_sheet import RunSheet
from logger.report.texts import Texts
from logger.report.wording import person, said, utc


def changes_section(sheet: RunSheet, t: Texts) -> Section | None:
    """Every value that was corrected after the run, before and after; nothing when none was."""
    corrections = sheet.body.get("corrections") or ()
    if not corrections:
        return None
    head = (
        Column(t("changes.what")),
        Column(t("changes.before")),
        Column(t("changes.after")),
        Column(t("changes.who")),
        Column(t("changes.when")),
        Column(t("changes.why")),
    )
    rows = tuple(
        (
            said(change["what"]),
            _value(change["before"], t),
            _value(change["after"], t),
            person(entry["name"], entry["person_id"]),
            utc(entry["utc"]),
            said(entry["why"]),
        )
        for entry in corrections
        for change in entry["changes"]
    )
    return Section(t("changes.title"), (Table(t("changes.title"), head, rows, wide=5),))


def _value(value: str | float | None, t: Texts) -> str:
    if isinstance(value, int | float):
        return t.short(value, 9)
    return said(value)


def signatures_section(sheet: RunSheet, t: Texts) -> Section:
    """Each with the revision it was given over; the one that holds is named."""
    signatures = sheet.body.get("signatures") or ()
    if not signatures:
        return Section(t("signatures.title"), (Lines((t("signatures.none"),)),), half=True)
    holds = standing_signature(sheet.body)
    head = (
        Column(t("signatures.who")),
        Column(t("signatures.meaning")),
        Column(t("signatures.when")),
        Column(t("signatures.over")),
        Column(t("signatures.why")),
    )
    rows = tuple(_signature(each, each is holds, t) for each in signatures)
    return Section(t("signatures.title"), (Table(t("signatures.title"), head, rows, wide=4),))


def _signature(each: Mapping[str, Any], holds: bool, t: Texts) -> tuple[str, ...]:
    meaning = t.word("meaning", each["kind"])
    who = f"{person(each['name'], each['person_id'])}, {t.word('role', each['role'])}"
    return (
        who,
        meaning if holds else t("signatures.no_longer", meaning=meaning),
        utc(each["utc"]),
        t("signatures.over_value", revision=each["revision"], hash=each["record_sha256"][:12]),
        said(each["why"]),
    )


def cautions_section(sheet: RunSheet, t: Texts) -> Section:
    """The cautions of the trade and of the method, and who acknowledged them before the run."""
    own = [said(line) for line in (sheet.body["method"]["frozen"].get("precautions") or {}).get("lines", ())]
    by = sheet.body["cautions_acknowledged_by"]
    note = t("cautions.by", name=said(by)) if by else t("cautions.not_acknowledged")
    return Section(
        t("cautions.title"), (Lines((note, *t.listed("cautions.lines"), *own), "small"),), half=True
    )


def record_section(sheet: RunSheet, t: Texts) -> Section:
    """What proves the report: the record's hash, the chain's head, the program."""
    body, journal = sheet.body, sheet.body["journal"]
    rows = (
        (t("record.run_id"), body["run_id"]),
        (
            t("record.revision"),
            t("record.revision_value", revision=body["revision"], at=utc(sheet.issued_at)),
        ),
        (t("record.hash"), sheet.sha256),
        (t("record.code"), sheet.code),
        (t("record.head"), f"{journal['head_batch']}:{journal['head_sha256']}"),
        (t("record.method_hash"), body["method"]["sha256"]),
        (t("record.software"), said(body["software"])),
    )
    how = Lines((t("record.check", number=sheet.number, code=sheet.code), t("record.verbatim")), "small")
    return Section(t("record.title"), (Facts(rows), how), half=True)
