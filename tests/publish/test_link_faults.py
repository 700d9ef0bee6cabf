"""Each way a broker can fail, said by a peer that speaks raw packets; what is shown and what is kept."""

from __future__ import annotations

import asyncio
import logging
import socket
from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import NoReturn

import pytest

from logger.core.backoff import RetryRules
from logger.publish.client import open_link, publish_timeout_s
from logger.publish.errors import ConnectFailed, LinkLost, PublishTimeout
from logger.publish.sender import Publisher
from logger.publish.session import MOST_TRIES
from logger.publish.settings import BrokerSettings
from tests.publish.listener import running, until
from tests.publish.memory_outbox import MemoryOutbox, WallClock
from tests.publish.raw_broker import RawBroker, raw_broker
from tests.publish.samples import EVENT, LIVE

pytestmark = pytest.mark.asyncio

FAST = RetryRules(first_s=0.02, cap_s=0.05, slow_s=0.3, most_per_minute=500)


def settings(port: int, publish_timeout_s: float = 0.4, beat_s: float = 10.0) -> BrokerSettings:
    return BrokerSettings(
        host="127.0.0.1",
        port=port,
        client_id="faults",
        insecure=True,
        publish_timeout_s=publish_timeout_s,
        beat_s=beat_s,
    )


def publisher(port: int, outbox: MemoryOutbox, *, beat_s: float = 10.0) -> Publisher:
    return Publisher(settings(port, beat_s=beat_s), "lab", "a1", outbox, WallClock(), rules=FAST)


def outbox_of(count: int) -> MemoryOutbox:
    outbox = MemoryOutbox()
    for _ in range(count):
        outbox.add("event", EVENT)
    return outbox


@pytest.fixture
def closed_port() -> Iterator[int]:
    """Bound but not listening: a connection is refused, and nobody else takes it."""
    with socket.socket() as held:
        held.bind(("127.0.0.1", 0))
        yield held.getsockname()[1]


async def connect_sentence(subject: BrokerSettings) -> str:
    with pytest.raises(ConnectFailed) as caught:
        async with open_link(subject):
            pass
    return caught.value.sentence


async def test_nothing_listens(closed_port: int) -> None:
    assert "Nothing listens at" in await connect_sentence(settings(closed_port))


async def test_unknown_host_name() -> None:
    subject = BrokerSettings(host="no-such-host.invalid", client_id="x", insecure=True)
    assert "no-such-host.invalid is not known" in await connect_sentence(subject)


async def test_takes_the_connection_and_stays_silent() -> None:
    async with raw_broker(RawBroker(connack=None)) as broker:
        assert "gave no MQTT 5 answer" in await connect_sentence(settings(broker.port))


async def test_takes_the_connection_and_never_answers_tls() -> None:
    with socket.create_server(("127.0.0.1", 0)) as silent:
        port = silent.getsockname()[1]
        subject = BrokerSettings(host="127.0.0.1", port=port, client_id="x", publish_timeout_s=0.4)
        assert "no TLS answer" in await connect_sentence(subject)


async def test_answers_in_mqtt_where_tls_was_asked_for() -> None:
    async with raw_broker() as broker:
        subject = BrokerSettings(host="127.0.0.1", port=broker.port, client_id="x", publish_timeout_s=0.4)
        assert "not in TLS: this looks like the broker's plain port" in await connect_sentence(subject)


@pytest.mark.parametrize(
    ("code", "says"),
    [
        (0x84, "does not speak MQTT 5"),
        (0x85, "client id faults"),
        (0x86, "does not accept user name or password"),
        (0x87, "rights of"),
        (0x89, "busy"),
        (0x9C, "Use another server"),
    ],
)
async def test_refused_connections_say_why(code: int, says: str) -> None:
    async with raw_broker(RawBroker(connack=code)) as broker:
        assert says in await connect_sentence(settings(broker.port))


async def test_a_link_that_drops_wakes_the_publish_in_flight_at_once() -> None:
    async with (
        raw_broker(RawBroker(hang_up=lambda topic: True)) as broker,
        open_link(settings(broker.port, publish_timeout_s=5.0)) as link,
    ):
        begun_s = asyncio.get_running_loop().time()
        with pytest.raises(LinkLost):
            await link.publish("a/b", b"{}")
        assert asyncio.get_running_loop().time() - begun_s < 1.0


async def test_a_puback_that_never_comes_times_out() -> None:
    async with (
        raw_broker(RawBroker(answer=lambda topic, payload: None)) as broker,
        open_link(settings(broker.port)) as link,
    ):
        with pytest.raises(PublishTimeout, match="did not acknowledge"):
            await link.publish("a/b", b"{}")


async def test_large_messages_get_more_time_but_a_dead_link_shows_within_20_s() -> None:
    assert publish_timeout_s(5.0, 300) == 5.0
    assert publish_timeout_s(5.0, 8192) == pytest.approx(12.168)
    assert publish_timeout_s(5.0, 10**7) == 15.0


async def test_no_readers_or_tasks_are_left_behind_by_failed_connections() -> None:
    """The library forgets socket and timer of a connection that was never answered."""
    async with raw_broker(RawBroker(connack=None)) as broker:
        before = len(asyncio.all_tasks())
        for _ in range(3):
            await connect_sentence(settings(broker.port, publish_timeout_s=0.1))
        await asyncio.sleep(0.1)
        own = [task for task in asyncio.all_tasks() if "RawBroker" not in repr(task.get_coro())]
        assert len(own) <= before


async def test_lost_pubacks_give_duplicates_that_can_be_told_and_no_gap() -> None:
    """Every second PUBACK is eaten: each seq arrives at least once, in order, duplicates carry the same id."""
    seen: dict[str, int] = {}

    def answer(topic: str, payload: bytes) -> int | None:
        if not topic.endswith("/event"):
            return 0
        key = payload.decode().split('"message_id":"')[1][:36]
        seen[key] = seen.get(key, 0) + 1
        return None if seen[key] == 1 and len(seen) % 2 else 0

    outbox = outbox_of(4)
    async with raw_broker(RawBroker(answer=answer)) as broker, running(publisher(broker.port, outbox)):
        await until(lambda: len(seen) == 4 and not outbox._in_state("waiting"))
        events = broker.of("event")
    assert [event["seq"] for event in events] == [1, 1, 2, 3, 3, 4]
    by_seq = {(event["seq"], event["message_id"]) for event in events}
    assert len(by_seq) == 4


@pytest.mark.parametrize("code", [0x87, 0x97])
async def test_a_broker_that_will_not_have_a_kind_keeps_the_backlog_and_the_live_values(code: int) -> None:
    outbox = outbox_of(3)
    refusing = RawBroker(answer=lambda topic, payload: code if topic.endswith("/event") else 0)
    async with raw_broker(refusing) as broker:
        subject = publisher(broker.port, outbox)
        async with running(subject):
            await until(lambda: subject.view().state == "refused")
            subject.set_live(LIVE)
            await until(lambda: broker.of("live"))
            await until(lambda: len(broker.of("event")) >= 3)
            view = subject.view()
            assert broker.connections == 1
            refusing.answer = lambda topic, payload: 0
            await until(lambda: subject.view().state == "up" and subject.view().waiting == 0)
    assert "Refused by broker" in view.text
    assert "3 messages kept here" in view.text
    assert (view.waiting, view.set_aside) == (3, 0)
    assert outbox.slots[1].item.attempts == 0


@pytest.mark.parametrize("code", [0x90, 0x95, 0x99])
async def test_a_message_the_broker_can_never_take_is_set_aside_and_shown(code: int) -> None:
    outbox = outbox_of(3)
    picky = RawBroker(answer=lambda topic, payload: code if b'"seq":2,' in payload else 0)
    async with raw_broker(picky) as broker:
        subject = publisher(broker.port, outbox)
        async with running(subject):
            await until(lambda: len(broker.of("event")) == 3 and subject.view().waiting == 0)
            view = subject.view()
    assert (view.state, view.set_aside) == ("up", 1)
    assert "1 message set aside" in view.text
    assert list(outbox.reasons) == [2]
    assert f"0x{code:02x}" in outbox.reasons[2]


@pytest.mark.parametrize("how", ["hang-up", "silence", "unknown refusal"])
async def test_a_poison_message_is_set_aside_after_a_few_tries_and_the_rest_goes_on(how: str) -> None:
    outbox = MemoryOutbox()
    outbox.add("event", EVENT)
    outbox.add("readings", {"run_id": "r1", "started_utc": EVENT["utc"], "t_s": [], "mass_g": [],
                            "dp_pa": [], "stable": []})  # fmt: skip
    outbox.add("event", EVENT)
    poisoned = {
        "hang-up": RawBroker(hang_up=lambda topic: topic.endswith("/readings")),
        "silence": RawBroker(answer=lambda topic, payload: None if topic.endswith("/readings") else 0),
        "unknown refusal": RawBroker(
            answer=lambda topic, payload: 0x83 if topic.endswith("/readings") else 0
        ),
    }[how]
    async with raw_broker(poisoned) as broker, running(publisher(broker.port, outbox)):
        await until(lambda: len(broker.of("event")) == 2)
        assert len(broker.of("readings")) == MOST_TRIES
    assert list(outbox.reasons) == [2]
    assert f"{MOST_TRIES} tries failed" in outbox.reasons[2]


async def test_a_broker_that_is_down_counts_against_no_message(closed_port: int) -> None:
    outbox = outbox_of(2)
    subject = publisher(closed_port, outbox)
    async with running(subject):
        await until(lambda: subject.view().waiting == 2)
        await asyncio.sleep(0.4)
        view = subject.view()
    assert view.state == "down"
    assert "2 messages kept here" in view.text
    assert outbox.slots[1].item.attempts == 0


async def test_a_message_over_the_brokers_stated_packet_size_is_not_even_sent() -> None:
    outbox = MemoryOutbox()
    outbox.add("event", EVENT | {"text": "x" * 3000})
    outbox.add("event", EVENT)
    limit = b"\x27" + (2000).to_bytes(4, "big")  # CONNACK property Maximum Packet Size
    async with raw_broker(RawBroker(connack_properties=limit)) as broker:
        async with running(publisher(broker.port, outbox)):
            await until(lambda: broker.of("event"))
        assert [event["seq"] for event in broker.of("event")] == [2]
    assert "more than the 2000" in outbox.reasons[1]


async def test_a_body_that_does_not_fit_its_schema_is_set_aside() -> None:
    outbox = MemoryOutbox()
    outbox.add("event", {"kind": "noted"})
    outbox.add("event", EVENT)
    async with raw_broker() as broker, running(publisher(broker.port, outbox)):
        await until(lambda: broker.of("event"))
        assert [event["seq"] for event in broker.of("event")] == [2]
    assert "utc" in outbox.reasons[1]


@pytest.mark.parametrize("code", [0x87, 0x97, 0x98])
async def test_a_broker_that_hangs_up_on_a_missing_right_costs_no_message(code: int) -> None:
    """Some brokers end the link instead of refusing the message: nothing may be set aside for it."""
    strict = RawBroker(bid_farewell=lambda topic: code if topic.endswith("/event") else None)
    async with raw_broker(strict) as broker:
        outbox = outbox_of(2)
        subject = publisher(broker.port, outbox)
        async with running(subject):
            await until(lambda: subject.view().state == "refused" and broker.connections >= 3)
            text = subject.view().text
            strict.bid_farewell = lambda topic: None
            await until(lambda: not outbox._in_state("waiting"))
    assert "Refused by broker" in text
    assert outbox.reasons == {}
    assert outbox.slots[1].item.attempts == 0


async def test_a_broker_without_retained_messages_is_named() -> None:
    async with raw_broker(RawBroker(bid_farewell=lambda topic: 0x9A)) as broker:
        subject = publisher(broker.port, MemoryOutbox())
        async with running(subject):
            await until(lambda: "keeps no retained messages" in subject.view().text)
            assert subject.view().state == "refused"


async def test_session_taken_over_is_shown_and_not_fought_over() -> None:
    async with raw_broker(
        RawBroker(bid_farewell=lambda topic: 0x8E if topic.endswith("/event") else None)
    ) as broker:
        outbox = outbox_of(1)
        subject = publisher(broker.port, outbox)
        async with running(subject):
            await until(lambda: subject.view().state == "refused")
            assert "Another program uses the client id faults" in subject.view().text
            await asyncio.sleep(0.15)
            assert broker.connections == 1


async def test_a_half_open_link_is_found_by_the_beat() -> None:
    """Birth is answered, then the peer falls silent without closing: no backlog is needed to notice."""
    silent = RawBroker()
    async with raw_broker(silent) as broker:
        subject = publisher(broker.port, MemoryOutbox(), beat_s=0.2)
        async with running(subject):
            await until(lambda: subject.view().state == "up")
            silent.answer = lambda topic, payload: None
            await until(lambda: subject.view().state == "down", 3.0)
            assert "did not acknowledge" in subject.view().text


async def test_the_default_beat_and_time_out_find_a_dead_link_within_20_s() -> None:
    subject = BrokerSettings(host="h", client_id="c")
    assert subject.beat_s + subject.publish_timeout_s < 20.0
    assert subject.keepalive_s == 15


async def test_at_most_ten_attempts_a_minute_by_default() -> None:
    """A broker that takes the connection and drops it at once; 1.6 s of it, extrapolated by the rules' test."""
    async with raw_broker(RawBroker(hang_up=lambda topic: True)) as broker:
        subject = Publisher(settings(broker.port), "lab", "a1", MemoryOutbox(), WallClock())
        async with running(subject):
            await asyncio.sleep(1.6)
        assert 1 <= broker.connections <= 3


async def test_stopping_while_a_connection_hangs_is_quiet() -> None:
    async with raw_broker(RawBroker(connack=None)) as broker:
        async with running(publisher(broker.port, MemoryOutbox())) as task:
            await until(lambda: broker.connections == 1)
        assert task.cancelled()


async def test_the_publisher_subscribes_to_nothing() -> None:
    """Every packet it ever sends is CONNECT, PUBLISH, PINGREQ or DISCONNECT."""
    outbox = outbox_of(3)
    async with raw_broker() as broker:
        async with running(publisher(broker.port, outbox)):
            await until(lambda: len(broker.of("event")) == 3)
        await until(lambda: broker.disconnects == 1)
        assert broker.other_packets == []


async def test_a_broken_store_is_shown_and_does_not_end_the_publisher() -> None:
    class Broken(MemoryOutbox):
        async def unsent(self, most: int, most_bytes: int) -> NoReturn:
            raise OSError("disk gone")

    async with raw_broker() as broker:
        subject = publisher(broker.port, Broken())
        async with running(subject) as task:
            await until(lambda: "disk gone" in subject.view().text)
            assert not task.done()


async def test_a_message_that_was_altered_in_the_store_is_set_aside_and_shown() -> None:
    outbox = MemoryOutbox()
    for body in (EVENT, {}, EVENT):
        outbox.add("event", body)
    async with raw_broker() as broker:
        subject = publisher(broker.port, outbox)
        async with running(subject):
            await until(lambda: len(broker.of("event")) == 2 and subject.view().set_aside == 1)
            assert "Message 2 was altered in the store" in subject.view().text


async def test_a_refused_summary_is_shown_but_does_not_hold_records_up() -> None:
    outbox = MemoryOutbox()
    body = {"run_id": "r1", "revision": 1, "review": "unreviewed", "outcome": "endpoint"}
    outbox.add("record", body)
    outbox.add("record", body)
    refusing = RawBroker(answer=lambda topic, payload: 0x87 if topic.endswith("/latest") else 0)
    async with raw_broker(refusing) as broker:
        subject = publisher(broker.port, outbox)
        async with running(subject):
            await until(lambda: len(broker.of("record")) == 2)
            assert "lab/a1/latest" in subject.view().text
            assert subject.view().state == "up"


async def test_a_crash_between_puback_and_mark_gives_a_duplicate_that_can_be_told() -> None:
    """The first program dies after the broker acknowledged and before its store knew."""

    class DiesBeforeMark(MemoryOutbox):
        async def mark_sent(self, seqs: Sequence[int]) -> None:
            await asyncio.Event().wait()

    async with raw_broker() as broker:
        dying = DiesBeforeMark()
        dying.add("event", EVENT)
        async with running(publisher(broker.port, dying)):
            await until(lambda: len(broker.of("event")) == 1)
        again = MemoryOutbox()
        again.slots = dying.slots
        async with running(publisher(broker.port, again)):
            await until(lambda: not again._in_state("waiting"))
        first, second = broker.of("event")
    assert (first["seq"], first["message_id"]) == (second["seq"], second["message_id"])


async def test_no_secret_reaches_log_or_screen(caplog: pytest.LogCaptureFixture) -> None:
    """Everything logged, at the finest level, while a password is used, refused and retried."""
    caplog.set_level(logging.DEBUG)
    outbox = outbox_of(1)
    async with raw_broker(RawBroker(connack=0x86)) as broker:
        secret = replace(settings(broker.port), username="bench", password="canary-4711")
        subject = Publisher(secret, "lab", "a1", outbox, WallClock(), rules=FAST)
        async with running(subject):
            await until(lambda: subject.view().state == "refused")
            broker.connack = 0
            await until(lambda: broker.of("event"))
            shown = f"{subject.view()} {subject!r} {secret!r} {broker.published}"
    assert caplog.text
    assert "canary" not in shown + caplog.text


@pytest.mark.full
async def test_live_values_from_before_an_outage_are_not_sent_after_it() -> None:
    silent = RawBroker(connack=0x88)
    async with raw_broker(silent) as broker:
        subject = publisher(broker.port, MemoryOutbox())
        async with running(subject):
            subject.set_live(LIVE)
            await asyncio.sleep(2.1)
            silent.connack = 0
            await until(lambda: subject.view().state == "up")
            subject.set_live(LIVE | {"state": "fresh"})
            await until(lambda: broker.of("live"))
        assert [live["state"] for live in broker.of("live")] == ["fresh"]
