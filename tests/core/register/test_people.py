"""People, passwords as rules, approvals and files: what is kept, what is refused, and that an admin always stays."""

from __future__ import annotations

import dataclasses
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from logger.core.refusal import ResultError
from logger.core.register.enter import enter
from logger.core.register.events import RegisterEvent
from logger.core.register.events import RegisterKind as K
from logger.core.register.files import FoundFile, changed
from logger.core.register.methods import in_force, why_unapproved
from logger.core.register.password import LONGEST_WAIT_S, read_password, wait_after_s, wait_left_s
from logger.core.register.people import ROLES, find_person, unguarded
from logger.core.register.policy import CheckPolicy
from logger.core.register.state import fold_register
from logger.core.review import Proof
from logger.core.run.commands import Refused
from logger.core.run.plan import Sample, plain_json, sha256_json
from logger.core.run.start_people import check_approval, check_operator
from tests.core.register.entries import BALANCE, NOW, POLICY, SIEVE, Register
from tests.core.run.made_runs import method

MARK = "0" * 64
ANNA = {"id": "anna", "name": "Anna Adler", "roles": ["admin", "reviewer"]}
BRUNO = {"id": "bruno", "name": "Bruno Brandt", "roles": ["operator"]}


class Office(Register):
    """A register whose entries say how the person is known."""

    def by(
        self, kind: K, entry: dict[str, Any], by: str = "anna", proof: Proof = "password", why: str = "test"
    ) -> RegisterEvent:
        event = enter(
            kind,
            entry,
            by=by,
            why=why,
            utc=NOW,
            state=self.state,
            policy=self.policy,
            balance=BALANCE,
            proof=proof,
        )
        self.events.append(event)
        return event


def staffed(policy: CheckPolicy = POLICY) -> Office:
    """An admin with a password, and an operator without one."""
    office = Office(policy)
    office.by(K.PERSON_ADDED, ANNA, proof="typed")
    office.by(K.PASSWORD_SET, {"person_id": "anna", "fingerprint": MARK}, proof="typed")
    office.by(K.PERSON_ADDED, BRUNO)
    return office


def test_the_first_person_is_an_admin_and_the_rest_come_by_an_admins_password() -> None:
    office = Office()
    with pytest.raises(ResultError, match="the first person is an admin"):
        office.by(K.PERSON_ADDED, BRUNO, proof="typed")
    office = staffed()
    assert (office.state.people["bruno"].roles, unguarded(office.state.people)) == (("operator",), False)
    for by, proof, words in (
        ("anna", "typed", "need the password"),
        ("bruno", "password", "has no role admin"),
        ("carla", "password", "not registered"),
    ):
        with pytest.raises(Refused, match=words):
            office.by(K.PERSON_ADDED, {"id": "x", "name": "X", "roles": ["operator"]}, by=by, proof=proof)  # type: ignore[arg-type]


def test_an_id_is_never_given_twice_and_capitals_do_not_make_another() -> None:
    office = staffed()
    office.by(K.PERSON_RETIRED, {"person_id": "BRUNO"}, why="left")
    with pytest.raises(ResultError, match="taken"):
        office.by(K.PERSON_ADDED, BRUNO | {"id": "Bruno"})
    with pytest.raises(Refused, match="retired on this bench: left"):
        find_person(office.state.people, "bruno")


def test_everyone_sets_their_own_password_and_an_admin_that_of_others() -> None:
    office = staffed()
    entry = {"person_id": "bruno", "fingerprint": "1" * 64}
    office.by(K.PASSWORD_SET, entry, by="anna")
    assert office.state.people["bruno"].fingerprint == "1" * 64
    office.by(K.PASSWORD_SET, entry | {"fingerprint": "2" * 64}, by="bruno")
    with pytest.raises(Refused, match="has no role admin"):
        office.by(K.PASSWORD_SET, {"person_id": "anna", "fingerprint": "3" * 64}, by="bruno")
    with pytest.raises(Refused, match="need the password"):
        office.by(K.PASSWORD_SET, entry, by="bruno", proof="typed")


def test_once_there_are_people_every_entry_is_made_by_one_of_them() -> None:
    office = staffed()
    with pytest.raises(Refused, match="not registered"):
        office.by(K.SIEVE_ADDED, SIEVE, by="op-7", proof="typed")
    assert office.by(K.SIEVE_ADDED, SIEVE, by="bruno", proof="typed").by == "bruno"
    free = staffed(CheckPolicy(people="optional"))
    assert free.by(K.SIEVE_ADDED, SIEVE, by="op-7", proof="typed").by == "op-7"


def test_a_runs_operator_is_a_registered_operator() -> None:
    people = staffed().state.people
    sample = Sample(sample_id="S-1", operator_id="BRUNO")
    assert check_operator(sample, people, CheckPolicy()) == (
        Sample(sample_id="S-1", operator_id="bruno"),
        "Bruno Brandt",
    )
    for typed, words in (("op-7", "not registered"), ("anna", "no role operator")):
        stranger = Sample(sample_id="S-1", operator_id=typed)
        with pytest.raises(Refused, match=words):
            check_operator(stranger, people, CheckPolicy())
        assert check_operator(stranger, people, CheckPolicy(people="optional")) == (stranger, None)
        assert check_operator(stranger, {}, CheckPolicy()) == (stranger, None)


@settings(deadline=None)
@given(
    st.lists(
        st.tuples(
            st.sampled_from([K.PERSON_ADDED, K.PERSON_CHANGED, K.PERSON_RETIRED, K.PASSWORD_SET]),
            st.sampled_from(["anna", "bruno", "carla"]),
            st.sampled_from(["anna", "bruno", "carla"]),
            st.lists(st.sampled_from(ROLES), max_size=3),
            st.sampled_from(["typed", "password"]),
        ),
        max_size=25,
    )
)
def test_whatever_is_entered_an_admin_with_a_password_stays(steps: list[tuple[Any, ...]]) -> None:
    office, guarded = staffed(), True
    for kind, who, by, roles, proof in steps:
        entry = {"id": who, "person_id": who, "name": who.title(), "roles": roles, "fingerprint": MARK}
        try:
            office.by(kind, entry, by=by, proof=proof)
        except (Refused, ResultError):
            continue
        assert proof == "password", "a typed name changes nobody once there is a password"
        guarded = guarded and not unguarded(office.state.people)
    assert guarded
    assert fold_register(office.events) == office.state


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "missing"),
        (None, "missing"),
        ("short", "at least 8 characters"),
        ("12345", "at least 6 digits"),
        ("111111", "more than two different digits"),
        ("x" * 121, "at most 120"),
    ],
)
def test_a_weak_password_is_refused_without_saying_it(text: Any, words: str) -> None:
    with pytest.raises(ResultError, match=words) as refusal:
        read_password(text)
    assert not text or text not in str(refusal.value)


def test_a_pin_and_a_passphrase_are_taken_and_letters_are_normalised() -> None:
    assert read_password("480213") == "480213"
    assert read_password("Mu\u0308hle am Bach") == "M\u00fchle am Bach"


def test_wrong_passwords_cost_growing_waits() -> None:
    assert [wait_after_s(n) for n in (0, 2, 3, 4, 5)] == [0, 0, 5, 10, 20]
    assert wait_after_s(10**6) == LONGEST_WAIT_S
    assert wait_left_s(4, "2026-02-01T06:00:00.000Z", "2026-02-01T06:00:04.000Z") == 6
    assert wait_left_s(4, "2026-02-01T06:00:00.000Z", "2026-02-01T07:00:00.000Z") == 0
    assert wait_left_s(4, "2026-02-01T06:00:00.000Z", "2025-02-01T06:00:00.000Z") == 10, "clock set back"


def approve(office: Office, day: str = "2026-02-01", **other: Any) -> RegisterEvent:
    plain = plain_json(method())
    entry = {
        "method_id": method().method.id,
        "title": method().method.title,
        "revision": method().method.revision,
        "sha256": sha256_json(plain),
        "frozen": plain,
        "effective_from": day,
    }
    return office.by(K.METHOD_APPROVED, entry | other)


def test_a_method_is_in_force_from_its_day_until_the_next_revision_or_its_withdrawal() -> None:
    office, plain = staffed(), plain_json(method())
    approve(office, "2026-02-10")
    approvals = office.state.approvals
    assert approvals[0].name == "Anna Adler"
    assert why_unapproved(approvals, method(), plain, "2026-02-09") == "it is approved from 2026-02-10 on"
    assert why_unapproved(approvals, method(), plain, "2026-02-10") == ""
    other = plain | {"charge": plain["charge"] | {"mass_g": 1.0}}
    assert "charge.mass_g was 25.0" in why_unapproved(approvals, method(), other, "2026-02-10")
    approve(office, "2026-03-01", revision=9, sha256="9" * 64)
    assert "revision 9 is in force" in why_unapproved(office.state.approvals, method(), plain, "2026-03-01")
    entry = {"method_id": method().method.id, "revision": 9}
    office.by(K.METHOD_WITHDRAWN, entry, why="wrong limit")
    held = in_force(office.state.approvals, method().method.id, "2026-03-01")
    assert held is not None
    assert held.revision == method().method.revision


@pytest.mark.parametrize(
    ("other", "words"),
    [
        ({"effective_from": "2026-01-31"}, "is past"),
        ({"effective_from": "soon"}, "YYYY-MM-DD"),
        ({"sha256": "5" * 64}, "give the changed method the next revision"),
        ({}, "already"),
    ],
)
def test_approvals_that_cannot_be_meant_are_refused(other: dict[str, Any], words: str) -> None:
    office = staffed()
    approve(office)
    with pytest.raises(ResultError, match=words):
        approve(office, **({"day": "2026-02-01"} | other if "effective_from" not in other else other))


def test_who_approves_is_a_reviewer_or_an_admin_by_password() -> None:
    office = staffed()
    with pytest.raises(Refused, match="no role reviewer or admin"):
        office.by(K.METHOD_WITHDRAWN, {"method_id": "m", "revision": 1}, by="bruno")
    with pytest.raises(Refused, match="needs the password"):
        office.by(K.METHOD_WITHDRAWN, {"method_id": "m", "revision": 1}, proof="typed")


def test_an_unapproved_method_is_a_deviation_or_refused_once_any_is_approved() -> None:
    office, plain = staffed(), plain_json(method())
    nothing = check_approval(method(), plain, office.state, CheckPolicy(), NOW)
    assert nothing == (None, [])
    approve(office)
    held, notes = check_approval(method(), plain, office.state, CheckPolicy(), NOW)
    assert held is not None
    assert (held.approved_by, held.frozen, notes) == ("anna", {}, [])
    second = dataclasses.replace(method().method, revision=2)
    other = method(method=second)
    _, notes = check_approval(other, plain_json(other), office.state, CheckPolicy(), NOW)
    assert [key for key, _ in notes] == ["method-not-approved"]
    with pytest.raises(Refused, match="lastgrain method approve"):
        check_approval(other, plain_json(other), office.state, CheckPolicy(unapproved_method="blocks"), NOW)


def test_files_make_an_entry_only_when_they_changed() -> None:
    office = Office()
    bench = FoundFile(what="bench", name="bench.toml", sha256="a" * 64)
    files = changed(office.state.seen, [bench])
    assert files == [{"what": "bench", "name": "bench.toml", "sha256": "a" * 64, "before": ""}]
    office.by(K.FILES_SEEN, {"files": files}, by="service", proof="typed")
    assert changed(office.state.seen, [bench]) == []
    other = FoundFile(what="bench", name="bench.toml", sha256="b" * 64)
    assert changed(office.state.seen, [other])[0]["before"] == "a" * 64
