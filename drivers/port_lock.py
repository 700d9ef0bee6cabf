"""One user at a time for one real device, and what else differs between operating systems at a port.

pyserial's own exclusive lock does not say who holds the port. So the first opener also locks a small file
that is named after the real device and holds its process id; the lock goes with the process, however it
ends, so a file left behind never blocks anyone.
"""

from __future__ import annotations

import contextlib
import os
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import serial

from drivers.link_error import LinkError, LinkTrouble

if sys.platform == "win32":
    PORT_ERRORS: Final[tuple[type[Exception], ...]] = (OSError, serial.SerialException)
    """What opening, reading or writing a port can raise."""
else:
    import fcntl
    import termios

    PORT_ERRORS: Final[tuple[type[Exception], ...]] = (OSError, serial.SerialException, termios.error)


def device_present(port: str) -> bool:
    """Whether the system shows the device now; where ports are not files, opening will tell."""
    return sys.platform == "win32" or Path(port).exists()


def is_pseudo_terminal(port: str) -> bool:
    """Whether the device has no real line behind it, and so no parity: Linux drops the setting without a word,
    and glibc then refuses the second opening with the same settings as an invalid argument (measured)."""
    return sys.platform == "linux" and Path(port).resolve().is_relative_to("/dev/pts")


def lock_folder() -> Path:
    """Where lock files are kept: the system's folder for them when it can be written, else that for
    temporary files."""
    system = Path("/run/lock")
    return system if os.access(system, os.W_OK | os.X_OK) else Path(tempfile.gettempdir())


@contextmanager
def locked_device(port: str, folder: Path | None = None) -> Iterator[None]:
    """Holds the device behind `port` (links followed) until the block ends.

    Raises LinkError when another holder is alive, OSError when the device does not exist.
    """
    if sys.platform == "win32":  # the system itself opens a port only once
        yield
        return
    name = f"instrument-port-{_device_key(port)}.lock"
    descriptor = _open_lock_file((folder or lock_folder()) / name)
    if descriptor is None:
        yield
        return
    try:
        _take(descriptor, port)
        yield
    finally:
        os.close(descriptor)


@dataclass(frozen=True, slots=True)
class PortUser:
    """A process that has a port open. `name` is its program, empty where the system does not say."""

    process: int
    name: str

    def words(self) -> str:
        """For a sentence."""
        return f"process {self.process}" + (f" ({self.name})" if self.name else "")


def port_users(port: str) -> list[PortUser]:
    """Who has the device open, as far as this user may see; the others are only met when opening fails."""
    found = dict.fromkeys(_openers(Path(port).resolve()))
    holder = _lock_holder(port)
    if holder is not None:
        found[holder] = None
    return [PortUser(process, _program(process)) for process in sorted(found)]


def _openers(device: Path) -> Iterator[int]:
    """Processes with the device among their open files: Linux shows those of the same user."""
    for folder in Path("/proc").glob("[0-9]*/fd"):
        with contextlib.suppress(OSError):  # another user's, or ended meanwhile
            if any(_leads_to(entry, device) for entry in folder.iterdir()):
                yield int(folder.parent.name)


def _leads_to(entry: Path, device: Path) -> bool:
    try:
        return entry.readlink() == device
    except OSError:
        return False


def _program(process: int) -> str:
    try:
        return Path(f"/proc/{process}/comm").read_text(encoding="utf-8", errors="replace").strip()
    except OSError:
        return ""


def _lock_holder(port: str, folder: Path | None = None) -> int | None:
    """The process that holds the lock of a port, None when nobody does."""
    if sys.platform == "win32":
        return None
    try:
        path = (folder or lock_folder()) / f"instrument-port-{_device_key(port)}.lock"
        descriptor = os.open(path, os.O_RDONLY | os.O_NOFOLLOW | os.O_CLOEXEC)
    except OSError:
        return None
    try:
        fcntl.flock(descriptor, fcntl.LOCK_SH | fcntl.LOCK_NB)
        return None
    except OSError:
        text = os.pread(descriptor, 32, 0).decode("ascii", "replace").strip()
        return int(text) if text.isdigit() else None
    finally:
        os.close(descriptor)


def may_open(port: str) -> bool:
    """Whether this user's rights allow reading and writing the device."""
    return os.access(port, os.R_OK | os.W_OK)


def owning_group(port: str) -> str:
    """The name of the group that owns the device; empty where there is no such thing."""
    try:
        return Path(port).group()
    except (OSError, KeyError, NotImplementedError):
        return ""


def _device_key(port: str) -> str:
    """The device number, the same for every name of one device; a plain file has none and gets its inode."""
    status = Path(port).stat()
    if status.st_rdev:
        return f"{os.major(status.st_rdev)}-{os.minor(status.st_rdev)}"
    return f"file-{status.st_dev}-{status.st_ino}"


def _open_lock_file(path: Path) -> int | None:
    """None when another user's file cannot even be read: then pyserial's lock has to do alone."""
    for flags in (os.O_RDWR | os.O_CREAT, os.O_RDONLY):
        try:
            return os.open(path, flags | os.O_NOFOLLOW | os.O_CLOEXEC, 0o644)
        except OSError:
            continue
    return None


def _take(descriptor: int, port: str) -> None:
    try:
        fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        holder = os.pread(descriptor, 32, 0).decode("ascii", "replace").strip() or "unknown"
        who = "this program itself" if holder == str(os.getpid()) else f"process {holder}"
        advice = "end it there first, or correct the port in the bench file."
        raise LinkError(LinkTrouble.IN_USE, f"port {port} is already used by {who}: {advice}") from None
    try:
        os.fchmod(descriptor, 0o644)  # whoever is refused may read who holds the port, whatever our umask
        os.ftruncate(descriptor, 0)
        os.pwrite(descriptor, f"{os.getpid()}\n".encode("ascii"), 0)
    except OSError:
        return  # another user's old file: locked all the same, only without our number
