"""The snapshot survives the trip through JSON text, and wrong data is refused with its place."""

from __future__ import annotations

import json
import math
from dataclasses import asdict, replace

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from logger.core.snapshot import Snapshot
from logger.core.snapshot_json import SnapshotError, snapshot_from_json, snapshot_to_json

FINITE = st.floats(allow_nan=False, allow_infinity=False)


def _trip(snapshot: Snapshot) -> Snapshot:
    return snapshot_from_json(json.loads(json.dumps(snapshot_to_json(snapshot), allow_nan=False)))


@settings(deadline=None, max_examples=50)
@given(st.from_type(Snapshot))
def test_a_snapshot_comes_back_equal(snapshot: Snapshot) -> None:
    assume(_finite(snapshot))
    assert _trip(snapshot) == snapshot


def _finite(snapshot: Snapshot) -> bool:
    try:
        json.dumps(asdict(snapshot), allow_nan=False)
    except ValueError:
        return False
    return True


@settings(deadline=None, max_examples=25)
@given(st.from_type(Snapshot), st.floats(), FINITE)
def test_numbers_that_are_not_finite_become_missing(snapshot: Snapshot, any_value: float, dp: float) -> None:
    mass = replace(snapshot.mass, value_g=any_value)
    encoded = snapshot_to_json(replace(snapshot, mass=mass))
    expected = any_value if math.isfinite(any_value) else None
    assert encoded["mass"]["value_g"] == expected


def _example() -> dict[str, object]:
    from tests.console.examples import sieving

    return json.loads(json.dumps(snapshot_to_json(sieving())))  # type: ignore[no-any-return]


def test_unknown_keys_are_passed_over() -> None:
    data = _example()
    expected = snapshot_from_json(data)
    data["something_new"] = 1
    data["mass"]["something_new"] = {}  # type: ignore[index]
    assert snapshot_from_json(data) == expected


def test_whole_numbers_are_read_as_floats() -> None:
    data = _example()
    data["speed"] = 60
    assert isinstance(snapshot_from_json(data).speed, float)


@pytest.mark.parametrize(
    ("path", "value", "sentence"),
    [
        (("state",), None, "snapshot.state must be str, not NoneType"),
        (("speed",), True, "snapshot.speed must be float, not bool"),
        (("speed",), math.inf, "snapshot.speed must be a finite number"),
        (("mass", "stable"), 1, "snapshot.mass.stable must be bool, not int"),
        (("mass",), [], "snapshot.mass must be an object, not list"),
        (("alarms",), {}, "snapshot.alarms must be a list, not dict"),
        (("links", 1, "state"), "fine", "snapshot.links[1].state must be one of up,"),
    ],
)
def test_a_wrong_value_is_refused_with_its_place(
    path: tuple[str | int, ...], value: object, sentence: str
) -> None:
    data = _example()
    target: object = data
    for key in path[:-1]:
        target = target[key]  # type: ignore[index]
    target[path[-1]] = value  # type: ignore[index]
    with pytest.raises(SnapshotError) as caught:
        snapshot_from_json(data)
    assert str(caught.value).startswith(sentence)


def test_a_missing_value_is_refused_with_its_place() -> None:
    data = _example()
    del data["pressure"]["lid"]  # type: ignore[attr-defined]
    with pytest.raises(SnapshotError, match=r"^snapshot\.pressure\.lid is missing$"):
        snapshot_from_json(data)
