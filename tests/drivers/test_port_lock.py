from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from drivers.link_error import LinkError, LinkTrouble
from drivers.port_lock import device_present, locked_device

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="the system opens a port only once")

HOLDER = """
import sys
from pathlib import Path
from drivers.port_lock import locked_device
with locked_device(sys.argv[1], Path(sys.argv[2])):
    print("held", flush=True)
    sys.stdin.read()
"""


@pytest.fixture
def device(tmp_path: Path) -> Path:
    path = tmp_path / "device"
    path.touch()
    return path


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    path = tmp_path / "locks"
    path.mkdir()
    return path


def hold(device: Path, folder: Path) -> subprocess.Popen[bytes]:
    command = [sys.executable, "-c", HOLDER, str(device), str(folder)]
    process = subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE)
    assert process.stdout is not None
    assert process.stdout.readline() == b"held\n"
    return process


def end(process: subprocess.Popen[bytes]) -> None:
    process.kill()
    process.communicate()


def test_another_process_is_named_by_its_id_under_any_name(
    device: Path, folder: Path, tmp_path: Path
) -> None:
    link = tmp_path / "by-id"
    link.symlink_to(device)
    holder = hold(device, folder)
    try:
        with pytest.raises(LinkError, match=f"is already used by process {holder.pid}:") as caught:
            locked_device(str(link), folder).__enter__()
    finally:
        end(holder)

    assert caught.value.trouble is LinkTrouble.IN_USE


def test_a_lock_left_by_a_killed_process_does_not_block(device: Path, folder: Path) -> None:
    end(hold(device, folder))
    assert len(list(folder.iterdir())) == 1

    with locked_device(str(device), folder), pytest.raises(LinkError, match="this program itself"):
        locked_device(str(device), folder).__enter__()
    with locked_device(str(device), folder):
        pass


def test_two_devices_do_not_share_a_lock(device: Path, folder: Path, tmp_path: Path) -> None:
    other = tmp_path / "other"
    other.touch()

    with locked_device(str(device), folder), locked_device(str(other), folder):
        assert len(list(folder.iterdir())) == 2


def test_without_a_lock_folder_the_port_is_left_to_the_exclusive_opening(
    device: Path, tmp_path: Path
) -> None:
    with locked_device(str(device), tmp_path / "missing"):
        assert device_present(str(device))


def test_an_absent_device_is_an_os_error(tmp_path: Path) -> None:
    assert not device_present(str(tmp_path / "none"))
    with pytest.raises(FileNotFoundError):
        locked_device(str(tmp_path / "none"), tmp_path).__enter__()
