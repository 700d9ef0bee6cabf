"""Missing numbers, against a set of all that came."""

from __future__ import annotations

from hypothesis import given, settings
from hypothesis import strategies as st

from logger.sink.ranges import Count, how_many


@settings(deadline=None, max_examples=200)
@given(st.lists(st.integers(1, 40), max_size=60))
def test_it_counts_as_a_set_does(seqs: list[int]) -> None:
    count, came = Count(), set[int]()
    for seq in seqs:
        assert count.has(seq) == (seq in came)
        if not count.has(seq):
            assert count.add(seq) == (seq < max(came, default=0))
            came.add(seq)
    missing = {number for first, last in count.missing for number in range(first, last + 1)}
    assert missing == set(range(1, max(came, default=0))) - came
    assert how_many(count.missing) == len(missing)
    assert count.missing == sorted(count.missing)
    assert all(a[1] + 1 < b[0] for a, b in zip(count.missing, count.missing[1:], strict=False))
