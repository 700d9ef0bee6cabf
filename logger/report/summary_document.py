"""The summary of a shift: its runs with results and decisions, what deviated, what was checked, what waits."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from logger.core.record_code import record_code
from logger.report.document import (
    Banner,
    Block,
    Column,
    Document,
    KeyFigure,
    KeyFigures,
    Lines,
    Section,
    Table,
)
from logger.report.texts import Texts
from logger.report.wording import NONE, said, told, utc

_WITH_LOT = "{sample}, {lot}"


@dataclass(frozen=True, slots=True, kw_only=True)
class SummaryRun:
    """One run that began in the time. `body` is its newest record, None while it is open."""

    number: int
    started_at: str
    sample_id: str
    lot: str
    method_id: str
    body: Mapping[str, Any] | None


@dataclass(frozen=True, slots=True, kw_only=True)
class SummaryEntry:
    """One entry of the register. `passed` is None where it judges nothing; `text` as the program says it."""

    utc: str
    by: str
    text: str
    passed: bool | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Summary:
    """Everything of one bench from `since` (included) to `until` (not included), ISO 8601 UTC."""

    since: str
    until: str
    runs: tuple[SummaryRun, ...]
    entries: tuple[SummaryEntry, ...]
    register_head: str = ""
    """The register's newest entry before `until`, NUMBER:SHA256: the paper keeps it elsewhere."""

    @property
    def bodies(self) -> tuple[Mapping[str, Any], ...]:
        """The records that there are."""
        return tuple(run.body for run in self.runs if run.body is not None)

    @property
    def waiting(self) -> tuple[SummaryRun, ...]:
        """Runs whose record waits for a review."""
        return tuple(run for run in self.runs if run.body is not None and run.body["review"] == "unreviewed")


def joint_code(hashes: Iterable[str]) -> str:
    """One code for several records: that of the SHA-256 of their hashes, a line each."""
    return record_code(hashlib.sha256("\n".join(hashes).encode()).hexdigest())


def summary_document(found: Summary, t: Texts) -> Document:
    """The summary in the catalogue's language."""
    since, until = utc(found.since), utc(found.until)
    places = sorted({f"{said(body['site'])}, {said(body['bench'])}" for body in found.bodies})
    return Document(
        language=t.language,
        title=t("summary.title"),
        subtitle=t("summary.subtitle", since=since, until=until, place="; ".join(places) or NONE),
        code=joint_code(body["record_sha256"] for body in found.bodies),
        code_label=t("summary.code"),
        dated=found.until,
        page_text=t("common.page", page="{page}", pages="{pages}"),
        sections=(
            _overview(found, t),
            _runs(found, t),
            _deviations(found, t),
            _waiting(found, t),
            _entries(found, t),
        ),
        banners=tuple(_banners(found, t)),
        foot=t("summary.foot", since=since, until=until),
        missing_letter_text=t("common.missing_letter"),
    )


def _banners(found: Summary, t: Texts) -> list[Banner]:
    made_up = [str(run.number) for run in found.runs if run.body is not None and run.body["simulated"]]
    if not made_up:
        return []
    detail = t("summary.simulated_detail", numbers=", ".join(made_up))
    return [Banner(t("summary.simulated"), detail, "alarm")]


def _overview(found: Summary, t: Texts) -> Section:
    decided = [_decision(body) for body in found.bodies]
    counts = {name: str(decided.count(name)) for name in ("accept", "inconclusive", "reject")}
    endpoints = sum(body["outcome"] == "endpoint" for body in found.bodies)
    odd = [len(body["deviations"]) for body in found.bodies]
    failed = sum(entry.passed is False for entry in found.entries)
    checks = sum(entry.passed is not None for entry in found.entries)
    waiting = len(found.waiting)
    figures = (
        KeyFigure(t("summary.runs"), str(len(found.runs)), t("summary.runs_detail", endpoints=endpoints)),
        KeyFigure(
            t("summary.decisions"),
            t("summary.decisions_value", **counts),
            t("summary.decisions_detail"),
            "alarm" if "reject" in decided else "plain",
        ),
        KeyFigure(
            t("summary.unreviewed"),
            str(waiting),
            t("summary.unreviewed_detail"),
            "warning" if waiting else "plain",
        ),
        KeyFigure(
            t("summary.deviations"),
            str(sum(odd)),
            t("summary.deviations_detail", runs=sum(map(bool, odd))),
            "warning" if any(odd) else "plain",
        ),
        KeyFigure(
            t("summary.checks"),
            str(checks),
            t("summary.checks_detail", failed=failed),
            "alarm" if failed else "plain",
        ),
    )
    return Section(t("summary.overview"), (KeyFigures(figures),))


def _decision(body: Mapping[str, Any]) -> str:
    decision = (body["assessment"] or {}).get("decision") if body["result"] is not None else None
    return "" if decision is None else str(decision["outcome"])


def _runs(found: Summary, t: Texts) -> Section:
    if not found.runs:
        return Section(t("summary.table"), (Lines((t("summary.none"),)),))
    head = (
        Column(t("summary.number"), "right"),
        Column(t("summary.started")),
        Column(t("summary.sample")),
        Column(t("summary.method")),
        Column(t("summary.outcome")),
        Column(t("summary.residue"), "right"),
        Column(t("summary.spread"), "right"),
        Column(t("summary.decision")),
        Column(t("summary.review")),
    )
    rows = tuple(_row(run, t) for run in found.runs)
    note = Lines((t("summary.check"),), "small")
    return Section(t("summary.table"), (Table(t("summary.table"), head, rows, wide=2), note))


def _row(run: SummaryRun, t: Texts) -> tuple[str, ...]:
    sample = (
        _WITH_LOT.format(sample=said(run.sample_id), lot=said(run.lot)) if run.lot else said(run.sample_id)
    )
    began = run.started_at[:16].replace("T", " ")
    start = (str(run.number), began, sample, said(run.method_id))
    body = run.body
    if body is None:
        return (*start, t("summary.open"), NONE, NONE, NONE, NONE)
    residue, spread = _figures(body, t)
    decided = _decision(body)
    return (
        *start,
        t.word("outcome", body["outcome"]),
        residue,
        spread,
        t.word("decision_word", decided) if decided else NONE,
        t.word("review", body["review"]),
    )


def _figures(body: Mapping[str, Any], t: Texts) -> tuple[str, str]:
    """Residue and expanded uncertainty as reported; nothing for a run without a result."""
    if body["result"] is None:
        return NONE, NONE
    assessed = body["assessment"]
    if assessed is None:
        return t.fixed(body["result"]["residue_pct"], 2), NONE
    return t.figure(assessed["residue_text"]), t.figure(assessed["expanded_u_text"])


def _deviations(found: Summary, t: Texts) -> Section:
    texts = [
        t("summary.deviation", number=run.number, text=told(entry["text"], t))
        for run in found.runs
        if run.body is not None
        for entry in run.body["deviations"]
    ]
    return Section(t("summary.deviations_title"), (_list(texts, t("summary.no_deviations")),), half=True)


def _waiting(found: Summary, t: Texts) -> Section:
    numbers = [str(run.number) for run in found.waiting]
    text = ", ".join(numbers) if numbers else t("summary.no_waiting")
    return Section(t("summary.waiting_title"), (Lines((text,)),), half=True)


def _list(texts: Sequence[str], nothing: str) -> Block:
    return Lines(tuple(texts), "list") if texts else Lines((nothing,))


def _entries(found: Summary, t: Texts) -> Section:
    title = t("summary.entries_title")
    kept = (Lines((t("summary.register_head", head=found.register_head),)),) if found.register_head else ()
    if not found.entries:
        return Section(title, (Lines((t("summary.no_entries"),)), *kept))
    head = (Column(t("summary.at")), Column(t("summary.by")), Column(t("summary.entry")))
    rows = tuple(
        (entry.utc[:16].replace("T", " "), said(entry.by), told(entry.text, t)) for entry in found.entries
    )
    return Section(title, (Table(title, head, rows, wide=2), *kept))
