"""The hash chain: each batch's hash covers the one before and a canonical text of the batch.

It proves that a journal agrees with a head that someone else holds, and finds bit rot. It does not prove
who wrote it: whoever can write the file can rewrite the chain, if no head has left the machine.
"""

from __future__ import annotations

import hashlib

GENESIS = hashlib.sha256(b"lastgrain journal 1").hexdigest()
"""What the first batch of a store follows."""


def sha256_hex(data: bytes) -> str:
    """SHA-256 in hexadecimal."""
    return hashlib.sha256(data).hexdigest()


def batch_hash(
    before: str, seq: int, run_id: str, at_ns: int, utc: str, events: str, readings_sha256: str
) -> str:
    """Hash of one batch. Fields are joined by line feeds, which none of them contains."""
    text = "\n".join((before, str(seq), run_id, str(at_ns), utc, readings_sha256, events))
    return sha256_hex(text.encode())


def entry_hash(before: str, seq: int, entry: str) -> str:
    """Hash of one entry of the register: that of the one before, its number and its text."""
    return sha256_hex("\n".join((before, str(seq), entry)).encode())
