"""Where files are and how each kind is read."""

from __future__ import annotations

from pathlib import Path

import logger
from logger.core.method import Method
from logger.core.rig import Rig
from logger.settings.errors import ConfigError
from logger.settings.toml_model import load_toml


def config_dir() -> Path:
    """The shipped `config` folder, beside the packages in a checkout and in an installed wheel alike."""
    return Path(logger.__file__).resolve().parent.parent / "config"


def find_config(kind: str, name: str) -> Path:
    """A file given by path, or a shipped one by its bare name (`kind` is the folder: methods, profiles ...).

    Raises ConfigError that lists what is shipped.
    """
    given = Path(name)
    if given.suffix == ".toml" and _is_there(given):
        return given
    shipped = config_dir() / kind / f"{given.name.removesuffix('.toml')}.toml"
    if _is_there(shipped) and given.name == name:
        return shipped
    known = ", ".join(sorted(path.stem for path in (config_dir() / kind).glob("*.toml")))
    raise ConfigError(
        name[:80], f"there is no such file, and no shipped one of that name; shipped {kind}: {known}"
    )


def _is_there(path: Path) -> bool:
    """Whether there is such a file; a name that no file can have names none."""
    try:
        return path.exists()
    except (OSError, ValueError):
        return False


def load_method(path: Path) -> Method:
    """A method file. Raises ConfigError."""
    return load_toml(path, Method)


def load_rig(path: Path) -> Rig:
    """A rig file as a blank run writes it. Raises ConfigError."""
    return load_toml(path, Rig)
