from hypothesis import given
from hypothesis import strategies as st

from logger.core.readings import Channel, Quality, Reading
from logger.publish.bodies import ReadingsBody
from logger.service.readings_blocks import MOST_ROWS, ReadingsBlocks, shift_utc

UTC = "2026-01-05T06:00:00.000Z"


def mass(t_s: float, value: float | None = 400.0) -> Reading:
    quality = Quality.OK if value is not None else Quality.OVERLOAD
    return Reading(Channel.MASS, int(t_s * 1e9), value, quality, True, 0.001, "m")


def pressure(t_s: float, value: float) -> Reading:
    return Reading(Channel.PRESSURE, int(t_s * 1e9), value, Quality.OK, None, 1.0, "p")


def test_a_block_is_due_after_ten_seconds_and_carries_the_pressure_beside_each_mass() -> None:
    blocks = ReadingsBlocks(speed=1.0)
    for reading in (pressure(0, 2500.0), mass(0.1), pressure(5, 2400.0), mass(5.1), mass(6, None)):
        blocks.add(reading)
    assert not blocks.due(int(10e9))
    assert blocks.due(int(10.1e9))
    body = blocks.take("run", int(1e9), UTC)
    assert body is not None
    assert body["t_s"] == [-0.9, 4.1, 5.0]
    assert body["mass_g"] == [400.0, 400.0, None]
    assert body["dp_pa"] == [2500.0, 2400.0, 2400.0]
    ReadingsBody.model_validate(body)
    assert blocks.take("run", 0, UTC) is None


def test_a_fast_bench_clock_makes_longer_blocks() -> None:
    blocks = ReadingsBlocks(speed=60.0)
    blocks.add(mass(0))
    assert not blocks.due(int(599e9))
    assert blocks.due(int(600e9))


def test_a_flood_closes_the_block_early() -> None:
    blocks = ReadingsBlocks(speed=1.0)
    for k in range(MOST_ROWS):
        blocks.add(mass(k / 1000))
    assert blocks.due(int(4e9))


@given(st.lists(st.booleans(), max_size=60))
def test_every_mass_reading_is_in_exactly_one_block(cuts: list[bool]) -> None:
    blocks, seen = ReadingsBlocks(speed=1.0), []
    for k, cut in enumerate(cuts):
        blocks.add(mass(k, float(k)))
        if cut:
            seen += (blocks.take("run", 0, UTC) or {"mass_g": []})["mass_g"]
    seen += (blocks.take("run", 0, UTC) or {"mass_g": []})["mass_g"]
    assert seen == [float(k) for k in range(len(cuts))]


def test_a_wall_time_is_shifted_across_midnight() -> None:
    assert shift_utc("2026-01-05T00:00:01.250Z", -2.5) == "2026-01-04T23:59:58.750Z"
