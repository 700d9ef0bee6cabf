"""Doctor's check: what a PUBACK does not prove."""

from __future__ import annotations

import time
from pathlib import Path

import pytest

from logger.app.demo_broker import start_broker
from logger.publish.client import open_client, open_link
from logger.publish.roundtrip import _encryption, round_trip
from logger.publish.settings import BrokerSettings
from logger.publish.topics import Topics
from tests.publish.certificates import plant
from tests.publish.mosquitto import Mosquitto, free_port
from tests.publish.raw_broker import RawBroker, raw_broker

pytestmark = pytest.mark.asyncio
LAB = Topics("lab", "a1")


def plain(port: int) -> BrokerSettings:
    return BrokerSettings(
        host="127.0.0.1", port=port, client_id="bench", insecure=True, publish_timeout_s=1.0
    )


async def check(settings: BrokerSettings) -> dict[str, bool | None]:
    found = await round_trip(settings, LAB, "n-1", time.time(), wait_s=0.5)
    return {finding.sentence: finding.ok for finding in found}


async def test_a_message_comes_back_over_the_demo_broker() -> None:
    with start_broker() as broker:
        found = await check(plain(broker.port))
    assert found["The message came back over a second connection."] is True
    assert list(found.values()) == [None, True, True]


@pytest.mark.parametrize("junk", [b"\xff\x00", b"[" * 5000, b'{"nonce": "old"}', b"1" * 100_000])
async def test_what_already_lies_on_the_topic_is_ignored(junk: bytes) -> None:
    with start_broker() as broker:
        async with open_link(plain(broker.port)) as link:
            await link.publish(LAB.check, junk, retain=True)
        found = await check(plain(broker.port))
    assert list(found.values()) == [None, True, True]


async def test_nothing_there_is_one_finding() -> None:
    found = await check(plain(free_port()))
    assert [*found.values()] == [False]
    assert "Nothing listens" in next(iter(found))


@pytest.mark.real
async def test_a_user_that_may_not_read_is_told_what_to_add(tmp_path: Path) -> None:
    acl = tmp_path / "acl"
    acl.write_text("topic write lastgrain/v1/lab/a1/#\n", encoding="utf-8")
    acl.chmod(0o600)
    with Mosquitto(tmp_path, f"allow_anonymous true\nacl_file {acl}\n") as broker:
        found = await check(plain(broker.port))
    assert [*found.values()] == [None, True, False]
    assert "topic read lastgrain/v1/lab/a1/check" in list(found)[-1]


async def test_a_broker_that_refuses_the_subscription_leaves_the_question_open() -> None:
    async with raw_broker(RawBroker(suback=0x87)) as broker:
        found = await check(plain(broker.port))
    assert [*found.values()] == [None, True, None]
    assert "may not read lastgrain/v1/lab/a1/check" in list(found)[-1]


@pytest.mark.real
async def test_a_user_that_may_not_write_is_refused(tmp_path: Path) -> None:
    acl = tmp_path / "acl"
    acl.write_text("topic read lastgrain/v1/#\n", encoding="utf-8")
    acl.chmod(0o600)
    with Mosquitto(tmp_path, f"allow_anonymous true\nacl_file {acl}\n") as broker:
        found = await check(plain(broker.port))
    assert found == {"Refused by broker: Not authorized (0x87) for lastgrain/v1/lab/a1/check.": False}


async def test_a_broker_that_answers_no_subscription_is_a_finding() -> None:
    async with raw_broker() as broker:
        found = await check(plain(broker.port))
    assert [*found.values()] == [False]
    assert "dropped the check" in next(iter(found))


async def test_a_certificate_near_its_end_is_said(tmp_path: Path) -> None:
    works = plant(tmp_path)
    for days, ok in ((10.5, False), (90.5, True)):
        async with raw_broker(tls=works.server(days_left=days)) as broker:
            settings = BrokerSettings(
                host="localhost", port=broker.port, client_id="bench", ca_file=works.ca_file
            )
            async with open_client(settings) as client:
                finding = _encryption(settings, client, time.time())
        assert finding.ok is ok
        assert f"{days:.0f} more days" in finding.sentence
