"""One run as the service answers it: every part, bounded, from a real store with a real run in it."""

from __future__ import annotations

import json
from datetime import date
from pathlib import Path
from typing import Any

import pytest

from logger.app.history import questions
from logger.app.paths import DataFolder
from logger.core.correction import CorrectionFactor
from logger.core.reference_series import reference_series, series_chart
from logger.core.run.commands import Refused
from logger.service.queries import ANSWER_LIMIT, Handler
from logger.store.history import list_runs, run_readings, thinned_readings
from logger.store.history import reading as reading_of_store
from tests.app.stores import made_store
from tests.core.run.made_runs import method
from tests.hostile import KEPT, REFUSED
from tests.kept_history import Kept, keep_history, readings
from tests.store.quick_runs import keep, open_journal, real_run


@pytest.fixture(scope="module")
def ask(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Handler]:
    return questions(keep_history(DataFolder(tmp_path_factory.mktemp("bench"))))


def run(ask: dict[str, Handler], **args: Any) -> dict[str, Any]:
    answer = ask["run"](args)
    assert len(json.dumps(answer)) < ANSWER_LIMIT / 2
    assert isinstance(answer, dict)
    return answer


def test_a_run_is_answered_whole(ask: dict[str, Handler]) -> None:
    answer = run(ask, which="1")
    assert answer["run"]["run_id"] == answer["record"]["run_id"]
    assert answer["run"]["residue_pct"] == answer["record"]["assessment"]["residue_pct"]
    assert [one["revision"] for one in answer["revisions"]] == [1]
    assert answer["revisions"][0]["issued_at"].endswith("Z")
    texts = [event["text"] for event in answer["events"]]
    assert texts[0].startswith("Run planned: sample")
    assert any(event["mark"] == "endpoint" and event["elapsed_s"] == 60 for event in answer["events"])
    assert answer["events_left_out"] == 0
    curves = answer["curves"]
    assert len(curves["weighings"]) == len(answer["record"]["weighings"])
    assert curves["rates"][-1]["pct_per_min"] < curves["rates"][0]["pct_per_min"]
    highest = max(value for piece in curves["pressures"] for _, value in piece)
    assert highest == pytest.approx(2500, rel=0.1)


def test_only_what_is_asked_for_is_sent(ask: dict[str, Handler]) -> None:
    assert set(run(ask, which="1", parts=["curves"])) == {"run", "revisions", "curves"}
    assert set(run(ask, which="1", parts=[])) == {"run", "revisions"}


@pytest.mark.parametrize(
    ("args", "told"),
    [
        ({"which": "77"}, "There is no run 77"),
        ({"which": ""}, "There is no run"),
        ({}, "There is no run"),
        ({"which": 1}, "which must be text"),
        ({"which": "1", "revision": 9}, "has no revision 9"),
        ({"which": "1", "revision": "1"}, "revision must be a whole number"),
        ({"which": "1", "parts": "record"}, "parts must be a list"),
        ({"which": "1", "parts": ["all"]}, "parts must be a list"),
        ({"which": "1", "sql": "x"}, "takes no 'sql'"),
    ],
)
def test_what_cannot_be_meant_gets_a_sentence(
    ask: dict[str, Handler], args: dict[str, Any], told: str
) -> None:
    with pytest.raises(Refused, match=told):
        ask["run"](args)


def test_hostile_texts_are_answered_with_clean_sentences(ask: dict[str, Handler]) -> None:
    for text in (*KEPT.values(), *REFUSED.values()):
        for args in ({"which": text}, {"which": "1", text: 1}):
            with pytest.raises(Refused):
                ask["run"](args)


@pytest.mark.full
def test_a_whole_run_of_the_rig_is_answered_in_bounds(tmp_path: Path) -> None:
    data = DataFolder(tmp_path)
    journal = open_journal(data.store)
    keep(journal, real_run(), batches=200)
    journal.close()
    answer = run(questions(data), which="1")
    assert len(answer["curves"]["rates"]) == len(answer["record"]["weighings"]) - 1
    assert sum(map(len, answer["curves"]["pressures"])) > 200


def test_long_runs_are_thinned_evenly_and_keep_both_instruments(tmp_path: Path) -> None:
    keep_history(DataFolder(tmp_path), [Kept(live=True)])
    with reading_of_store(DataFolder(tmp_path).store) as connection:
        (row,) = list_runs(connection, 1)
        few = thinned_readings(connection, row.run_id, 50)
        whole = thinned_readings(connection, row.run_id, 10**6)
        assert whole == run_readings(connection, row.run_id) == readings(live=True)
    for channel in ("mass", "pressure"):
        times = [one.at_ns for one in few if one.channel.value == channel]
        assert 25 <= len(times) <= 50
        assert times == sorted(times)
    assert few[-1].at_ns > 0.95 * whole[-1].at_ns


def check(on: str, found_pct: float, sieve: str = "S-45-01", powder: str = "RP-7") -> CorrectionFactor:
    return CorrectionFactor(
        sieve_id=sieve,
        certified_pct=20.0,
        certified_u_pct=0.2,
        found_pct=found_pct,
        found_u_pct=0.1,
        checked_on=date.fromisoformat(on),
        certificate=powder,
    )


def test_reference_checks_become_series_by_sieve_and_powder() -> None:
    series = reference_series(
        [check("2026-03-01", 20.0), check("2026-01-01", 19.0), check("2026-02-01", 21.0, powder="RP-8")]
    )
    assert [(one.certificate, len(one.checks)) for one in series] == [("RP-7", 2), ("RP-8", 1)]
    assert [one.found_pct for one in series[0].checks] == [19.0, 20.0]
    few = series_chart(series[0])
    assert few["limits"] is None
    assert "8 or more" in few["why"]
    assert len(few["points"]) == 2


def test_a_series_with_a_start_has_limits_and_signals() -> None:
    values = [20.0, 20.2, 19.9, 20.1, 19.8, 20.0, 20.2, 19.9, 20.1, 23.0]
    (series,) = reference_series([check(f"2026-01-{n + 1:02}", value) for n, value in enumerate(values)])
    chart = series_chart(series)
    assert chart["limits"]["centre_pct"] == pytest.approx(sum(values[:8]) / 8)
    assert [point["signal"] for point in chart["points"]][-2:] == ["none", "action"]


def test_the_control_query_lists_series_and_draws_one(tmp_path: Path) -> None:
    store = made_store(tmp_path / "data")
    store.run(method())
    asked = questions(store.data)["control"]
    assert asked({}) == {"series": [], "chart": None}
    sieve = ("--by", "op-7", "--aperture", "45", "--frame", "200", "--standard", "ISO 3310-1:2016")
    assert store("sieves", "add", "S-45-01", *sieve).code == 0
    powder = ("--certificate", "RP-7", "--certified", "4.9", "--certified-u", "0.05")
    found = ("--found", "4.6", "--found-u", "0.05", "--on", "2026-01-12")
    assert store("sieves", "reference", "S-45-01", "--by", "op-7", *powder, *found).code == 0
    answer = asked({"sieve_id": "S-45-01", "certificate": "RP-7"})
    assert answer["series"] == [{"sieve_id": "S-45-01", "certificate": "RP-7", "checks": 1}]
    assert answer["chart"]["points"][0]["value_pct"] == 4.6
    with pytest.raises(Refused, match="never checked with the reference powder RP-9"):
        asked({"sieve_id": "S-45-01", "certificate": "RP-9"})
