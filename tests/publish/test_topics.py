"""Topic levels come from a safe alphabet."""

from __future__ import annotations

import re

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from logger.publish.topics import KINDS, Topics, checked_slug


def test_topics_of_a_bench() -> None:
    subject = Topics("works-2", "a1")
    assert subject.of("record") == "lastgrain/v1/works-2/a1/record"
    assert {subject.of(kind) for kind in KINDS} == {f"{subject.base}/{kind}" for kind in KINDS}


@pytest.mark.parametrize(
    "value",
    ["", "A1", "a/b", "a+b", "#", "$sys", "a\tb", "a\x00", "a1\n", "-a", "a-", "ä", "a b", "a" * 41, "١"],
)
def test_refused_with_a_sentence_that_names_the_field(value: str) -> None:
    with pytest.raises(ValueError, match=r"^bench = .* cannot be a topic level: use lower-case"):
        Topics("lab", value)


@settings(deadline=None)
@given(st.text())
def test_whatever_passes_is_plain_ascii_without_wildcards(value: str) -> None:
    try:
        passed = checked_slug("site", value)
    except ValueError:
        return
    assert re.fullmatch("[a-z0-9-]{1,40}", passed, re.ASCII)
