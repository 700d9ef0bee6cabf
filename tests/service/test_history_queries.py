"""The list as the service answers it: bounded pages, every filter, and sentences for what cannot be meant."""

from __future__ import annotations

import json
from typing import Any

import pytest

from logger.service.history_queries import MOST_RUNS, history_queries
from logger.service.queries import ANSWER_LIMIT, Answer, Queries
from logger.store.history_reader import StoreHistory
from tests.hostile import KEPT, REFUSED, hidden
from tests.store.big_history import big_history, sample_of

pytestmark = pytest.mark.asyncio


@pytest.fixture(scope="module")
def queries(tmp_path_factory: pytest.TempPathFactory) -> Queries:
    path = big_history(tmp_path_factory.mktemp("history") / "s.sqlite", 450)
    return Queries(history_queries(StoreHistory(path), lambda facts, events, readings: None))


async def asked(queries: Queries, **args: Any) -> Answer:
    return await queries.answer({"what": "runs", **args})


async def test_a_page_is_bounded_and_says_how_it_goes_on(queries: Queries) -> None:
    seen: list[int] = []
    cursor = None
    while True:
        answer = await asked(queries, limit=MOST_RUNS, before=cursor)
        page = json.loads(answer.data)
        assert len(answer.data) < ANSWER_LIMIT / 4
        seen += [run["number"] for run in page["runs"]]
        cursor = page["cursor"]
        if cursor is None:
            break
    assert seen == list(range(450, 0, -1))


async def test_a_line_names_its_figures_and_units(queries: Queries) -> None:
    (run,) = json.loads((await asked(queries, text=sample_of(5))).data)["runs"]
    assert run["residue_pct"] == 10.5
    assert (run["number"], run["outcome"], run["decision"], run["review"]) == (
        5,
        "endpoint",
        "accept",
        "accepted",
    )
    assert (run["sieve_id"], run["revision"], run["simulated"]) == ("TS-5", 1, False)


@pytest.mark.parametrize(
    ("args", "told"),
    [
        ({"limit": 0}, "limit must be a whole number from 1 to"),
        ({"limit": MOST_RUNS + 1}, "limit must be"),
        ({"limit": "20"}, "limit must be"),
        ({"before": -1}, "before must be"),
        ({"before": 2**80}, "before must be"),
        ({"before": "x"}, "before must be"),
        ({"colour": "red"}, "takes no 'colour'; it takes: text,"),
        ({"outcome": ["endpoint"]}, "outcome must be text"),
        ({"text": {"$gt": ""}}, "text must be text"),
    ],
)
async def test_what_cannot_be_meant_gets_a_sentence(
    queries: Queries, args: dict[str, Any], told: str
) -> None:
    answer = await asked(queries, **args)
    assert not answer.ok
    assert told in answer.text


@pytest.mark.parametrize("field", ["text", "sample_id", "method_id", "sieve_id", "like", "since", "outcome"])
async def test_hostile_texts_find_nothing_and_harm_nothing(queries: Queries, field: str) -> None:
    for text in (*KEPT.values(), *REFUSED.values()):
        answer = await asked(queries, **{field: text})
        assert answer.ok or (answer.text and hidden(answer.text) == [])
    assert json.loads((await asked(queries, limit=1)).data)["runs"][0]["number"] == 450
