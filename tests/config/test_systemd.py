"""The shipped unit for a service manager: it parses, it is private, and it grants no more than is needed."""

from __future__ import annotations

import re
import subprocess
import sys
from pathlib import Path

import pytest

from logger.publish.settings import CREDENTIAL_NAME
from logger.settings import config_dir
from tests.real import require_binary

UNIT = config_dir() / "systemd" / "lastgrain.service"
HIGHEST_EXPOSURE = 2.5


def settings(text: str) -> dict[str, dict[str, list[str]]]:
    """Sections and their keys; a key may stand several times. Refuses what a service manager would not read."""
    found: dict[str, dict[str, list[str]]] = {}
    section = ""
    for number, line in enumerate(text.splitlines(), start=1):
        if not line.strip() or line.startswith("#"):
            continue
        if header := re.fullmatch(r"\[([A-Za-z]+)\]", line):
            section = header.group(1)
            found[section] = {}
            continue
        key, equals, value = line.partition("=")
        assert equals, f"line {number}"
        assert re.fullmatch("[A-Z][A-Za-z0-9]+", key), f"line {number}: {key!r}"
        found[section].setdefault(key, []).append(value)
    return found


SERVICE = settings(UNIT.read_text(encoding="utf-8"))["Service"]


def test_it_has_its_three_sections_and_nothing_else() -> None:
    assert list(settings(UNIT.read_text(encoding="utf-8"))) == ["Unit", "Service", "Install"]


@pytest.mark.parametrize(
    ("key", "value"),
    [
        ("NoNewPrivileges", "yes"),
        ("ProtectSystem", "strict"),
        ("ProtectHome", "yes"),
        ("PrivateTmp", "yes"),
        ("CapabilityBoundingSet", ""),
        ("AmbientCapabilities", ""),
        ("StateDirectoryMode", "0700"),
        ("UMask", "0077"),
        ("DevicePolicy", "closed"),
        ("SocketBindDeny", "any"),
        ("RestrictAddressFamilies", "AF_UNIX AF_INET AF_INET6"),
        ("LimitCORE", "0"),
        ("KillSignal", "SIGTERM"),
        ("Restart", "on-failure"),
        ("SupplementaryGroups", "dialout"),
    ],
)
def test_a_line_that_must_stand(key: str, value: str) -> None:
    assert SERVICE[key] == [value]


def test_it_is_an_ordinary_user_with_no_secret_on_its_command_line() -> None:
    assert SERVICE["User"] != ["root"]
    (command,) = SERVICE["ExecStart"]
    assert command.split()[1] == "serve"
    assert not re.search("password|secret|token", command)
    (credential,) = SERVICE["LoadCredential"]
    assert credential.split(":")[0] == CREDENTIAL_NAME


def test_only_serial_ports_are_allowed_and_only_the_data_is_written() -> None:
    assert all(re.fullmatch("char-tty[A-Za-z]+ rw", device) for device in SERVICE["DeviceAllow"])
    (state,) = SERVICE["StateDirectory"]
    assert f"--data /var/lib/{state} " in SERVICE["ExecStart"][0]
    assert SERVICE["ReadWritePaths"] == ["/run/lock"]


def startable(folder: Path) -> Path:
    """The unit with a program and a user that this machine has."""
    text = UNIT.read_text(encoding="utf-8").replace("/usr/local/bin/lastgrain", sys.executable)
    text = re.sub("(?m)^(User|Group|SupplementaryGroups)=.*$", r"\1=root", text)
    path = folder / "lastgrain.service"
    path.write_text(text, encoding="utf-8")
    return path


@pytest.mark.real
def test_the_service_manager_finds_no_fault_in_it(tmp_path: Path) -> None:
    command = [require_binary("systemd-analyze"), "verify", "--man=no", str(startable(tmp_path))]
    done = subprocess.run(command, capture_output=True, text=True, timeout=60, check=False)
    assert done.returncode == 0, done.stderr
    assert "lastgrain.service" not in done.stderr, done.stderr


@pytest.mark.real
def test_its_exposure_is_low(tmp_path: Path) -> None:
    command = [require_binary("systemd-analyze"), "security", "--offline=true", "--no-pager"]
    done = subprocess.run(
        [*command, str(startable(tmp_path))], capture_output=True, text=True, timeout=60, check=False
    )
    found = re.search(r"exposure level for \S+: ([0-9.]+)", done.stdout)
    assert found is not None, done.stdout + done.stderr
    assert float(found.group(1)) < HIGHEST_EXPOSURE
