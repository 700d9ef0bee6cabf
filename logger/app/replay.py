"""`lastgrain replay`: traces and kept runs through an endpoint rule, one answer each, in the order given."""

from __future__ import annotations

import json
import os
import sys
from collections.abc import Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import TextIO

from logger.app.cli_base import require_charge
from logger.app.paths import DataFolder
from logger.app.stored_runs import is_run_number, stored_run
from logger.core.method import Method
from logger.core.replay import Answer, replay
from logger.core.rig import Rig
from logger.core.rule_comparison import RuleResult, compare_rules
from logger.core.rule_overrides import OverrideError, with_overrides
from logger.core.text import printable_text
from logger.core.trace import Trace, TraceError, parse_trace
from logger.settings import ConfigError, load_method, load_rig
from logger.store.errors import StoreError

EXIT_OK, EXIT_USAGE, EXIT_REFUSED = 0, 2, 3
WORTH_A_POOL = 4
"""Fewer traces than this are answered sooner than processes start."""


@dataclass(frozen=True, slots=True)
class _Job:
    """What every trace is asked; `method` None: a kept run's own."""

    method: Method | None
    overrides: tuple[str, ...]
    rig: Rig | None
    charge_g: float | None
    compare: bool
    data: DataFolder | None


@dataclass(frozen=True, slots=True)
class _Source:
    """A trace, and what it is judged with."""

    trace: Trace
    method: Method
    rig: Rig | None


@dataclass(frozen=True, slots=True)
class _Reply:
    answer: Answer
    rules: tuple[RuleResult, ...] = ()


def replay_command(
    traces: Sequence[str | Path],
    method_path: str | Path | None,
    rig_path: str | Path | None = None,
    charge_g: float | None = None,
    rule_overrides: Sequence[str] = (),
    compare: bool = False,
    json_out: bool = False,
    out: TextIO | None = None,
    err: TextIO | None = None,
    jobs: int | None = None,
    data: DataFolder | None = None,
) -> int:
    """Answers every trace; returns the exit code: 0, 2 for a bad command or config, 3 if any trace was
    refused or in error.

    `rule_overrides`: `loss-rate`, `relative-change`, `fixed-time`, or `key=value` with a key of the method
    file's [endpoint] or [weighing]. `charge_g` in g overrides trace and method. `jobs`: processes to use.
    A name of digits only is the number of a run kept in `data`; without `method_path` its own method and rig are
    taken.
    """
    out, err = out or sys.stdout, err or sys.stderr
    try:
        job = _job(method_path, rig_path, charge_g, rule_overrides, compare, data)
    except (ConfigError, OverrideError, ValueError) as error:
        print(printable_text(str(error)), file=err)
        return EXIT_USAGE
    if not traces:
        print("no trace given; name one or more trace files (CSV)", file=err)
        return EXIT_USAGE
    if job.method is None and not all(data is not None and is_run_number(str(trace)) for trace in traces):
        print("trace files need a method: give it with --method FILE", file=err)
        return EXIT_USAGE
    bad = False
    for reply in _answers([str(trace) for trace in traces], job, jobs):
        bad = bad or reply.answer.outcome in ("refused", "error")
        _show(reply, json_out, out)
    return EXIT_REFUSED if bad else EXIT_OK


def _job(
    method_path: str | Path | None,
    rig_path: str | Path | None,
    charge_g: float | None,
    rule_overrides: Sequence[str],
    compare: bool,
    data: DataFolder | None,
) -> _Job:
    require_charge(charge_g)
    method = None if method_path is None else load_method(Path(method_path))
    if method is not None:
        with_overrides(method, rule_overrides)
    rig = None if rig_path is None else load_rig(Path(rig_path))
    return _Job(method, tuple(rule_overrides), rig, charge_g, compare, data)


def _answers(traces: list[str], job: _Job, jobs: int | None) -> Iterator[_Reply]:
    workers = min(jobs or os.cpu_count() or 1, len(traces))
    if workers < 2 or len(traces) < WORTH_A_POOL:
        yield from (_answer(trace, job) for trace in traces)
        return
    with ProcessPoolExecutor(workers) as pool:
        yield from pool.map(partial(_answer, job=job), traces, chunksize=1)


def _answer(path: str, job: _Job) -> _Reply:
    try:
        source = _source(path, job)
        changed = with_overrides(source.method, job.overrides)
        answer = replay(source.trace, changed, source.rig, job.charge_g)
        rules = _compared(source, changed, job.charge_g) if job.compare else ()
    except (TraceError, StoreError, ValueError) as error:
        return _Reply(Answer(trace=path, outcome="error", reason=str(error)))
    return _Reply(answer, rules)


def _source(path: str, job: _Job) -> _Source:
    """The trace with its method and rig; those of the command line go before a kept run's own."""
    if job.data is not None and is_run_number(path):
        kept = stored_run(job.data, path)
        return _Source(kept.trace, job.method or kept.method, job.rig or kept.rig)
    assert job.method is not None
    return _Source(read_trace(path), job.method, job.rig)


def _compared(source: _Source, changed: Method, charge_g: float | None) -> tuple[RuleResult, ...]:
    methods = [("method", source.method)]
    if changed != source.method:
        methods.append(("with --rule", changed))
    return tuple(compare_rules(source.trace, methods, source.rig, charge_g))


def read_trace(path: str | Path) -> Trace:
    """Reads a trace file. Raises TraceError, also for a file that is not there or not text."""
    try:
        with Path(path).open(encoding="utf-8") as lines:
            return parse_trace(lines, str(path))
    except OSError as error:
        reason = (error.strerror or str(error)).lower()
        raise TraceError(str(path), None, f"cannot be read ({reason}); check the name") from error
    except UnicodeDecodeError as error:
        raise TraceError(str(path), None, "is not text in UTF-8; export it as CSV again") from error


def _show(reply: _Reply, json_out: bool, out: TextIO) -> None:
    if json_out:
        line = reply.answer.as_json()
        if reply.rules:
            line["rules"] = [rule.as_json() for rule in reply.rules]
        print(json.dumps(line, allow_nan=False), file=out, flush=True)
        return
    print(printable_text("\n".join(_lines(reply))), file=out, flush=True)


def _lines(reply: _Reply) -> Iterator[str]:
    answer = reply.answer
    yield f"{answer.trace}: {answer.outcome}"
    if answer.endpoint_s is not None:
        yield f"  stop at {answer.endpoint_s:.0f} s{_pm('residue', answer.residue_pct, answer.residue_u_pct, '%')}"
    yield f"  {answer.reason}"
    for forecast in answer.forecast:
        yield (
            f"  forecast at {forecast.at_rate_x:g} x limit: {forecast.t_s:.0f} s"
            f" ({forecast.low_s:.0f} to {forecast.high_s:.0f} s, {100 * forecast.level:.0f} %)"
        )
    if answer.feasible is False and answer.expected_delay_s is not None:
        yield f"  expected delay {answer.expected_delay_s:.0f} s: this method is hard for this rig"
    if reply.rules:
        yield f"  {'rule':34s} {'stop s':>8s} {'residue %':>10s} {'left %':>8s} {'longer s':>9s}"
    for rule in reply.rules:
        cells = (
            f"{_cell(rule.endpoint_s, 0):>8s} {_cell(rule.residue_pct, 2):>10s}"
            f" {_cell(rule.left_pct, 2):>8s} {_cell(rule.longer_s, 0):>9s}"
        )
        yield f"  {rule.rule:34s} {cells}"


def _pm(name: str, value: float | None, u: float | None, unit: str) -> str:
    return "" if value is None or u is None else f", {name} {value:.2f} {unit} (u = {u:.2f}, k = 1)"


def _cell(value: float | None, decimals: int) -> str:
    return "-" if value is None else f"{value:.{decimals}f}"
