"""Commands of the first day that look at ports: `learn` and `ports`."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from logger.app.cli_base import (
    EXIT_INSTRUMENT,
    EXIT_INTERRUPTED,
    EXIT_USAGE,
    GLOBALS,
    BenchOption,
    DataOption,
    JsonOption,
    fail,
    print_out,
    the_data,
)
from logger.app.paths import DataFolder
from logger.settings import Bench, ConfigError, load_bench

if TYPE_CHECKING:
    from logger.app.learn import Learned


def learn(
    port: Annotated[str, typer.Argument(metavar="PORT", help="Device, serial:NUMBER or socket://HOST:PORT.")],
    out: Annotated[Path, typer.Option("--out", metavar="FILE", help="Profile to write.")] = Path(
        "learned.toml"
    ),
    kind: Annotated[
        str | None, typer.Option("--kind", help="balance or pressure; else you are asked.")
    ] = None,
    request: Annotated[
        list[str] | None,
        typer.Option(
            "--request", metavar="TEXT", help="Also ask with this, \\r and \\n for line ends; give each."
        ),
    ] = None,
    json_out: JsonOption = False,
) -> None:
    """Learn how an unknown balance or transducer speaks, and write its profile. It asks before it sends anything."""
    import asyncio

    from drivers.learn.requests import RequestRefused, request_of
    from drivers.link_error import LinkError
    from drivers.units import Quantity
    from logger.app.learn import LearnOptions, Lesson, NotLearned
    from logger.app.prompts import Stopped, Terminal

    kinds = {None: None, "balance": Quantity.MASS, "pressure": Quantity.PRESSURE}
    if kind not in kinds:
        fail(EXIT_USAGE, f"--kind {kind}: give balance or pressure.")
    if out.exists():
        fail(EXIT_USAGE, f"{out} is there already and is never overwritten: name another file with --out.")
    try:
        requests = tuple(map(request_of, request or ()))
        options = LearnOptions(port=port, out=out, quantity=kinds[kind], requests=requests)
        learned = asyncio.run(Lesson(options, Terminal()).run())
    except RequestRefused as error:
        fail(EXIT_USAGE, f"{str(error)[:1].upper()}{str(error)[1:]}.")
    except LinkError as error:
        fail(EXIT_INSTRUMENT, f"{error.sentence[:1].upper()}{error.sentence[1:]}")
    except NotLearned as reason:
        fail(EXIT_INSTRUMENT, str(reason))
    except Stopped:
        fail(EXIT_INTERRUPTED, "Stopped. No profile was written.")
    answer = _answer(learned)
    print_out(answer if json_out else _page(answer))


def _answer(learned: Learned) -> dict[str, object]:
    return {
        "profile": str(learned.profile),
        "heard": str(learned.heard),
        "evidence": learned.evidence,
        "not_heard": learned.not_heard,
        "lines_heard": {"read": learned.lines_heard[0], "of": learned.lines_heard[1]},
        "lines_live": {"read": learned.lines_live[0], "of": learned.lines_live[1]},
    }


def bench_if_any(given: Path | None, data: DataFolder) -> Bench | None:
    """The bench file that is named or lies in the data folder, when it can be read."""
    path = given or GLOBALS.bench or data.root / "bench.toml"
    try:
        return load_bench(path) if path.exists() else None
    except ConfigError:
        return None


def ports(data: DataOption = None, bench: BenchOption = None, json_out: JsonOption = False) -> None:
    """Serial ports, what a bench file calls them so that they are found again, and who uses them."""
    from logger.app.ports import ports_listed, ports_page

    found = ports_listed(bench_if_any(bench, the_data(data)))
    print_out(found if json_out else ports_page(found))


def _page(answer: dict[str, object]) -> str:
    lines = [f"Profile written: {answer['profile']}"]
    for title in ("evidence", "not_heard"):
        found = answer[title]
        assert isinstance(found, tuple)
        lines += [f"  {text}." for text in found]
    heard, live = answer["lines_heard"], answer["lines_live"]
    assert isinstance(heard, dict)
    assert isinstance(live, dict)
    lines.append(
        f"Proved: {heard['read']} of {heard['of']} lines heard, {live['read']} of {live['of']} live."
    )
    lines.append(f"What was heard is kept in {answer['heard']}.")
    return "\n".join(lines)
