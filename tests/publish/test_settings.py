"""Broker settings and where the password may come from."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from logger.publish.errors import SecretError
from logger.publish.settings import BrokerSettings, load_password


def test_tls_on_8883_is_the_default_and_the_password_is_not_shown() -> None:
    subject = BrokerSettings(host="broker.example", client_id="x", username="u", password="canary-4711")
    assert (subject.port, subject.insecure) == (8883, False)
    assert "canary" not in repr(subject)


@pytest.mark.parametrize(
    ("wrong", "says"),
    [
        ({"host": "bro ker"}, "host"),
        ({"host": ""}, "host"),
        ({"port": 0}, "1 to 65535"),
        ({"client_id": "a/b"}, "client id"),
        ({"client_id": ""}, "client id"),
        ({"insecure": True, "ca_file": "x"}, "contradict"),
        ({"cert_file": "x"}, "belong together"),
        ({"password": "x"}, "needs a username"),
    ],
)
def test_wrong_settings_are_refused_with_a_sentence(wrong: dict[str, Any], says: str) -> None:
    with pytest.raises(ValueError, match=says):
        BrokerSettings(**({"host": "h", "client_id": "c"} | wrong))


def secret(path: Path, text: str, mode: int = 0o600) -> Path:
    path.write_text(text, encoding="utf-8")
    path.chmod(mode)
    return path


def test_the_environment_comes_first_then_the_file_then_service_credentials(tmp_path: Path) -> None:
    file = secret(tmp_path / "password", "from file\n")
    secret(tmp_path / "lastgrain-broker-password", "from service\n")
    service = {"CREDENTIALS_DIRECTORY": str(tmp_path)}
    assert load_password(file, {"LASTGRAIN_BROKER_PASSWORD": "from env"} | service) == "from env"
    assert load_password(file, service) == "from file"
    assert load_password(None, service) == "from service"
    assert load_password(None, {}) is None


def test_blanks_belong_to_a_password_and_one_line_end_does_not(tmp_path: Path) -> None:
    assert load_password(secret(tmp_path / "p", " with blanks \n"), {}) == " with blanks "


@pytest.mark.parametrize("mode", [0o640, 0o604, 0o644, 0o660])
def test_a_file_that_others_can_read_is_refused(tmp_path: Path, mode: int) -> None:
    file = secret(tmp_path / "p", "canary-4711", mode)
    with pytest.raises(SecretError, match="chmod 600") as caught:
        load_password(file, {})
    assert "canary" not in caught.value.sentence


def test_a_missing_or_empty_password_is_a_sentence(tmp_path: Path) -> None:
    with pytest.raises(SecretError, match="cannot be read"):
        load_password(tmp_path / "absent", {})
    with pytest.raises(SecretError, match="empty"):
        load_password(secret(tmp_path / "p", "\n"), {})
    with pytest.raises(SecretError, match="empty"):
        load_password(None, {"LASTGRAIN_BROKER_PASSWORD": ""})
    (tmp_path / "b").write_bytes(b"\xff\xfe")
    (tmp_path / "b").chmod(0o600)
    with pytest.raises(SecretError, match="UTF-8"):
        load_password(tmp_path / "b", {})
