"""Reviews of a record: who may, what follows, and that nothing of any revision is ever lost."""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from logger.core.record import ChainHead
from logger.core.register.events import RegisterEvent, RegisterKind
from logger.core.register.people import Person, apply_person
from logger.core.review import ReviewKind, review_lines, review_text, standing_signature
from logger.core.review_steps import (
    Step,
    author_of,
    correct,
    invalidate,
    next_body,
    sign,
    typed_author,
)
from logger.core.run.commands import Refused
from logger.core.run.events import Event
from logger.core.run.events import EventKind as E
from logger.core.run.facts import RunFacts, fold
from logger.core.run.plan import sha256_json
from logger.core.run.recompute import read_changes, recomputed
from tests.core.run.made_runs import live_method
from tests.core.run.plans import bench_plan
from tests.core.typed_runs import METHOD, standing, typed_events

UTC = "2026-02-02T07:00:00.000Z"
ADDED = "2026-01-01T00:00:00.000Z"
PEOPLE = {
    name: Person(id=name, name=name.title(), roles=roles, added_utc=ADDED)  # type: ignore[arg-type]
    for name, roles in {
        "rosa": ("reviewer",),
        "rolf": ("operator", "reviewer"),
        "anna": ("admin",),
        "op-7": ("operator", "reviewer"),
    }.items()
}
HEAD = ChainHead(9, "9" * 64)


def signed(body: dict[str, Any], who: str = "rosa", kind: ReviewKind = ReviewKind.ACCEPTED) -> dict[str, Any]:
    why = "spilt" if kind is ReviewKind.REJECTED else ""
    return next_body(body, sign(body, PEOPLE[who], kind, why, UTC), HEAD, 30)


def changed(body: dict[str, Any], events: Sequence[Event], wanted: dict[str, Any]) -> tuple[Step, RunFacts]:
    facts = fold(events)
    changes = read_changes(body, facts, wanted)
    fields = recomputed(facts, changes, METHOD, bench_plan().balance, None)
    return correct(body, changes, fields, author_of(PEOPLE["rolf"]), "wrong label", UTC), facts


def test_a_signature_says_who_what_when_and_over_which_revision() -> None:
    before = standing().body
    body = signed(before)
    (signature,) = body["signatures"]
    assert (body["revision"], body["review"]) == (2, "accepted")
    assert (signature["name"], signature["role"], signature["meaning"]) == (
        "Rosa",
        "reviewer",
        "reviewed and accepted",
    )
    assert (signature["utc"], signature["method"]) == (UTC, "password")
    assert (signature["revision"], signature["record_sha256"]) == (1, before["record_sha256"])
    assert body["journal"] == {"events": 30, "head_batch": 9, "head_sha256": "9" * 64}
    assert standing_signature(body) == signature
    assert review_text(body) == "reviewed and accepted by Rosa (rosa) on 2026-02-02"
    assert body["result"] == before["result"]


@pytest.mark.parametrize(
    "typed", ["ROSA", "Rosa  Berg", " rosa\u00a0berg", "\uff32osa Berg", "Rosa Stein", "rosa stein "]
)
def test_no_blank_capital_wide_letter_or_former_name_makes_another_person(typed: str) -> None:
    rosa = replace(PEOPLE["rosa"], name="Rosa Berg", former_names=("Rosa Stein",))
    body = standing().body | {"operator_id": typed}
    with pytest.raises(Refused, match="was the operator of this run"):
        sign(body, rosa, ReviewKind.ACCEPTED, "", UTC)
    assert sign(standing().body, rosa, ReviewKind.ACCEPTED, "", UTC).data["name"] == "Rosa Berg"


def test_a_name_that_is_changed_is_remembered() -> None:
    data = {"person_id": "rosa", "name": "Rosa Berg", "roles": ["reviewer"]}
    event = RegisterEvent(RegisterKind.PERSON_CHANGED, UTC, "anna", "married", data)
    assert apply_person(PEOPLE, event)["rosa"].former_names == ("Rosa",)
    roles = replace(event, data=data | {"name": "Rosa", "roles": ["operator"]})
    assert apply_person(PEOPLE, roles)["rosa"].former_names == ()


@pytest.mark.parametrize("kind", [E.HELD, E.RESUMED, E.STOPPED, E.PRESSURE_RELEASED, E.SIEVE_CARED])
def test_who_worked_in_the_run_under_the_operators_name_does_not_review_it(kind: E) -> None:
    body = standing().body
    with pytest.raises(Refused, match="had a hand in this run"):
        sign(body, PEOPLE["rosa"], ReviewKind.ACCEPTED, "", UTC, [Event(kind, 0, UTC, {"by": "Rosa"})])
    others = [Event(kind, 0, UTC, {"by": "lastgrain"}), Event(E.NOTED, 0, UTC, {"by": "Rosa"})]
    assert sign(body, PEOPLE["rosa"], ReviewKind.ACCEPTED, "", UTC, others).closes


def test_who_typed_a_weight_does_not_review_it() -> None:
    body = standing().body
    typed = Event(
        E.LOAD_WEIGHED, 0, UTC, {"gross_g": 400.95, "typed": True, "by": "Rosa", "reason": "display"}
    )
    with pytest.raises(Refused, match="had a hand in this run"):
        sign(body, PEOPLE["rosa"], ReviewKind.ACCEPTED, "", UTC, [typed])
    read = replace(typed, data={"gross_g": 400.95})
    older = replace(typed, data={"gross_g": 400.95, "typed": True, "reason": "display"})
    assert sign(body, PEOPLE["rosa"], ReviewKind.ACCEPTED, "", UTC, [read, older]).closes


@pytest.mark.parametrize(
    ("who", "words"),
    [("op-7", "was the operator of this run"), ("anna", "is no reviewer")],
)
def test_neither_the_operator_nor_someone_without_the_role_signs(who: str, words: str) -> None:
    with pytest.raises(Refused, match=words):
        signed(standing().body, who)


def test_a_typed_operator_is_recognised_by_name_whatever_the_capitals() -> None:
    body = standing().body | {"operator_id": " ROSA "}
    with pytest.raises(Refused, match="another reviewer"):
        signed(body)


def test_a_rejection_needs_a_reason_and_is_not_signed_again() -> None:
    body = standing().body
    with pytest.raises(Refused, match="Say why the run is rejected"):
        sign(body, PEOPLE["rosa"], ReviewKind.REJECTED, " ", UTC)
    rejected = signed(body, kind=ReviewKind.REJECTED)
    assert (rejected["review"], rejected["result"]) == ("rejected", body["result"])
    with pytest.raises(Refused, match="correct it first"):
        signed(rejected, "rolf")


def test_a_correction_keeps_what_was_before_and_asks_for_a_new_review() -> None:
    seen = standing()
    accepted = signed(seen.body)
    step, _ = changed(accepted, seen.events, {"lot": "L-2", "sample_id": "S-1", "remark": "label read again"})
    body = next_body(accepted, step, HEAD, 31)
    assert (body["review"], body["revision"], body["sample"]["lot"]) == ("unreviewed", 3, "L-2")
    assert body["corrections"][0]["changes"] == [
        {"what": "sample.lot", "before": "", "after": "L-2"},
        {"what": "remark", "before": None, "after": "label read again"},
    ]
    assert (standing_signature(body), body["signatures"]) == (None, accepted["signatures"])
    with pytest.raises(Refused, match="has corrected this run"):
        signed(body, "rolf")
    again = signed(body)
    assert [line.split(": ", 1)[1] for line in review_lines(again)] == [
        "reviewed and accepted as reviewer by Rosa (rosa)",
        "corrected sample.lot nothing to 'L-2', remark: label read again by Rolf (rolf): wrong label",
        "reviewed and accepted as reviewer by Rosa (rosa)",
    ]


def test_a_typed_weighing_is_computed_again_as_the_run_would_have_done() -> None:
    seen = standing()
    step, facts = changed(seen.body, seen.events, {"weighings": {"2": 400.94}})
    body = next_body(seen.body, step, HEAD, 31)
    assert body["weighings"][2]["load_g"] == pytest.approx(0.94)
    assert body["result"]["residue_pct"] == pytest.approx(100 * 0.94 / 25)
    assert body["assessment"]["residue_pct"] == pytest.approx(100 * 0.94 / 25)
    assert set(body["result"]) == set(seen.body["result"])
    assert set(body["assessment"]) == set(seen.body["assessment"])
    told = Event(step.kind, 0, UTC, step.data)
    again = fold([*seen.events, told])
    assert [w.load_g for w in again.weighings] == [w.load_g for w in facts.weighings], "every fold sees it"


def test_what_is_computed_again_unchanged_gives_the_same_figures() -> None:
    """There and back: the figures of a run depend on nothing but what was entered."""
    seen = standing()
    there, _ = changed(seen.body, seen.events, {"tare_g": 400.01})
    body = next_body(seen.body, there, HEAD, 31)
    events = [*seen.events, Event(there.kind, 0, UTC, there.data)]
    back, _ = changed(body, events, {"tare_g": 400.0})
    final = next_body(body, back, HEAD, 32)
    for part in ("tare_g", "weighings", "result", "assessment"):
        assert final[part] == seen.body[part]


@pytest.mark.parametrize(
    ("wanted", "words"),
    [
        ({}, "Nothing is different"),
        ({"lot": ""}, "Nothing is different"),
        ({"operator_id": "x"}, "called operator_id"),
        ({"sample_id": " "}, "A run has a sample"),
        ({"weighings": {"9": 1.0}}, "no weighing '9'"),
        ({"weighings": {"2": "1"}}, "must be a mass in g"),
        ({"weighings": {"2": float("nan")}}, "must be a mass in g"),
        ({"weighings": {"0": 430.0}}, "The charge would be 30 g"),
        ({"weighings": {"2": 405.0}}, "the load would rise"),
        ({"weighings": {"2": 399.0}}, "below nothing"),
    ],
)
def test_what_cannot_be_put_right_is_refused(wanted: dict[str, Any], words: str) -> None:
    seen = standing()
    with pytest.raises(Refused, match=words):
        changed(seen.body, seen.events, wanted)


def test_an_endpoint_that_would_be_none_is_not_computed_again() -> None:
    seen = standing()
    with pytest.raises(Refused, match="would not have stopped there"):
        changed(seen.body, seen.events, {"weighings": {"1": 401.9}})


def test_an_endpoint_that_would_have_come_before_is_not_computed_again() -> None:
    """The run would have ended at the weighing before; what it lost afterwards is no part of that result."""
    tired = dataclasses.replace(METHOD, endpoint=dataclasses.replace(METHOD.endpoint, limit_pct_per_min=20.0))
    seen = standing(typed_events(tired))
    facts = fold(seen.events)
    changes = read_changes(seen.body, facts, {"weighings": {"1": 424.0}})
    with pytest.raises(Refused, match="would have ended at weighing 1"):
        recomputed(facts, changes, tired, bench_plan().balance, None)


def test_a_run_that_was_stopped_or_ran_out_of_time_keeps_the_decision_to_go_on() -> None:
    for outcome, words in ((E.STOPPED, "stopped"), (E.TIME_LIMIT_REACHED, "time-limit")):
        strict = dataclasses.replace(
            METHOD, endpoint=dataclasses.replace(METHOD.endpoint, limit_pct_per_min=0.1)
        )
        seen = standing(typed_events(strict, outcome))
        facts = fold(seen.events)
        changes = read_changes(seen.body, facts, {"weighings": {"2": 400.94}})
        fields = recomputed(facts, changes, strict, bench_plan().balance, None)
        assert (facts.outcome, fields["result"]["residue_g"]) == (words, pytest.approx(0.94))
        assert facts.decision["stop"] is False
        changes = read_changes(seen.body, facts, {"weighings": {"2": 401.0}})
        with pytest.raises(Refused, match="would have ended at weighing 2"):
            recomputed(fold(seen.events), changes, strict, bench_plan().balance, None)


def test_a_mass_that_was_read_and_a_live_run_are_not_computed_again() -> None:
    read = standing(typed_events(typed=False))
    for wanted in ({"tare_g": 400.1}, {"weighings": {"2": 400.9}}):
        with pytest.raises(Refused, match="read from the balance, not typed"):
            changed(read.body, read.events, wanted)
    live = standing(typed_events(live_method()))
    facts = fold(live.events)
    changes = read_changes(live.body, facts, {"tare_g": 400.1})
    with pytest.raises(Refused, match="while the jet ran"):
        recomputed(facts, changes, live_method(), bench_plan().balance, None)


def test_an_invalid_run_can_never_be_read_as_a_result() -> None:
    accepted = signed(standing().body)
    step = invalidate(accepted, author_of(PEOPLE["anna"]), "sieve torn", UTC)
    body = next_body(accepted, step, HEAD, 31)
    assert (body["outcome"], body["review"], body["result"], body["assessment"]) == (
        "invalid",
        "rejected",
        None,
        None,
    )
    assert body["invalidation"]["outcome"] == "endpoint"
    assert standing_signature(body) is None
    assert "declared invalid by Anna" in review_text(body)
    for again in (
        lambda: signed(body, "rolf"),
        lambda: invalidate(body, author_of(PEOPLE["anna"]), "x", UTC),
        lambda: changed(body, standing().events, {"lot": "x"}),
    ):
        with pytest.raises(Refused, match="nothing follows that but a new run"):
            again()


def test_a_run_without_a_result_is_signed_but_not_declared_invalid() -> None:
    aborted = standing().body | {"outcome": "aborted", "result": None}
    assert signed(aborted)["review"] == "accepted"
    with pytest.raises(Refused, match="there is no result to declare invalid"):
        invalidate(aborted, typed_author("op-7"), "x", UTC)


def test_a_record_of_a_version_that_knew_no_reviews_is_signed() -> None:
    old = {k: v for k, v in standing().body.items() if k not in ("signatures", "corrections", "invalidation")}
    assert signed(old)["corrections"] == []


STEPS = st.lists(
    st.tuples(
        st.sampled_from(["accept", "reject", "correct", "invalidate"]),
        st.sampled_from(sorted(PEOPLE)),
        st.sampled_from(["", "reason"]),
        st.sampled_from(["L-1", "L-2", ""]),
    ),
    max_size=12,
)


def _wish(body: dict[str, Any], events: Sequence[Event], wish: tuple[str, str, str, str]) -> Step:
    do, who, why, lot = wish
    if do == "correct":
        facts = fold(events)
        changes = read_changes(body, facts, {"lot": lot})
        return correct(body, changes, {}, author_of(PEOPLE[who]), why, UTC)
    if do == "invalidate":
        return invalidate(body, author_of(PEOPLE[who]), why, UTC)
    kind = ReviewKind.ACCEPTED if do == "accept" else ReviewKind.REJECTED
    return sign(body, PEOPLE[who], kind, why, UTC)


@settings(deadline=None, max_examples=150)
@given(STEPS)
def test_whatever_people_do_nothing_is_lost_and_nobody_signs_their_own(
    wishes: list[tuple[str, str, str, str]],
) -> None:
    seen = standing()
    revisions, events = [seen.body], list(seen.events)
    for wish in wishes:
        before = revisions[-1]
        try:
            step = _wish(before, events, wish)
        except Refused:
            continue
        after = next_body(before, step, HEAD, len(events))
        revisions.append(after)
        events.append(Event(step.kind, 0, UTC, step.data))
        _check(before, after)
    assert [body["revision"] for body in revisions] == list(range(1, len(revisions) + 1))
    assert fold(events).state is fold(seen.events).state, "a review is no move of the run by itself"


def _check(before: dict[str, Any], after: dict[str, Any]) -> None:
    plain = {name: value for name, value in after.items() if name != "record_sha256"}
    assert after["record_sha256"] == sha256_json(plain)
    for part in ("signatures", "corrections"):
        assert after[part][: len(before.get(part) or ())] == list(before.get(part) or ())
    assert not before["invalidation"], "nothing follows an invalidation"
    if after["invalidation"]:
        assert after["result"] is None
        assert after["review"] == "rejected"
    else:
        assert after["result"] == before["result"], "no step here changes a figure"
    if after["review"] == "accepted":
        signature = after["signatures"][-1]
        correctors = {made["person_id"] for made in after["corrections"]}
        assert signature["person_id"] not in {after["operator_id"], *correctors}
        assert signature["record_sha256"] == before["record_sha256"]


def test_a_correction_is_told_in_a_sentence() -> None:
    from logger.core.run.words import event_level, event_text

    seen = standing()
    step, _ = changed(seen.body, seen.events, {"lot": "L-2"})
    assert event_text(step.kind, step.data) == "Corrected by Rolf (sample.lot): wrong label."
    signature = sign(seen.body, PEOPLE["rosa"], ReviewKind.ACCEPTED, "", UTC)
    assert event_text(signature.kind, signature.data) == "Run reviewed and accepted by Rosa (rosa)."
    assert event_level(Event(E.DECLARED_INVALID, 0, UTC, {})) == "alarm"
