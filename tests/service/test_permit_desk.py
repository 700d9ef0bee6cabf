"""The permit on the service's desk: what goes out, what is shown, what is refused."""

from __future__ import annotations

from collections.abc import Awaitable, Callable

import pytest

from logger.core.readings import Channel, Reading
from logger.core.run.commands import Refused
from logger.core.run.engine import RunEngine
from logger.core.run.events import EventKind as E
from logger.core.run.plan import RunPlan, Sample
from logger.core.run.states import RunState
from logger.service.bench_service import BenchService
from logger.service.permit_desk import PermitDesk
from tests.core.run.plans import bench_plan, interval_method
from tests.service.bench import DeskBench


class Line:
    """Keeps what was said."""

    def __init__(self) -> None:
        self.said: list[bool] = []

    def set(self, granted: bool) -> None:
        self.said.append(granted)

    def answered_age_s(self) -> float | None:
        return 0.25 if self.said else None


def planned() -> RunEngine:
    plan = RunPlan(
        run_id="run",
        sample=Sample(sample_id="S", operator_id="O"),
        method=interval_method(),
        aperture_um=45.0,
        bench=bench_plan(),
        rig=None,
        software="test",
    )
    engine = RunEngine(plan, 0, lambda: "2026-01-05T06:00:00.000Z")
    engine.take_events()
    return engine


@pytest.fixture
def line() -> Line:
    return Line()


@pytest.fixture
def desk(line: Line) -> PermitDesk:
    desk = PermitDesk(line, "/dev/relay", "line")
    desk.set_link("up", "The permit relay answers at /dev/relay.")
    return desk


def sieving(now_ns: int) -> RunEngine:
    engine = planned()
    engine.run.facts.state = RunState.SIEVING
    engine.run.track(Reading(Channel.PRESSURE, now_ns, 2500.0))
    return engine


def test_it_is_said_at_every_tick_and_only_a_change_is_news(desk: PermitDesk, line: Line) -> None:
    assert [desk.update(None, 1), desk.update(None, 2)] == [True, False]
    engine = planned()
    assert [desk.update(engine, 3), desk.update(engine, 4)] == [True, False]
    assert line.said == [True, True, False, False]
    events = engine.take_events()
    assert [(event.kind, event.data["granted"]) for event in events] == [(E.PERMIT_CHANGED, False)]


def test_the_next_run_says_it_anew(desk: PermitDesk) -> None:
    first, second = planned(), planned()
    desk.update(first, 1)
    first.interrupt("stopped", 2)
    assert not desk.update(first, 3)
    assert desk.update(second, 4)
    assert [event.kind for event in second.take_events()] == [E.PERMIT_CHANGED]


def test_the_view_says_granted_or_withdrawn_and_why(desk: PermitDesk) -> None:
    desk.update(None, 1)
    view = desk.view()
    assert (view.channel, view.port, view.profile, view.state, view.age_s) == (
        "permit",
        "/dev/relay",
        "line",
        "up",
        0.25,
    )
    assert view.text == "Permit granted: no run is open."
    desk.update(planned(), 2)
    assert desk.view().text == "Permit withdrawn: the cautions are not acknowledged yet."
    desk.set_link("lost", "the link was lost.")
    assert (desk.view().state, desk.view().text) == ("lost", "the link was lost.")


def test_a_permit_withdrawn_while_the_jet_is_wanted_is_an_alarm(desk: PermitDesk) -> None:
    engine = sieving(10)
    desk.update(engine, 10)
    assert desk.alarms() == ()
    desk.update(engine, 10 + 3 * 10**9)
    assert [(alarm.key, alarm.text) for alarm in desk.alarms()] == [
        ("permit-withdrawn", "Permit withdrawn, the suction stops: the pressure is not known.")
    ]


def test_a_relay_that_is_away_is_an_alarm_while_the_jet_is_wanted_and_refuses_a_start(
    desk: PermitDesk,
) -> None:
    desk.require_up()
    desk.set_link("lost", "the link at /dev/relay was lost (unplugged or switched off): check the cable.")
    desk.update(planned(), 1)
    assert desk.alarms() == ()
    desk.update(sieving(2), 2)
    (alarm,) = desk.alarms()
    assert alarm.key == "permit-link"
    assert alarm.text.startswith("Permit relay: the link at /dev/relay was lost")
    with pytest.raises(Refused, match=r"^No run can start\. Permit relay: the link at /dev/relay was lost"):
        desk.require_up()


async def _lose_store(service: BenchService) -> None:
    service.store_lost("readings could not be kept")


ENDINGS: dict[str, Callable[[BenchService], Awaitable[object]]] = {
    "an abort": lambda service: service.command("abort", "op-7", {"reason": "smoke"}),
    "a hold": lambda service: service.command("hold", "op-7", {"reason": "smoke"}),
    "a lost store": lambda service: _lose_store(service),
    "the end of the service": lambda service: service.end_open_run("the service was stopped"),
}


@pytest.mark.asyncio
@pytest.mark.parametrize("what", ENDINGS)
async def test_what_ends_the_jet_withdraws_the_permit_at_once(
    desk: PermitDesk, line: Line, what: str
) -> None:
    """Not with the next tick, which is a second away while readings come."""
    bench = DeskBench()
    bench.clock.ns = 10**9
    service = bench.service
    service.permit, service.engine, service.run_id = desk, sieving(bench.clock.ns), "run"
    service.tick()
    assert all(line.said)
    await ENDINGS[what](service)
    assert not line.said[-1]
    if service._finishing is not None:
        await service._finishing


def test_a_free_bench_says_its_permit_with_every_reading(desk: PermitDesk, line: Line) -> None:
    """A permit that is not said again for two seconds lapses, and time alone speaks but once a second."""
    bench = DeskBench()
    bench.service.permit = desk
    bench.service.on_readings([Reading(Channel.MASS, 1, 0.0)])
    assert line.said == [True]
