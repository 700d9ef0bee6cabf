"""What the tables say: benches, how far each has come, what is missing, and what a person can do about it."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any

from logger.sink.database import Cursor
from logger.sink.ranges import Range, how_many

_MOST_RANGES = 5


@dataclass(frozen=True, slots=True, kw_only=True)
class BenchReport:
    """One bench. `missing` are gaps below `last_seq`; `behind` is what the bench handed out beyond it.

    `said_seq` and what follows from it are of the newest status that came.
    """

    site: str
    bench: str
    state: str
    last_seq: int
    said_seq: int
    messages: int
    runs: int
    records: int
    missing: tuple[Range, ...]
    behind: int
    waiting: int
    set_aside_there: int
    duplicates: int
    out_of_order: int
    republish: tuple[str, ...]
    """Commands that a person can give at the bench; the sink itself asks no bench."""

    @property
    def missing_count(self) -> int:
        """Numbers in all gaps."""
        return how_many(list(self.missing))


@dataclass(frozen=True, slots=True, kw_only=True)
class SinkReport:
    """All benches, and what was set aside: (fault, reason, how many), most frequent first."""

    benches: tuple[BenchReport, ...]
    set_aside: tuple[tuple[str, str, int], ...]

    def plain(self) -> dict[str, Any]:
        """As JSON values."""
        return {
            "benches": [asdict(bench) | {"missing_count": bench.missing_count} for bench in self.benches],
            "set_aside": [
                {"fault": fault, "reason": reason, "count": count} for fault, reason, count in self.set_aside
            ],
        }


def read_report(cursor: Cursor) -> SinkReport:
    """From the tables as they are."""
    names = "site, bench, state, last_seq, said_seq, waiting, set_aside_there, duplicates, out_of_order"
    rows = cursor.rows(f"SELECT {names} FROM bench ORDER BY site, bench")
    aside = cursor.rows(
        "SELECT fault, reason, count(*) FROM set_aside GROUP BY fault, reason ORDER BY 3 DESC, 1, 2"
    )
    return SinkReport(
        benches=tuple(_bench(cursor, row) for row in rows),
        set_aside=tuple((str(fault), str(reason), int(count)) for fault, reason, count in aside),
    )


def _bench(cursor: Cursor, row: tuple[Any, ...]) -> BenchReport:
    site, bench, state, last_seq, said_seq, waiting, aside, duplicates, out_of_order = row
    gaps = cursor.rows(
        "SELECT first_seq, last_seq FROM gap WHERE site = ? AND bench = ? ORDER BY first_seq", (site, bench)
    )
    missing = tuple((int(first), int(last)) for first, last in gaps)
    behind = max(0, said_seq - last_seq - waiting - aside)
    ends = [*missing, (last_seq + 1, said_seq)] if behind else list(missing)
    return BenchReport(
        site=site,
        bench=bench,
        state=state or "unknown",
        last_seq=last_seq,
        said_seq=said_seq,
        messages=_count(cursor, "SELECT count(*) FROM message WHERE site = ? AND bench = ?", site, bench),
        runs=_count(
            cursor, "SELECT count(DISTINCT run_id) FROM record WHERE site = ? AND bench = ?", site, bench
        ),
        records=_count(cursor, "SELECT count(*) FROM record WHERE site = ? AND bench = ?", site, bench),
        missing=missing,
        behind=behind,
        waiting=waiting,
        set_aside_there=aside,
        duplicates=duplicates,
        out_of_order=out_of_order,
        republish=commands(ends),
    )


def _count(cursor: Cursor, sql: str, site: str, bench: str) -> int:
    return int(cursor.rows(sql, (site, bench))[0][0])


def commands(gaps: list[Range]) -> tuple[str, ...]:
    """One a gap; where there are many, one over all of them, since what came before comes but twice."""
    wanted = gaps if len(gaps) <= _MOST_RANGES else [(gaps[0][0], gaps[-1][1])]
    return tuple(
        f"lastgrain runs republish --seq --from {first} --to {last} --by ID" for first, last in wanted
    )


def report_lines(report: SinkReport) -> list[str]:
    """For people."""
    if not report.benches and not report.set_aside:
        return ["Nothing has come yet."]
    lines = [line for bench in report.benches for line in _bench_lines(bench)]
    if report.set_aside:
        lines += ["", f"Set aside: {sum(count for _, _, count in report.set_aside)} (table set_aside)"]
        lines += [f"  {count} {fault}: {reason}" for fault, reason, count in report.set_aside[:20]]
    return lines


def _bench_lines(bench: BenchReport) -> list[str]:
    name = f"{bench.site}/{bench.bench}"
    lines = [
        f"{name}: {bench.state}, last seq {bench.last_seq}, {bench.messages} messages, {bench.records} records "
        f"of {bench.runs} runs, {bench.duplicates} duplicates, {bench.out_of_order} out of order"
    ]
    if bench.waiting:
        lines.append(f"  {bench.waiting} wait at the bench and are on their way")
    if bench.missing:
        shown = ", ".join(_words(gap) for gap in bench.missing[:_MOST_RANGES])
        more = ", ..." if len(bench.missing) > _MOST_RANGES else ""
        lines.append(f"  missing {bench.missing_count}: seq {shown}{more}")
    if bench.behind:
        lines.append(f"  missing at the end: {bench.behind} after seq {bench.last_seq}")
    if bench.set_aside_there:
        lines.append(f"  {bench.set_aside_there} set aside at the bench: the broker would not take them")
    if bench.republish:
        lines.append(f"  to be asked for at the bench {name}:")
        lines += [f"    {command}" for command in bench.republish]
    return lines


def _words(gap: Range) -> str:
    return str(gap[0]) if gap[0] == gap[1] else f"{gap[0]} to {gap[1]}"
