"""The report of one run: what was tested, how, with what, what came out, and what it rests on.

A pure function of what is kept. A run without a result says so across the page and shows no figure that could be
read as one.
"""

from __future__ import annotations

from collections.abc import Iterator

from logger.report.document import Banner, Block, Document, Figure, Lines, Section
from logger.report.run_chart import ChartLimits, Mark, run_chart
from logger.report.run_equipment import conditions_section, equipment_section, sieve_section
from logger.report.run_events import event_marks, events_section
from logger.report.run_identity import identity_section, method_section
from logger.report.run_result import (
    budget_section,
    determinations_section,
    endpoint_section,
    result_section,
    weighings_section,
)
from logger.report.run_review import cautions_section, changes_section, record_section, signatures_section
from logger.report.run_sheet import RunSheet
from logger.report.texts import Texts
from logger.report.wording import said, told, utc

NOT_ENDPOINTS = ("stopped", "time-limit")


def run_document(sheet: RunSheet, t: Texts) -> Document:
    """The report in the catalogue's language."""
    body = sheet.body
    marks = event_marks(sheet)
    sections = (
        result_section(sheet, t),
        identity_section(sheet, t),
        method_section(sheet, t),
        _chart(sheet, marks, t),
        endpoint_section(sheet, t),
        weighings_section(sheet, t),
        determinations_section(sheet, t),
        budget_section(sheet, t),
        equipment_section(sheet, t),
        sieve_section(sheet, t),
        conditions_section(sheet, t),
        _deviations(sheet, t),
        signatures_section(sheet, t),
        changes_section(sheet, t),
        events_section(sheet, marks, t),
        cautions_section(sheet, t),
        record_section(sheet, t),
    )
    return Document(
        language=t.language,
        title=t("run.title"),
        subtitle=t("run.subtitle", sample=said(body["sample"]["sample_id"]), number=sheet.number),
        code=sheet.code,
        code_label=t("record.code"),
        dated=body["tested_at"],
        page_text=t("common.page", page="{page}", pages="{pages}"),
        sections=tuple(section for section in sections if section is not None),
        banners=tuple(_banners(sheet, t)),
        foot=t("run.foot", run=sheet.number, revision=body["revision"]),
        missing_letter_text=t("common.missing_letter"),
    )


def _banners(sheet: RunSheet, t: Texts) -> Iterator[Banner]:
    body = sheet.body
    if body["simulated"]:
        yield Banner(t("banner.simulated"), t("banner.simulated_detail"), "alarm")
    declared = body.get("invalidation")
    if declared:
        by, at = said(declared["name"]), utc(declared["utc"])
        detail = t("banner.invalidated_detail", by=by, at=at, why=said(declared["why"]))
        yield Banner(t("banner.invalidated"), detail, "alarm")
    if body["result"] is None:
        outcome = t.word("outcome", body["outcome"])
        yield Banner(
            t("banner.no_result"),
            t("banner.no_result_detail", outcome=outcome, reason=told(body["reason"], t)),
            "alarm",
        )
    elif body["outcome"] in NOT_ENDPOINTS:
        yield Banner(
            t(f"banner.{body['outcome']}"), t("banner.not_endpoint_detail", reason=told(body["reason"], t))
        )
    yield from _review(sheet, t)


def _review(sheet: RunSheet, t: Texts) -> Iterator[Banner]:
    body = sheet.body
    if body.get("invalidation"):
        return
    if body["review"] == "unreviewed":
        again = "corrected" if body.get("corrections") else "unreviewed"
        yield Banner(t(f"banner.{again}"), t(f"banner.{again}_detail"))
    elif body["review"] == "rejected":
        yield Banner(t("banner.rejected"), t("banner.rejected_detail"), "alarm")


def _chart(sheet: RunSheet, marks: tuple[Mark, ...], t: Texts) -> Section:
    curves, body = sheet.curves, sheet.body
    if curves is None:
        return Section(t("chart.title"), (Lines((t("chart.none"),)),))
    frozen, endpoint = body["method"]["frozen"], body["endpoint"]
    is_rate = endpoint is not None and endpoint["unit"] == "%/min"
    limits = ChartLimits(
        limit_pct_per_min=frozen["endpoint"]["limit_pct_per_min"],
        margin=frozen["endpoint"]["margin"],
        dp_pa=frozen["suction"]["dp_pa"],
        band_pa=frozen["suction"]["band_pa"],
        decided_at_s=body["times"]["decision_s"] if is_rate and body["outcome"] == "endpoint" else None,
        decided_rate=endpoint["value"] if is_rate else None,
        decided_u=endpoint["value_u"] if is_rate else None,
    )
    last_pct = curves.weighings[-1][1]
    mode = "live" if curves.live else "interval"
    figure = Figure(
        svg=run_chart(curves, limits, marks, t),
        title=t("chart.title"),
        alternative=t(
            f"chart.alternative_{mode}",
            minutes=t.fixed(curves.end_s / 60, 1),
            weighings=len(curves.weighings) - 1,
            load=t.fixed(last_pct, 2),
        ),
        caption=t(f"chart.caption_{mode}"),
    )
    if body.get("corrections"):
        return Section(t("chart.title"), (figure, Lines((t("chart.before_corrections"),))))
    return Section(t("chart.title"), (figure,))


def _deviations(sheet: RunSheet, t: Texts) -> Section:
    texts = tuple(told(entry["text"], t) for entry in sheet.body["deviations"])
    block: Block = Lines(texts, "list") if texts else Lines((t("deviations.none"),))
    return Section(t("deviations.title"), (block,), half=True)
