"""Files that people asked for: whole or not at all, and never over another file unasked."""

from __future__ import annotations

import contextlib
from collections.abc import Mapping
from itertools import chain, count
from pathlib import Path

from logger.core.refusal import ResultError
from logger.store.errors import StoreError


def write(path: Path, content: bytes, replace: bool = False) -> Path:
    """Writes the file whole or not at all. A file with the same bytes is left; another one only on request.

    Raises `ResultError` for a file that is there already, StoreError where nothing can be written.
    """
    return write_all({path: content}, replace)[0]


def write_all(files: Mapping[Path, bytes], replace: bool = False) -> list[Path]:
    """The same for several that belong together: when one of them may not be written, none is."""
    wanted = [(path, content) for path, content in files.items() if _is_wanted(path, content, replace)]
    for path, content in wanted:
        _write(path, content)
    return list(files)


def free_name(path: Path) -> Path:
    """`path`, or where that is taken the first free of NAME-2, NAME-3 ..., the endings kept."""
    stem, dot, ending = path.name.partition(".")
    others = (path.with_name(f"{stem}-{number}{dot}{ending}") for number in count(2))
    return next(each for each in chain([path], others) if not each.exists())


def _is_wanted(path: Path, content: bytes, replace: bool) -> bool:
    """Whether it has still to be written."""
    try:
        if not path.exists():
            return True
        if path.is_file() and path.read_bytes() == content:
            return False
    except OSError as error:
        raise StoreError(f"{path} cannot be written: {error.strerror}.") from error
    if not replace:
        raise ResultError(
            f"{path} is there already and holds something else: name another with --to, or give --replace"
        )
    return True


def _write(path: Path, content: bytes) -> None:
    part = path.with_name(f".{path.name}.part")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        # Made anew: a link that lies there under this name is not followed.
        part.unlink(missing_ok=True)
        with part.open("xb") as stream:
            stream.write(content)
        part.replace(path)
    except (FileExistsError, NotADirectoryError) as error:
        raise StoreError(f"{path} cannot be written: {error.filename} is no folder.") from error
    except OSError as error:
        with contextlib.suppress(OSError):
            part.unlink(missing_ok=True)
        raise StoreError(f"{path} cannot be written: {error.strerror}.") from error
