"""A zero is taken only from a pressure at rest, with the suction off and no run under way."""

from __future__ import annotations

import pytest

from logger.core.run.commands import Refused
from logger.core.shift.zero import ZeroWatch


def _watched(values: list[float | None], free: bool = True) -> ZeroWatch:
    watch = ZeroWatch()
    for place, value in enumerate(values):
        watch.add(0.5 * place, value, free)
    return watch


def test_the_mean_of_the_last_seconds() -> None:
    assert _watched([500.0, 3.0, 1.0, 2.0, 2.0, 2.0, 2.0, 2.0, 2.0, 2.0, 2.0, 2.0]).taken_pa() == 2.0


@pytest.mark.parametrize(
    ("values", "free", "words"),
    [
        ([2.0] * 3, True, "watched for some seconds"),
        ([2.0] * 8, False, "A run is under way"),
        ([2400.0] * 8, True, "switch the suction off by hand"),
        ([-20.0, 20.0] * 4, True, "does not rest"),
        ([], True, "no valid reading"),
        ([2.0] * 8 + [None], True, "no valid reading"),
    ],
)
def test_what_is_no_zero(values: list[float | None], free: bool, words: str) -> None:
    with pytest.raises(Refused, match=words):
        _watched(values, free).taken_pa()
