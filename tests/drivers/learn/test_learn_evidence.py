"""Spoilt bytes, garbage, overload marks and questions: what the evidence allows and what it does not."""

from __future__ import annotations

import random
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from drivers.learn.conclude import Known, Question, conclude
from drivers.learn.heard import CannotTell, Passage, Step
from drivers.learn.proof import prove
from drivers.line_codec import LineCodec
from drivers.reading import Quality
from drivers.units import Unit
from tests.drivers.learn.invented import Dialect, Shown, mark, mixed, named, net, text
from tests.drivers.learn.judging import judged, learned
from tests.drivers.learn.person import fresh, heard, load_steps


def dialect_named(name: str) -> Dialect:
    return next(dialect for dialect in named() if dialect.name == name)


def spoilt(passages: list[Passage], seed: int, share: float) -> list[Passage]:
    """Some bytes become others."""
    rng = random.Random(seed)

    def one(data: bytes) -> bytes:
        return bytes(rng.randrange(256) if rng.random() < share else byte for byte in data)

    return [
        replace(passage, chunks=tuple((one(data), at_ns) for data, at_ns in passage.chunks))
        for passage in passages
    ]


def test_a_few_spoilt_bytes_do_not_matter() -> None:
    dialect = dialect_named("letters-column")
    told = learned(dialect, spoilt(heard(dialect), 1, 0.001))

    assert judged(dialect, told, fresh(dialect, 1)) == ("right", "")


@pytest.mark.full
def test_spoilt_sessions_never_give_a_wrong_profile() -> None:
    told_right = 0
    for seed in range(50):
        dialect = mixed(40_000 + seed)
        try:
            told = learned(dialect, spoilt(heard(dialect), seed, 0.002))
        except CannotTell:
            continue
        word, why = judged(dialect, told, fresh(dialect, seed))
        assert word != "WRONG", f"seed {seed}: {why}"
        told_right += word.startswith("right")
    assert told_right >= 15


@given(st.lists(st.tuples(st.sampled_from(list(Step)), st.binary(max_size=80)), max_size=40))
@settings(deadline=None, max_examples=60)
def test_any_bytes_at_all_end_in_an_answer_or_a_reason(pieces: list[tuple[Step, bytes]]) -> None:
    passages = [Passage(step, ((data, i * 100_000_000),)) for i, (step, data) in enumerate(pieces)]
    with pytest.raises(CannotTell, match=r".{10}"):
        conclude(passages, Known())


FLOATING = Dialect(
    "floating", "g", 2, (mark("R", "M"), text(" "), net("float", 2, over="^^^^^^"), text(" g"))
)


@pytest.mark.parametrize(
    ("dialect", "mark"),
    [(FLOATING, "^^^^^^"), (dialect_named("carat-over"), "R    ^^^^^^ g")],
    ids=["slot", "line"],
)
def test_an_overload_that_is_heard_under_load_is_written(dialect: Dialect, mark: str) -> None:
    """In the place of the number where it fits there, else as the whole line."""
    passages = heard(dialect)
    at = next(i for i, passage in enumerate(passages) if passage.step is Step.LOADED)
    end_ns = passages[at].chunks[-1][1]
    over = dialect.line(Shown(load_steps(dialect), over=True))
    more = tuple((over, end_ns + (i + 1) * 10_000_000) for i in range(6))
    passages[at] = replace(passages[at], chunks=passages[at].chunks + more)

    told = learned(dialect, passages)

    assert told.profile.overload == (mark,)
    codec = LineCodec(told.profile)
    codec.receive(dialect.line(Shown(5)) + over, 0)
    assert [reading.quality for reading in codec.readings()] == [Quality.OVERLOAD]


def test_an_unheard_overload_is_refused_and_said() -> None:
    dialect = dialect_named("carat-over")
    told = learned(dialect, heard(dialect))

    assert any(text.startswith("No overload was heard") for text in told.not_heard)
    proof = prove(told.profile, [(dialect.line(Shown(5)), 0), (dialect.line(Shown(5, over=True)), 0)])
    assert (proof.lines, proof.read) == (1, 0)


def test_a_line_without_a_unit_is_asked_about() -> None:
    dialect = dialect_named("no-unit")
    asked = conclude(heard(dialect), Known())

    assert isinstance(asked, Question)
    assert asked.about == "unit"
    assert "g" in asked.choices
    told = learned(dialect, heard(dialect), Known(unit=Unit.G))
    assert any("does not name its unit" in text for text in told.not_heard)


def test_numbers_that_cannot_be_told_apart_are_no_profile() -> None:
    """Gross and net are the same as long as nobody tares."""
    dialect = dialect_named("gross-net-tare")

    with pytest.raises(CannotTell, match="2 numbers of the line were always the same"):
        learned(dialect, heard(dialect, tares=False))


def test_the_suction_of_a_transducer_that_shows_it_below_zero_is_negative() -> None:
    told = learned(dialect_named("kilopascal"), heard(dialect_named("kilopascal")))

    assert told.profile.suction == "negative"
