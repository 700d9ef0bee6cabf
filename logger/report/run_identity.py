"""What was tested, for whom and when; and by which method."""

from __future__ import annotations

from typing import Any

from logger.report.document import Facts, Section
from logger.report.run_sheet import RunSheet
from logger.report.texts import Texts
from logger.report.wording import NONE, limits_text, micrometres, person, said, seconds, typed_time, utc


def identity_section(sheet: RunSheet, t: Texts) -> Section:
    """Sample, people, place, times."""
    body, sample = sheet.body, sheet.body["sample"]
    rows = [
        (t("identity.sample"), said(sample["sample_id"])),
        (t("identity.lot"), said(sample["lot"])),
        (t("identity.point"), said(sample["point"])),
        (t("identity.sampled_at"), typed_time(sample["sampled_at"], t)),
        (t("identity.started_at"), utc(body["started_at"])),
        (t("identity.tested_at"), utc(body["tested_at"])),
        (t("identity.issued_at"), utc(sheet.issued_at)),
        (t("identity.operator"), person(body.get("operator_name"), body["operator_id"])),
        (t("identity.place"), f"{said(body['site'])}, {said(body['bench'])}"),
        (t("identity.run"), t("identity.run_value", number=sheet.number, revision=body["revision"])),
    ]
    portion = body.get("portion")
    if portion:
        carried = t("identity.carried", number=portion["from_run"], mass=t.short(portion["mass_g"], 9))
        rows.append((t("identity.portion"), carried))
    repeat = body.get("repeat")
    if repeat:
        rows.append((t("identity.repeat"), _repeat(repeat, t)))
    return Section(t("identity.title"), (Facts(tuple(rows)),), half=True)


def _repeat(repeat: dict[str, Any], t: Texts) -> str:
    earlier = [
        t(
            "identity.earlier",
            number=run["number"],
            outcome=t.word("outcome", run["outcome"]),
            residue=NONE if run["residue_pct"] is None else f"{t.fixed(run['residue_pct'], 2)} %",
        )
        for run in repeat["earlier"]
    ]
    return f"{said(repeat['reason'])} ({'; '.join(earlier)})"


def method_section(sheet: RunSheet, t: Texts) -> Section:
    """The method as frozen at the start."""
    method, frozen = sheet.body["method"], sheet.body["method"]["frozen"]
    suction, charge = frozen["suction"], frozen["charge"]
    rows = [
        (t("method.title_row"), said(method["title"])),
        (t("method.id"), t("method.id_value", id=said(method["id"]), revision=method["revision"])),
        (t("method.source"), said(method["source"])),
        (t("method.material"), said(frozen["method"]["material"])),
        (t("method.charge"), f"{t.short(charge['mass_g'])} g ± {t.short(charge['tolerance_g'])} g"),
        (t("method.aperture"), micrometres(sheet.body["aperture_um"], t)),
        (t("method.suction"), f"{t.short(suction['dp_pa'])} Pa ± {t.short(suction['band_pa'])} Pa"),
        (t("method.weighing"), t(f"method.mode_{method['mode']}")),
        (t("method.rule"), rule_text(frozen["endpoint"], t)),
        (t("method.limits"), limits_text(sheet.body["limits"], t)),
    ]
    rows += _preparation(frozen.get("preparation") or {}, t)
    approval = sheet.body.get("approval")
    if approval:
        rows.append((t("method.approved"), _approved(approval, t)))
    return Section(t("method.title"), (Facts(tuple(rows)),), half=True)


def _preparation(found: dict[str, Any], t: Texts) -> list[tuple[str, str]]:
    rows = []
    if found.get("drying"):
        rows.append((t("method.drying"), said(found["drying"])))
    if found.get("sieving_aid"):
        share = t.short(found["sieving_aid_pct"])
        rows.append((t("method.aid"), f"{said(found['sieving_aid'])}, {share} %"))
    return rows


def _approved(approval: dict[str, Any], t: Texts) -> str:
    by = person(approval["name"], approval["approved_by"])
    return t(
        "method.approved_value", by=by, at=utc(approval["approved_at"]), since=utc(approval["effective_from"])
    )


def rule_text(endpoint: dict[str, Any], t: Texts) -> str:
    """The rule that ends a run, with its figures."""
    rule = endpoint["rule"]
    if rule == "loss-rate":
        limit = endpoint["limit_pct_per_min"]
        text = t("rule.loss_rate", limit=t.short(limit), ceiling=t.short(limit * endpoint["margin"]))
    elif rule == "fixed-time":
        text = t("rule.fixed_time", time=seconds(endpoint["time_s"], t))
    else:
        text = _relative(endpoint, t)
    least, most = seconds(endpoint["min_time_s"], t), seconds(endpoint["max_time_s"], t)
    return t("rule.times", rule=text, least=least, most=most)


def _relative(endpoint: dict[str, Any], t: Texts) -> str:
    parts = []
    if endpoint["change_pct"] is not None:
        parts.append(t("rule.change_pct", value=t.short(endpoint["change_pct"])))
    if endpoint["change_g"] is not None:
        parts.append(t("rule.change_g", value=t.short(endpoint["change_g"])))
    text = t(f"rule.{endpoint['combine']}").join(parts)
    if endpoint["small_residue_pct"] is not None:
        small, change = t.short(endpoint["small_residue_pct"]), t.short(endpoint["small_change_pct"])
        text += t("rule.small", residue=small, change=change)
    return text
