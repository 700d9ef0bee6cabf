"""The doctor at a real broker with TLS, login and rights: the way from the bench file to the finding."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from logger.app.doctor import records
from logger.app.doctor.bench import find_bench
from logger.app.doctor.findings import Finding, exit_code
from logger.app.setup import try_part
from logger.settings import config_dir
from tests.drivers.peers import run_async
from tests.publish.certificates import plant
from tests.publish.mosquitto import Mosquitto, free_port, passwords

pytestmark = pytest.mark.real


@pytest.fixture
def broker(tmp_path: Path) -> Iterator[Mosquitto]:
    """TLS, a password, and the right to write and read the bench's own topics."""
    made = plant(tmp_path)
    cert, key = made.files("server", "localhost")
    words = passwords(tmp_path, bench_1="canary-3")
    acl = tmp_path / "acl"
    acl.write_text("user bench-1\ntopic readwrite lastgrain/v1/demo-site/bench-1/#\n", encoding="utf-8")
    acl.chmod(0o600)
    port = free_port()
    lines = (
        f"listener {port} 127.0.0.1\ncertfile {cert}\nkeyfile {key}\npassword_file {words}\nacl_file {acl}\n"
        "allow_anonymous false\n"
    )
    with Mosquitto(tmp_path, lines, port) as running:
        yield running


def found(folder: Path, port: int, password: str, ca: bool = True) -> list[Finding]:
    secret = folder / "secret"
    secret.write_text(password + "\n", encoding="utf-8")
    secret.chmod(0o600)
    path = folder / "bench.toml"
    text = (config_dir() / "benches" / "demo-beside.toml").read_text(encoding="utf-8")
    authority = 'ca_file = "ca.pem"\n' if ca else ""
    path.write_text(
        f'{text}\n[broker]\nhost = "localhost"\nport = {port}\nusername = "bench-1"\npassword_file = "secret"\n'
        + authority,
        encoding="utf-8",
    )
    bench, _ = find_bench(path)
    assert bench is not None

    async def body() -> list[Finding]:
        return [finding async for finding in records.broker(bench, path)]

    findings = run_async(body())
    assert not any(password in finding.what + finding.todo for finding in findings)
    return findings


def test_a_message_that_comes_back_is_in_order(broker: Mosquitto, tmp_path: Path) -> None:
    findings = found(tmp_path, broker.port, "canary-3")

    assert exit_code(findings) == 0
    assert any("came back" in finding.what for finding in findings)


def test_a_wrong_password_and_an_unknown_authority_are_told_apart(broker: Mosquitto, tmp_path: Path) -> None:
    refused = found(tmp_path, broker.port, "canary-4")
    unknown = found(tmp_path, broker.port, "canary-3", ca=False)

    assert exit_code(refused) == exit_code(unknown) == 6
    assert refused[0].what != unknown[0].what
    assert "authority" in unknown[0].what


def test_setup_tries_the_broker_in_the_same_way(broker: Mosquitto, tmp_path: Path) -> None:
    secret = tmp_path / "secret"
    secret.write_text("canary-3\n", encoding="utf-8")
    secret.chmod(0o600)
    answers = {"site": "demo-site", "bench": "bench-1", "host": "localhost", "mqtt_port": str(broker.port)}
    answers |= {"ca_file": str(tmp_path / "ca.pem"), "username": "bench-1", "password_file": str(secret)}

    well, sentence, _ = run_async(try_part("broker", answers))

    assert well, sentence
    assert "came back" in sentence
