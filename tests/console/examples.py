"""Snapshots of our own invention for the console's tests and screenshots."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from logger.core.snapshot import (
    AlarmView,
    BrokerView,
    EventView,
    Instruction,
    LinkView,
    MassView,
    MethodView,
    PressureView,
    RateView,
    ResultView,
    RunView,
    Snapshot,
    WeighingView,
)
from tests.hostile import SCREEN

CAUTIONS = (
    "Dust of this powder can explode in air: use only an extractor of the class named in your local rules.",
    "Bond sieve, unit, hose and extractor to earth; check the bonding strap before the first run.",
    "Look at the extractor's filter and empty the bag before it is full.",
    "Fine silica and potent dusts harm the lungs: wear the mask that your workplace prescribes.",
    "Wear ear protection: the jet is loud.",
    "Never pull at a lid under negative pressure: wait until the console says that it may be opened.",
    "This console is not a safety device. Local codes and licensed practice come first.",
)

METHODS = (
    MethodView(
        id="filler-32-live",
        title="Filler, residue on 32 µm, live",
        revision=3,
        summary="50 g, 2500 Pa ± 250 Pa, loss rate below 0.20 %/min",
    ),
    MethodView(
        id="excipient-32",
        title="Excipient, residue on 32 µm",
        revision=1,
        summary="20 g, 3000 Pa ± 300 Pa, weighed every 60 s",
    ),
    MethodView(
        id="cocoa-75",
        title="Cocoa powder, residue on 75 µm",
        revision=2,
        summary="10 g, 2000 Pa ± 200 Pa, fixed time 180 s",
    ),
)

LINKS = (
    LinkView(
        channel="mass",
        port="socket://127.0.0.1:7001",
        profile="bench-balance",
        state="up",
        age_s=0.1,
        text="10 readings a second",
    ),
    LinkView(
        channel="pressure",
        port="/dev/serial/by-id/usb-line-0001",
        profile="transducer-line",
        state="up",
        age_s=0.2,
        text="10 readings a second",
    ),
)

NO_RATE = RateView(
    rate_pct_per_min=None,
    rate_u_pct_per_min=None,
    limit_pct_per_min=0.2,
    text="No loss rate yet.",
    open_conditions=(),
    forecast_s=None,
    forecast_low_s=None,
    forecast_high_s=None,
)

RUN = RunView(
    run_id="0192f0a0-7c1e-7a33-9d55-3a2b1c0d9e8f",
    sample_id="MILL-2-0417",
    operator_id="j.tester",
    lot="L-2031",
    method_id="filler-32-live",
    method_title="Filler, residue on 32 µm, live",
    method_revision=3,
    mode="live",
    rule="loss-rate",
    aperture_um=32.0,
    charge_target_g=50.0,
    charge_tolerance_g=0.5,
    charge_g=None,
    tare_g=None,
    elapsed_s=None,
    effective_s=0.0,
    interval_done_s=0.0,
    interval_target_s=None,
    min_time_s=60.0,
    max_time_s=600.0,
    out_of_band_s=0.0,
    load_g=None,
    load_pct=None,
    weighings=(),
    rate=NO_RATE,
    result=None,
    held_reason="",
)

EVENTS = (
    EventView(
        seq=101,
        utc="2031-05-02T09:14:02.120Z",
        kind="state",
        level="info",
        text="Run planned for MILL-2-0417.",
    ),
    EventView(
        seq=102,
        utc="2031-05-02T09:14:31.480Z",
        kind="cautions",
        level="info",
        text="Cautions acknowledged by j.tester.",
    ),
    EventView(seq=103, utc="2031-05-02T09:15:10.020Z", kind="tare", level="info", text="Tare 412.08 g."),
    EventView(
        seq=104,
        utc="2031-05-02T09:16:02.900Z",
        kind="charge",
        level="info",
        text="Charge 50.12 g, within 50.00 g ± 0.50 g.",
    ),
    EventView(
        seq=105,
        utc="2031-05-02T09:16:48.310Z",
        kind="state",
        level="info",
        text="Suction found on; pressure in its band after 3.2 s.",
    ),
    EventView(
        seq=106,
        utc="2031-05-02T09:17:32.700Z",
        kind="pressure",
        level="warning",
        text="Pressure left its band for 4.1 s: effective time stood still.",
        mark="out-of-band",
        elapsed_s=92.0,
        effective_s=90.0,
    ),
    EventView(
        seq=107,
        utc="2031-05-02T09:18:05.010Z",
        kind="note",
        level="notice",
        text="Lid tapped (j.tester).",
        mark="tapped",
        elapsed_s=124.0,
        effective_s=118.0,
    ),
)


def idle() -> Snapshot:
    """No run: a new one may be started."""
    return Snapshot(
        software="0.1.0",
        site="works-a",
        bench="bench-2",
        arrangement="beside",
        speed=1.0,
        simulated=True,
        utc="2031-05-02T09:13:20.000Z",
        state="idle",
        instruction=Instruction(
            key="start-run", text="Start a new run", detail="Have sieve, sample and method at hand."
        ),
        can=("start", "release_controls"),
        alarms=(),
        links=LINKS,
        mass=MassView(value_g=0.0, stable=True, quality="ok", decimals=2, raw="S      0.00 g"),
        pressure=PressureView(
            dp_pa=3.0,
            quality="ok",
            nominal_pa=None,
            low_pa=None,
            high_pa=None,
            in_band=False,
            lid="Lid may be opened.",
        ),
        run=None,
        events=(),
        broker=BrokerView(
            state="up",
            text="connected to 127.0.0.1",
            waiting=0,
            set_aside=0,
            last_ack_age_s=12.0,
            insecure=True,
        ),
        methods=METHODS,
        cautions=CAUTIONS,
        controls_held_by="j.tester",
        you_hold_controls=True,
    )


def _with_run(state: str, instruction: Instruction, can: tuple[str, ...], **run: Any) -> Snapshot:
    return replace(
        idle(),
        state=state,
        instruction=instruction,
        can=(*can, "note", "stop", "abort", "release_controls"),
        run=replace(RUN, **run),
        pressure=_pressure(2.0, in_band=False, lid="Lid may be opened."),
    )


def _pressure(dp_pa: float, *, in_band: bool, lid: str) -> PressureView:
    return PressureView(
        dp_pa=dp_pa,
        quality="ok",
        nominal_pa=2500.0,
        low_pa=2250.0,
        high_pa=2750.0,
        in_band=in_band,
        lid=lid,
    )


UNDER = "Lid is held down by the pressure: do not pull."


def cautions_due() -> Snapshot:
    """A planned run whose cautions are not acknowledged."""
    return _with_run(
        "planned",
        Instruction(
            key="acknowledge-cautions",
            text="Read and acknowledge the cautions",
            detail="They go into the record with your name.",
        ),
        ("acknowledge",),
    )


def taring() -> Snapshot:
    """The empty sieve is on the balance."""
    snapshot = _with_run(
        "taring",
        Instruction(
            key="weigh-empty-sieve",
            text="Weigh the empty sieve",
            detail="Put the clean sieve on the balance, wait for the stable mark, then accept.",
        ),
        ("accept_weight", "type_weight"),
        mode="interval",
    )
    return replace(snapshot, mass=replace(snapshot.mass, value_g=412.08, raw="S    412.08 g"))


def suction_asked() -> Snapshot:
    """Everything is ready; the operator starts the suction at the rig."""
    return _with_run(
        "drawing_down",
        Instruction(
            key="suction-on",
            text="Switch the suction on by hand",
            detail="At the rig's own switch; bring the pressure to 2500 Pa (2250 to 2750).",
        ),
        (),
        charge_g=50.12,
        tare_g=412.08,
    )


def sieving() -> Snapshot:
    """A live run in the middle, everything in order."""
    snapshot = _with_run(
        "sieving",
        Instruction(
            key="keep-sieving",
            text="Sieving: keep the pressure in its band",
            detail="Tap the lid if powder clings, and press t when you do.",
        ),
        ("hold",),
        charge_g=50.12,
        tare_g=412.08,
        elapsed_s=184.2,
        effective_s=171.8,
        out_of_band_s=4.1,
        load_g=9.87,
        load_pct=19.69,
        rate=RateView(
            rate_pct_per_min=0.84,
            rate_u_pct_per_min=0.06,
            limit_pct_per_min=0.2,
            text="The loss rate is 4.2 times its limit.",
            open_conditions=("loss rate above 0.20 %/min", "margin of 1.25 not yet shown"),
            forecast_s=305.0,
            forecast_low_s=280.0,
            forecast_high_s=345.0,
        ),
    )
    return replace(
        snapshot,
        arrangement="under",
        utc="2031-05-02T09:19:52.000Z",
        mass=replace(snapshot.mass, value_g=421.95, stable=False, raw="SD   421.95 g"),
        pressure=_pressure(2483.0, in_band=True, lid=UNDER),
        events=EVENTS,
    )


def weighing() -> Snapshot:
    """An interval run at its fourth weighing, on hold for nobody."""
    loads = ((0.0, 20.04), (60.0, 8.91), (120.0, 5.62), (180.0, 4.87))
    snapshot = _with_run(
        "weighing",
        Instruction(
            key="weigh-load",
            text="Weigh sieve and load",
            detail="Lift the sieve over to the balance, wait for the stable mark, then accept.",
        ),
        ("accept_weight", "type_weight", "hold"),
        mode="interval",
        method_id="excipient-32",
        method_title="Excipient, residue on 32 µm",
        method_revision=1,
        charge_target_g=20.0,
        charge_g=20.04,
        tare_g=412.08,
        elapsed_s=402.0,
        effective_s=240.0,
        interval_done_s=60.0,
        interval_target_s=60.0,
        load_g=4.87,
        load_pct=24.3,
        weighings=tuple(
            WeighingView(effective_s=time, load_g=load, load_pct=100 * load / 20.04) for time, load in loads
        ),
        rate=RateView(
            rate_pct_per_min=3.743,
            rate_u_pct_per_min=0.071,
            limit_pct_per_min=0.2,
            text="Between the last two weighings.",
            open_conditions=("loss rate above 0.20 %/min",),
            forecast_s=None,
            forecast_low_s=None,
            forecast_high_s=None,
        ),
    )
    return replace(
        snapshot,
        utc="2031-05-02T09:22:10.000Z",
        mass=MassView(value_g=416.63, stable=True, quality="ok", decimals=2, raw="S    416.63 g"),
        events=EVENTS,
    )


def alarming() -> Snapshot:
    """Pressure too high and balance unplugged while sieving."""
    snapshot = sieving()
    lost = replace(
        LINKS[0],
        state="lost",
        age_s=4.2,
        text="Port is gone: look at the cable; it is looked for each second.",
    )
    return replace(
        snapshot,
        alarms=(
            AlarmView(
                key="pressure-high", level="alarm", text="Pressure 3320 Pa is above 3000 Pa: open the bypass."
            ),
            AlarmView(
                key="balance-lost", level="warning", text="No mass for 4 s: the balance's port is gone."
            ),
        ),
        links=(lost, LINKS[1]),
        mass=replace(snapshot.mass, value_g=None, quality="stale"),
        pressure=_pressure(3320.0, in_band=False, lid=UNDER),
        broker=replace(snapshot.broker, state="down", text="no route", waiting=37, last_ack_age_s=312.0),
        controls_held_by="a.second",
        you_hold_controls=False,
        can=("take_controls",),
    )


def held() -> Snapshot:
    """A run on hold."""
    snapshot = sieving()
    run = replace(snapshot.run or RUN, held_reason="sieve looks torn")
    return replace(
        snapshot,
        state="held",
        run=run,
        can=("resume", "stop", "abort", "note"),
        instruction=Instruction(
            key="resume",
            text="On hold: resume, stop or abort",
            detail="Effective time stands still. Longest hold 300 s.",
        ),
        pressure=_pressure(1.0, in_band=False, lid="Lid may be opened."),
    )


def finished() -> Snapshot:
    """A run that reached its endpoint and waits for review."""
    snapshot = weighing()
    result = ResultView(
        outcome="endpoint",
        residue_pct=23.41,
        residue_u_pct=0.12,
        passing_pct=76.59,
        residue_g=4.69,
        reason="Loss rate 0.11 %/min between the last two weighings, limit 0.20 %/min.",
        decision="accept",
        decided="at most 25 %",
    )
    run = replace(snapshot.run or RUN, result=result)
    return replace(
        snapshot,
        state="awaiting_review",
        run=run,
        instruction=Instruction(
            key="close-run", text="Finished: residue 23.41 %", detail="The record is kept. Clean the sieve."
        ),
        can=("close", "release_controls"),
    )


HOSTILE = SCREEN
"""Texts that a scanner, an instrument or a person might send."""


def hostile(text: str) -> Snapshot:
    """The given text wherever text comes from outside."""
    snapshot = alarming()
    run = replace(
        snapshot.run or RUN,
        sample_id=text,
        operator_id=text,
        lot=text,
        method_title=text,
        method_id=text,
        held_reason=text,
        rate=replace(NO_RATE, text=text, open_conditions=(text, text)),
    )
    return replace(
        snapshot,
        run=run,
        site=text,
        bench=text,
        state=text,
        instruction=Instruction(key=text, text=text, detail=text),
        alarms=(AlarmView(key=text, level="alarm", text=text),),
        links=tuple(replace(link, text=text, port=text, profile=text) for link in snapshot.links),
        mass=replace(snapshot.mass, raw=text, quality=text),
        pressure=replace(snapshot.pressure, quality=text, lid=text),
        events=tuple(replace(event, text=text, kind=text, utc=text) for event in snapshot.events),
        broker=replace(snapshot.broker, text=text),
        methods=tuple(replace(each, id=text, title=text, summary=text) for each in METHODS),
        cautions=(text,) * 3,
        controls_held_by=text,
    )


ALL = {
    "idle": idle,
    "cautions_due": cautions_due,
    "taring": taring,
    "suction_asked": suction_asked,
    "sieving": sieving,
    "weighing": weighing,
    "alarming": alarming,
    "held": held,
    "finished": finished,
}
