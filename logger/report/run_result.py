"""What came out: the figures as reported, the endpoint with its numbers, weighings, determinations, the budget."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from logger.core.interval_rules import Z_STOP
from logger.core.record_assessment import RecordAssessment, kept, read_assessment
from logger.core.rounding import rounded_u_text
from logger.report.document import (
    Block,
    Column,
    Facts,
    KeyFigure,
    KeyFigures,
    Level,
    Lines,
    Section,
    Table,
)
from logger.report.run_sheet import RunSheet
from logger.report.texts import Texts
from logger.report.wording import (
    NONE,
    decimals_of,
    limits_text,
    percent_probability,
    said,
    seconds,
    told,
    uncertainty,
    utc,
)

_LEVELS: dict[str, Level] = {"accept": "good", "inconclusive": "warning", "reject": "alarm"}


def result_section(sheet: RunSheet, t: Texts) -> Section:
    """Residue, passing and decision, large; beside them how the run ended."""
    body = sheet.body
    ended = KeyFigure(
        t("result.ended"),
        t.word("outcome", body["outcome"]),
        t("result.effective", time=seconds(body["times"]["effective_s"], t)),
        "plain" if body["outcome"] == "endpoint" else "alarm",
    )
    if body["result"] is None:
        figures = (KeyFigure(t("result.residue"), t("result.none"), "", "alarm"), ended)
        return Section(t("result.title"), (KeyFigures(figures),))
    found = read_assessment(body["assessment"])
    if found is None:
        return Section(t("result.title"), (KeyFigures((*_as_weighed(body["result"], t), ended)),))
    blocks: tuple[Block, ...] = (
        KeyFigures((*key_figures(found, t), ended)),
        Lines((*assessed_lines(found, body["limits"], t), *_warnings(body["result"], t))),
    )
    return Section(t("result.title"), blocks)


def _warnings(result: Mapping[str, Any], t: Texts) -> list[str]:
    return [t("result.note", text=told(text, t)) for text in result["warnings"]]


def _as_weighed(result: Mapping[str, Any], t: Texts) -> tuple[KeyFigure, ...]:
    """A record of a version that knew no assessment."""
    spread = t("result.weighing_u", value=uncertainty(result["residue_u_weighing_pct"], t))
    return (
        KeyFigure(t("result.residue"), f"{t.fixed(result['residue_pct'], 2)} %", spread),
        KeyFigure(t("result.passing"), f"{t.fixed(result['passing_pct'], 2)} %", spread),
    )


def key_figures(found: RecordAssessment, t: Texts) -> tuple[KeyFigure, ...]:
    """Residue and passing with their expanded uncertainty, and the decision."""
    spread = t("result.spread", value=t.figure(found.expanded_u_text))
    figures = [
        KeyFigure(t("result.residue"), f"{t.figure(found.residue_text)} %", spread),
        KeyFigure(t("result.passing"), f"{t.figure(found.passing_text)} %", spread),
    ]
    decision = found.decision
    if decision is None:
        figures.append(
            KeyFigure(t("decision.title"), t("decision.none"), told(found.undecided, t), "warning")
        )
    else:
        detail = t.word("decision_detail", decision.outcome)
        word, level = t.word("decision_word", decision.outcome), _LEVELS[decision.outcome]
        figures.append(KeyFigure(t("decision.title"), word, detail, level))
    return tuple(figures)


def assessed_lines(found: RecordAssessment, limits: Mapping[str, Any], t: Texts) -> list[str]:
    """What stands behind the figures, a sentence each."""
    budget = found.budget
    lines = [
        t(
            "result.coverage",
            u=t.figure(found.expanded_u_text),
            k=t.fixed(budget.k, 2),
            coverage=t.short(100 * budget.coverage),
        )
    ]
    if budget.not_included:
        names = ", ".join(t.word("source", missing.name) for missing in budget.not_included)
        lines.append(t("result.not_included", names=names))
    lines.append(_decision_line(found, limits, t))
    if found.corrected is not None:
        lines.append(_correction_line(found, t))
    if found.uncorrected:
        lines.append(t("result.uncorrected", why=told(found.uncorrected, t)))
    if found.twice_as_long_loss_pct is not None:
        more = t.figure(rounded_u_text(found.twice_as_long_loss_pct, 1))
        lines.append(t("result.twice_as_long", value=more))
    lines.append(t("result.rounding", text=told(found.rounding_text, t)))
    return lines


def _decision_line(found: RecordAssessment, limits: Mapping[str, Any], t: Texts) -> str:
    decision = found.decision
    if decision is None:
        return t("decision.sentence_none", limits=limits_text(limits, t), why=told(found.undecided, t))
    guard = "" if decision.rule == "simple" else t("decision.guard", value=uncertainty(decision.guard_pct, t))
    return t(
        "decision.sentence",
        limits=limits_text({"residue_min_pct": decision.low_pct, "residue_max_pct": decision.high_pct}, t),
        rule=t.word("decision_rule", decision.rule),
        guard=guard,
        probability=percent_probability(decision.probability, t),
    )


def _correction_line(found: RecordAssessment, t: Texts) -> str:
    used = found.corrected
    if used is None:
        return ""
    return t(
        "result.corrected",
        raw=t.fixed(used.raw_residue_pct, 3),
        factor=t.fixed(used.factor, 4),
        u=uncertainty(used.factor_u, t),
        certificate=said(used.certificate),
        sieve=said(used.sieve_id),
        day=used.checked_on,
    )


def endpoint_section(sheet: RunSheet, t: Texts) -> Section:
    """Why the run ended there. A stop by hand and a time limit are never called an endpoint."""
    body, times = sheet.body, sheet.body["times"]
    reached = body["outcome"] == "endpoint"
    rows = [(t("endpoint.how"), t.word("outcome_sentence", body["outcome"]))]
    if body["endpoint"] is not None:
        rows += _numbers(body["endpoint"], body["method"]["frozen"]["endpoint"], reached, t)
    rows += [
        (t("endpoint.effective"), seconds(times["effective_s"], t)),
        (t("endpoint.decision_at"), seconds(times["decision_s"], t)),
        (t("endpoint.off_at"), seconds(times["suction_off_s"], t)),
        (t("endpoint.out_of_band"), seconds(times.get("out_of_band_s"), t)),
        (t("endpoint.unread"), seconds(times.get("unread_s"), t)),
    ]
    if not reached:
        rows.append((t("endpoint.recorded"), told(body["reason"], t)))
    return Section(t("endpoint.title" if reached else "endpoint.title_not"), (Facts(tuple(rows)),), half=True)


def _numbers(
    found: Mapping[str, Any], rule: Mapping[str, Any], reached: bool, t: Texts
) -> list[tuple[str, str]]:
    """The last judgement's figure beside its limit."""
    value, spread, limit, unit = found["value"], found["value_u"], found["limit"], found["unit"]
    if value is None:
        return []
    name = t("endpoint.value" if reached else "endpoint.value_last")
    rows = [(name, f"{_figure(value, t)} {unit}")]
    if spread is not None:
        rows.append((t("endpoint.value_u"), f"{uncertainty(spread, t)} {unit}"))
    if limit is not None:
        rows.append((t("endpoint.limit"), f"{t.short(limit)} {unit}"))
    if unit == "%/min" and spread is not None and rule["rule"] == "loss-rate" and limit is not None:
        top, ceiling = value + Z_STOP * spread, t.short(limit * rule["margin"])
        text = t("endpoint.two_errors_value", top=f"{_figure(top, t)} {unit}", ceiling=f"{ceiling} {unit}")
        rows.append((t("endpoint.two_errors"), text))
    return rows


def _figure(value: float, t: Texts) -> str:
    return t.fixed(value, 3 if abs(value) < 10 else 1)


def weighings_section(sheet: RunSheet, t: Texts) -> Section | None:
    """Every weighing, and what the charge was weighed against."""
    body = sheet.body
    if body["tare_g"] is None:
        return None
    places = decimals_of((body.get("displays") or {}).get("mass_digit_g"))
    rows = [(t("weighings.tare"), t.fixed(body["tare_g"], places), NONE, NONE, "")]
    for number, weighed in enumerate(body["weighings"]):
        what = (
            t("weighings.after", seconds=t.fixed(weighed["effective_s"], 0))
            if number
            else t("weighings.charge")
        )
        load, share = t.fixed(weighed["load_g"], places), t.fixed(weighed["load_pct"], 3)
        typed = t("weighings.typed") if weighed["typed"] else t("weighings.read")
        rows.append((what, t.fixed(weighed["gross_g"], places), load, share, typed))
    head = (
        Column(t("weighings.what")),
        Column(t("weighings.gross"), "right"),
        Column(t("weighings.load"), "right"),
        Column(t("weighings.share"), "right"),
        Column(t("weighings.how")),
    )
    return Section(t("weighings.title"), (Table(t("weighings.title"), head, tuple(rows)),), half=True)


def determinations_section(sheet: RunSheet, t: Texts) -> Section | None:
    """The sample's determinations on this sieve beside each other, and what they make together."""
    joined = sheet.joined
    if joined is None:
        return None
    head = (
        Column(t("determinations.run")),
        Column(t("determinations.started")),
        Column(t("determinations.residue"), "right"),
        Column(t("determinations.u"), "right"),
        Column(t("determinations.code")),
    )
    rows = []
    for run in joined.runs:
        if run.found is not None:
            residue, u = t.fixed(run.found.residue_pct, 3), t.fixed(run.found.residue_u_pct, 4)
            code = (sheet.codes or {}).get(run.run_id, NONE)
            this = t("determinations.this") if run.number == sheet.number else ""
            rows.append((f"{run.number}{this}", utc(run.started_at), residue, u, code))
    blocks: list[Block] = [Table(t("determinations.title"), head, tuple(rows), wide=1)]
    lines = [t("determinations.agreement", text=told(joined.text, t))]
    lines += [
        t("determinations.left_out", number=run.number, why=told(run.reason, t)) for run in joined.left_out
    ]
    if joined.problem:
        lines.append(t("determinations.problem", why=told(joined.problem, t)))
    blocks.append(Lines(tuple(lines)))
    if joined.assessment is not None:
        together = kept(joined.assessment)
        blocks.append(KeyFigures(key_figures(together, t)))
        blocks.append(Lines(tuple(assessed_lines(together, sheet.body["limits"], t))))
    return Section(t("determinations.title"), tuple(blocks))


def budget_section(sheet: RunSheet, t: Texts) -> Section | None:
    """Every source with its share, and what is not included."""
    found = read_assessment(sheet.body["assessment"])
    if sheet.body["result"] is None or found is None:
        return None
    budget = found.budget
    head = (
        Column(t("budget.source")),
        Column(t("budget.u"), "right"),
        Column(t("budget.unit")),
        Column(t("budget.sensitivity"), "right"),
        Column(t("budget.contribution"), "right"),
        Column(t("budget.share"), "right"),
        Column(t("budget.dof"), "right"),
        Column(t("budget.basis")),
    )
    rows = [
        (
            t.word("source", part.name),
            t.short(part.u, 3),
            said(part.unit),
            t.short(part.sensitivity, 4),
            t.fixed(part.contribution_pct, 4),
            f"{t.fixed(100 * (part.contribution_pct / budget.u_pct) ** 2 if budget.u_pct else 0.0, 0)} %",
            _dof(part.dof, t),
            told(part.basis, t),
        )
        for part in budget.components
    ]
    sums = t.fixed(budget.u_pct, 4), _dof(budget.dof, t)
    coverage = t("budget.k", k=t.fixed(budget.k, 3), coverage=t.short(100 * budget.coverage))
    expanded = t.figure(found.expanded_u_text)
    foot = (
        (t("budget.standard"), "", "", "", sums[0], "", sums[1], ""),
        (t("budget.expanded"), "", "", "", expanded, "", "", coverage),
    )
    blocks: list[Block] = [Table(t("budget.title"), head, tuple(rows), wide=7, foot=foot)]
    missing = tuple(
        t("budget.not_included", name=t.word("source", part.name), why=told(part.reason, t))
        for part in budget.not_included
    )
    if missing:
        blocks.append(Lines(missing, "small"))
    return Section(t("budget.title"), tuple(blocks))


def _dof(dof: float | None, t: Texts) -> str:
    if dof is None:
        return "∞"
    return "> 1000" if dof > 1000 else t.short(dof)
