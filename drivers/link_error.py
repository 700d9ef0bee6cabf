"""Why a link could not be opened or was lost, in words for the operator."""

from __future__ import annotations

import errno
import os
from enum import StrEnum


class LinkTrouble(StrEnum):
    """The kinds of trouble a link can have."""

    ABSENT = "absent"
    IN_USE = "in-use"
    REFUSED = "refused"
    FAILED = "failed"
    LOST = "lost"


class LinkError(Exception):
    """A port that cannot be used; the message is a whole sentence that says where, what and what to do."""

    def __init__(self, trouble: LinkTrouble, sentence: str) -> None:
        super().__init__(sentence)
        self.trouble = trouble
        self.sentence = sentence


def open_error(port: str, error: BaseException) -> LinkError:
    """What a failed opening of `port` means."""
    code = getattr(error, "errno", None)
    if code in (errno.ENOENT, errno.ENODEV, errno.ENXIO):
        return LinkError(LinkTrouble.ABSENT, f"port {port} is not there: plug the instrument in.")
    if code in (errno.EACCES, errno.EPERM):
        advice = "ask for access to it (on Linux: membership of the group that owns the port)."
        return LinkError(LinkTrouble.REFUSED, f"port {port} may not be opened by this user: {advice}")
    if code in (errno.EBUSY, errno.EAGAIN):
        advice = "end the other program, or correct the port in the bench file."
        return LinkError(LinkTrouble.IN_USE, f"port {port} is in use by another program: {advice}")
    if code == errno.ECONNREFUSED:
        advice = "start what serves this address, or correct the port in the bench file."
        return LinkError(LinkTrouble.ABSENT, f"nothing listens at {port}: {advice}")
    if isinstance(error, TimeoutError):
        return LinkError(LinkTrouble.ABSENT, f"{port} does not answer: check the network and the address.")
    return LinkError(LinkTrouble.FAILED, f"port {port} cannot be opened ({_reason(error)}): check the port.")


def lost_error(port: str, error: BaseException | None) -> LinkError:
    """What a failure of the open `port` means; None when the other end closed it."""
    why = "the other end closed it" if error is None else _reason(error)
    if error is not None and (getattr(error, "errno", None) == errno.EIO or "readiness" in str(error)):
        why = "unplugged or switched off"
    return LinkError(LinkTrouble.LOST, f"the link at {port} was lost ({why}): check the cable and the power.")


def _reason(error: BaseException) -> str:
    code = getattr(error, "errno", None)
    if isinstance(code, int) and code > 0:
        return os.strerror(code).lower()
    if str(error).startswith("Multiple exceptions"):  # asyncio, when a name has several addresses
        return "none of its addresses takes a connection"
    return (getattr(error, "strerror", None) or str(error) or type(error).__name__).lower()
