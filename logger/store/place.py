"""Whether a place is fit for the store: a local disk, ours, writable, with room."""

from __future__ import annotations

import os
import re
import shutil
from pathlib import Path

from logger.store.errors import StoreError

NETWORK_TYPES = frozenset(
    {
        "9p",
        "afs",
        "beegfs",
        "ceph",
        "cifs",
        "coda",
        "davfs",
        "gfs2",
        "glusterfs",
        "lustre",
        "ncpfs",
        "nfs",
        "nfs4",
        "ocfs2",
        "orangefs",
        "prl_fs",
        "smb3",
        "smbfs",
        "vboxsf",
        "vmhgfs",
        "fuse.ceph",
        "fuse.davfs",
        "fuse.glusterfs",
        "fuse.rclone",
        "fuse.s3fs",
        "fuse.sshfs",
        "fuse.vmhgfs-fuse",
    }
)
"""File systems whose locks and shared memory SQLite cannot rely on ("How to corrupt an SQLite database file")."""
_MOUNTS = Path("/proc/self/mounts")


def network_type(mounts: str, path: str) -> str | None:
    """The network file system that holds `path` (absolute, links resolved), None when it is a local one.

    `mounts` is the text of /proc/self/mounts; the last of the longest mount points that fit counts.
    """
    best, kind = -1, ""
    for line in mounts.splitlines():
        fields = line.split(" ")
        if len(fields) < 3:
            continue
        point = re.sub(r"\\([0-7]{3})", lambda match: chr(int(match[1], 8)), fields[1])
        if len(point) >= best and (path == point or path.startswith(point.rstrip("/") + "/")):
            best, kind = len(point), fields[2]
    return kind if kind in NETWORK_TYPES else None


def require_fit(path: Path) -> None:
    """Raises StoreError that names the path and says what to do."""
    folder = path.parent
    if not folder.is_dir():
        raise StoreError(f"{folder} is no folder; make it, or name another with --data.")
    if _MOUNTS.exists():
        kind = network_type(_MOUNTS.read_text(encoding="utf-8", errors="replace"), os.path.realpath(path))
        if kind is not None:
            raise StoreError(
                f"{path} is on a network file system ({kind}), where a store can be damaged: "
                "name a folder on a local disk with --data, and copy there with `lastgrain backup`."
            )
    for one in (folder, path, path.with_name(f"{path.name}-wal")):
        if one.exists():
            _require_ours(one)


def _require_ours(path: Path) -> None:
    owner = path.stat().st_uid
    if path.is_file() and owner != our_user(owner):
        raise StoreError(
            f"{path} belongs to another user (uid {owner}): run as that user, or name another folder with --data."
        )
    if not os.access(path, os.W_OK):
        raise StoreError(
            f"{path} cannot be written: change its permissions, or name another folder with --data."
        )


def our_user(otherwise: int) -> int:
    """The number of this user; `otherwise` where files have no such owner (Windows)."""
    return os.geteuid() if hasattr(os, "geteuid") else otherwise


def free_bytes(path: Path) -> int:
    """Free space for us where `path` is."""
    return shutil.disk_usage(path.parent).free
