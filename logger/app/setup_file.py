"""From the answers of `lastgrain setup` to the text of a bench file, and the files on disk."""

from __future__ import annotations

import json
import os
from collections.abc import Iterator, Mapping
from pathlib import Path

from logger.app.setup_questions import Answers
from logger.settings import Bench, ConfigError
from logger.settings.toml_model import parse_toml

KEPT = "setup-answers.json"
"""Beside the bench file to be: answers so far, so that a setup can be gone on with. No secret is among them."""


def bench_text(answers: Answers) -> str:
    """The bench file. Site, ports and profiles are quoted; figures are written as they were typed."""
    return "\n".join(_lines(answers)) + "\n"


def _lines(a: Answers) -> Iterator[str]:
    yield "# Written by `lastgrain setup`. Every key is explained in the examples beside it (config/benches)."
    yield f"site = {_text(a['site'])}"
    yield f"bench = {_text(a['bench'])}"
    yield f"arrangement = {_text(a['arrangement'])}"
    yield from (
        "",
        "[balance]",
        f"profile = {_text(a['balance_profile'])}",
        f"port = {_text(a['balance_port'])}",
    )
    for key in ("readability_g", "repeatability_g", "capacity_g"):
        yield f"{key} = {_number(a[key])}"
    yield f"zero_tolerance_g = {_number(str(max(0.05, 50 * float(a['readability_g']))))}"
    yield from (
        "",
        "[pressure]",
        f"profile = {_text(a['pressure_profile'])}",
        f"port = {_text(a['pressure_port'])}",
    )
    yield from ("", "[alarms]", f"dp_high_pa = {_number(a['dp_high_pa'])}")
    if a["permit"] != "none":
        yield from ("", "[permit]", f"kind = {_text(a['permit'])}", f"port = {_text(a['permit_port'])}")
        yield f"heartbeat_s = {_number(a['heartbeat_s'])}"
    if a["broker"] == "yes":
        yield from ("", "[broker]", f"host = {_text(a['host'])}", f"port = {a['mqtt_port']}")
        for key in ("ca_file", "username", "password_file"):
            if a.get(key):
                yield f"{key} = {_text(a[key])}"


def _text(text: str) -> str:
    return json.dumps(text).replace("\x7f", "\\u007f")


def _number(text: str) -> str:
    return repr(float(text))


def checked_bench(answers: Answers, path: Path) -> tuple[str, Bench]:
    """The text and what the tool reads from it. Raises ConfigError."""
    text = bench_text(answers)
    return text, parse_toml(text, Bench, path)


def write_new(path: Path, text: str) -> None:
    """Writes a file that must not exist, for this user alone. Raises ConfigError."""
    try:
        path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
        descriptor = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    except FileExistsError:
        raise ConfigError(path, "is there already and is never overwritten; name another file") from None
    except OSError as error:
        raise ConfigError(path, f"cannot be written ({error.strerror})") from None
    with os.fdopen(descriptor, "w", encoding="utf-8") as stream:
        stream.write(text)


def keep_answers(folder: Path, answers: Mapping[str, str]) -> None:
    """Keeps the answers so far; a folder that cannot be written is met again at the end."""
    try:
        folder.mkdir(parents=True, exist_ok=True, mode=0o700)
        path = folder / KEPT
        fresh = path.with_suffix(".new")
        fresh.unlink(missing_ok=True)
        write_new(fresh, json.dumps(dict(answers), indent=1, ensure_ascii=False))
        fresh.replace(path)
    except (OSError, ConfigError):
        return


def kept_answers(folder: Path) -> dict[str, str]:
    """Answers of a setup that was broken off; none when there are none or they cannot be read."""
    try:
        kept = json.loads((folder / KEPT).read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return {}
    good = isinstance(kept, dict) and all(isinstance(x, str) for pair in kept.items() for x in pair)
    return kept if good else {}
