"""TLS is the default, every refusal says its own cause, and nothing falls back to plain."""

from __future__ import annotations

import ssl
from pathlib import Path
from typing import Any

import pytest

from logger.core.backoff import RetryRules
from logger.publish.client import open_link
from logger.publish.errors import ConnectFailed, PublishError
from logger.publish.sender import Publisher
from logger.publish.settings import BrokerSettings
from logger.publish.tls import tls_context
from tests.publish.certificates import Plant, plant
from tests.publish.listener import running, until
from tests.publish.memory_outbox import MemoryOutbox, WallClock
from tests.publish.raw_broker import RawBroker, raw_broker
from tests.publish.samples import EVENT

pytestmark = pytest.mark.asyncio

FAST = RetryRules(first_s=0.02, cap_s=0.05, slow_s=0.2, most_per_minute=500)


@pytest.fixture
def works(tmp_path: Path) -> Plant:
    return plant(tmp_path)


def settings(port: int, **options: Any) -> BrokerSettings:
    chosen: dict[str, Any] = {"host": "localhost", "client_id": "tls", "publish_timeout_s": 2.0}
    return BrokerSettings(port=port, **(chosen | options))


async def refusal(subject: BrokerSettings) -> ConnectFailed:
    with pytest.raises(ConnectFailed) as caught:
        async with open_link(subject):
            pass
    return caught.value


async def test_a_known_authority_and_the_right_name_connect(works: Plant) -> None:
    outbox = MemoryOutbox()
    outbox.add("event", EVENT)
    async with raw_broker(tls=works.server()) as broker:
        subject = Publisher(
            settings(broker.port, ca_file=works.ca_file), "lab", "a1", outbox, WallClock(), rules=FAST
        )
        async with running(subject):
            await until(lambda: broker.of("event"))
            await until(lambda: subject.view().waiting == 0)
            assert subject.view().insecure is False
            assert "Not encrypted" not in subject.view().text


async def test_unknown_authority(works: Plant) -> None:
    async with raw_broker(tls=works.server()) as broker:
        caught = await refusal(settings(broker.port))
    assert "authority this computer does not know" in caught.sentence
    assert caught.slow


async def test_certificate_for_another_host(works: Plant) -> None:
    async with raw_broker(tls=works.server("other.example")) as broker:
        caught = await refusal(settings(broker.port, ca_file=works.ca_file))
    assert "for another host name" in caught.sentence


async def test_certificate_for_another_address(works: Plant) -> None:
    async with raw_broker(tls=works.server("localhost")) as broker:
        caught = await refusal(settings(broker.port, ca_file=works.ca_file, host="127.0.0.1"))
    assert "for another host name" in caught.sentence


async def test_expired_certificate(works: Plant) -> None:
    async with raw_broker(tls=works.server(days_left=-1)) as broker:
        caught = await refusal(settings(broker.port, ca_file=works.ca_file))
    assert "has expired" in caught.sentence


async def test_tls_asked_of_a_plain_port(works: Plant) -> None:
    async with raw_broker() as broker:
        caught = await refusal(settings(broker.port, ca_file=works.ca_file))
    assert "there is no fallback to plain" in caught.sentence


async def test_plain_asked_of_a_tls_port(works: Plant) -> None:
    async with raw_broker(tls=works.server()) as broker:
        caught = await refusal(settings(broker.port, insecure=True))
    assert "may be the TLS port" in caught.sentence


async def test_a_broker_with_only_old_tls_is_refused(works: Plant) -> None:
    context = works.server()
    with pytest.warns(DeprecationWarning, match="TLSv1_1"):
        context.maximum_version = ssl.TLSVersion.TLSv1_1
    async with raw_broker(tls=context) as broker:
        caught = await refusal(settings(broker.port, ca_file=works.ca_file))
    assert caught.slow


async def test_a_client_certificate_is_shown_when_asked_for(works: Plant) -> None:
    context = works.server()
    context.verify_mode = ssl.CERT_REQUIRED
    works.ca.configure_trust(context)
    cert, key = works.files("bench", "bench-a1.example")
    async with raw_broker(tls=context) as broker:
        with pytest.raises(PublishError):
            async with open_link(settings(broker.port, ca_file=works.ca_file)) as link:
                await link.publish("a/b", b"{}")
        async with open_link(
            settings(broker.port, ca_file=works.ca_file, cert_file=cert, key_file=key)
        ) as link:
            await link.publish("a/b", b"{}")
    assert [topic for topic, _ in broker.published] == ["a/b"]


async def test_unreadable_certificate_files_are_a_sentence(works: Plant, tmp_path: Path) -> None:
    with pytest.raises(ConnectFailed, match=r"ca_file .* holds no readable PEM"):
        tls_context(settings(1, ca_file=str(tmp_path / "absent.pem")))
    cert, _ = works.files("bench", "bench-a1.example")
    with pytest.raises(ConnectFailed, match="not a readable pair"):
        tls_context(settings(1, cert_file=cert, key_file=cert))


async def test_a_refused_certificate_never_leads_to_a_plain_connection(works: Plant) -> None:
    """The publisher keeps trying TLS, slowly; the broker never sees an MQTT packet."""
    outbox = MemoryOutbox()
    outbox.add("event", EVENT)
    async with raw_broker(RawBroker(), tls=works.server(days_left=-1)) as broker:
        chosen = settings(broker.port, ca_file=works.ca_file)
        subject = Publisher(chosen, "lab", "a1", outbox, WallClock(), rules=FAST)
        async with running(subject):
            await until(lambda: subject.view().state == "refused")
            await until(lambda: "1 message kept here" in subject.view().text)
        assert broker.published == []


async def test_the_context_checks_name_and_version() -> None:
    context = tls_context(settings(1))
    assert context is not None
    assert context.check_hostname
    assert context.verify_mode is ssl.CERT_REQUIRED
    assert context.minimum_version is ssl.TLSVersion.TLSv1_2
    assert tls_context(settings(1, insecure=True)) is None
