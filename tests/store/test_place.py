"""Where a store may be: pure rules on a mount table, and real folders of others."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from logger.store import place
from logger.store.errors import StoreError
from logger.store.lock import InstanceLock
from tests.store.quick_runs import filled, open_journal

MOUNTS = r"""proc /proc proc rw 0 0
/dev/vda / ext4 rw 0 0
srv:/export /srv/data nfs4 rw,vers=4.2 0 0
//box/lab /mnt/lab\040share cifs rw 0 0
tmpfs /srv/data/fast tmpfs rw 0 0
me@host:/ /home/op/far fuse.sshfs rw 0 0
/dev/vdb /mnt/over ext4 rw 0 0
srv:/b /mnt/over nfs rw 0 0
junk
"""


@pytest.mark.parametrize(
    ("path", "kind"),
    [
        ("/var/lib/lastgrain/s.sqlite", None),
        ("/srv/data/s.sqlite", "nfs4"),
        ("/srv/data", "nfs4"),
        ("/srv/database/s.sqlite", None),
        ("/srv/data/fast/s.sqlite", None),
        ("/mnt/lab share/bench/s.sqlite", "cifs"),
        ("/home/op/far/s.sqlite", "fuse.sshfs"),
        ("/mnt/over/s.sqlite", "nfs"),
    ],
)
def test_the_last_of_the_longest_mount_points_counts(path: str, kind: str | None) -> None:
    assert place.network_type(MOUNTS, path) == kind


def test_nothing_is_known_without_a_mount_table() -> None:
    assert place.network_type("", "/srv/data/s.sqlite") is None


def test_a_network_drive_is_refused_with_path_and_advice(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    table = tmp_path / "mounts"
    table.write_text(f"srv:/x {tmp_path} nfs4 rw 0 0\n")
    monkeypatch.setattr(place, "_MOUNTS", table)
    with pytest.raises(StoreError, match=r"s\.sqlite is on a network file system \(nfs4\).*--data"):
        open_journal(tmp_path / "s.sqlite")
    assert not (tmp_path / "s.sqlite").exists()


def test_the_store_of_another_user_is_refused_and_not_touched(tmp_path: Path) -> None:
    if os.geteuid() != 0:
        pytest.skip("only root can make another user's file here")
    path = filled(tmp_path / "s.sqlite", runs=1)
    os.chown(path, 65534, 65534)
    before = path.read_bytes()
    with pytest.raises(StoreError, match=r"s\.sqlite belongs to another user \(uid 65534\)"):
        open_journal(path)
    assert path.read_bytes() == before


def _refused_as_nobody(path: Path) -> str:
    """What an ordinary user is told; '' when nothing is refused."""
    reader, writer = os.pipe()
    child = os.fork()
    if child == 0:
        if os.geteuid() == 0:
            os.setgid(65534)
            os.setuid(65534)
        text = ""
        try:
            place.require_fit(path)
            InstanceLock(path.with_name("service.lock")).release()
        except StoreError as error:
            text = str(error)
        os.write(writer, text.encode())
        os._exit(0)
    os.close(writer)
    os.waitpid(child, 0)
    with os.fdopen(reader) as stream:
        return stream.read()


def test_a_folder_that_cannot_be_written_is_refused_with_its_path(tmp_path: Path) -> None:
    for folder in [tmp_path, *list(tmp_path.parents)[:3]]:
        if str(folder).startswith("/tmp/"):
            folder.chmod(0o755)
    ours = tmp_path / "ours"
    ours.mkdir(mode=0o555)
    assert f"{ours} cannot be written" in _refused_as_nobody(ours / "s.sqlite")
    ours.chmod(0o777)
    assert _refused_as_nobody(ours / "s.sqlite") == ""


def test_a_folder_that_is_not_there_is_named(tmp_path: Path) -> None:
    with pytest.raises(StoreError, match="is no folder"):
        open_journal(tmp_path / "none" / "s.sqlite")


def test_a_second_service_is_refused_and_a_dead_one_is_no_obstacle(tmp_path: Path) -> None:
    lock = InstanceLock(tmp_path / "service.lock")
    with pytest.raises(StoreError, match=f"process {os.getpid()}"):
        InstanceLock(tmp_path / "service.lock")
    lock.release()
    (tmp_path / "service.lock").write_text("999999")
    InstanceLock(tmp_path / "service.lock").release()
    with pytest.raises(StoreError, match="cannot be opened"):
        InstanceLock(tmp_path)
