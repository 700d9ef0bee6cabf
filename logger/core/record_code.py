"""A short code for a record, to be read from paper and typed: the first 60 bits of its hash.

The alphabet has no I, L, O and U, so that nothing is mistaken for 1 or 0 (as in D. Crockford's base 32). It
names a record and finds typing errors; what proves the record is the whole hash beside it.
"""

from __future__ import annotations

_ALPHABET = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"
_CHARACTERS, _GROUP = 12, 4
_READ_AS = str.maketrans("ILOU", "110V")


def record_code(sha256: str) -> str:
    """Three groups of four characters. Raises ValueError for what is no SHA-256 in hexadecimal."""
    if len(sha256) != 64:
        raise ValueError(f"a SHA-256 has 64 hexadecimal digits, not {len(sha256)}")
    bits = int(sha256, 16) >> (256 - 5 * _CHARACTERS)
    digits = [_ALPHABET[(bits >> 5 * place) & 31] for place in reversed(range(_CHARACTERS))]
    text = "".join(digits)
    return "-".join(text[start : start + _GROUP] for start in range(0, _CHARACTERS, _GROUP))


def same_code(typed: str, sha256: str) -> bool:
    """Whether a typed code belongs to this hash: case, blanks and hyphens do not matter, O is 0, I and L are 1."""
    plain = "".join(typed.upper().replace("-", " ").split()).translate(_READ_AS)
    return plain == record_code(sha256).replace("-", "")
