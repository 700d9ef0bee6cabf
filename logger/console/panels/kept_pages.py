"""Pages of text about one kept run: its figures, the decision explained, the budget, events, revisions."""

from __future__ import annotations

import contextlib
from collections.abc import Iterator, Mapping
from typing import Any

from textual.content import Content

from logger.console.answers import dict_of, dicts_of, list_of, number_of, text_of, whole_of
from logger.console.kept import KeptRun, residue_words
from logger.console.literal import cells, wrap
from logger.console.panels.ink import BAD, DIM, STRONG, TITLE, line, page, paragraph
from logger.console.panels.lower import event_lines
from logger.console.words import LEVEL_WORDS, NOTHING, duration
from logger.core.record_assessment import read_assessment
from logger.core.review import review_text
from logger.core.snapshot import EventView

LABEL = 14


def _pair(label: str, words: str, width: int, style: str = "") -> list[Content]:
    """A label and its words, wrapped beside it."""
    rows = wrap(words, max(8, width - LABEL)) or [NOTHING]
    return [
        line((label.ljust(LABEL) if at == 0 else " " * LABEL, DIM), (row, style))
        for at, row in enumerate(rows)
    ]


def _head(words: str) -> Content:
    return line((words, TITLE))


# --- numbers --------------------------------------------------------------------------------------------


def numbers(run: KeptRun, width: int) -> Content:
    """Identity, figures, equipment, weighings."""
    record = run.record
    lines = [_head("RESULT")]
    lines += _pair("residue", residue_words(run), width, STRONG)
    lines += [each for label, words in _result(run) for each in _pair(label, words, width)]
    lines += [Content(), _head("WHAT WAS TESTED, AND HOW")]
    lines += [each for label, words in _identity(run) for each in _pair(label, words, width)]
    weighed = dicts_of(record.get("weighings"))
    if weighed:
        lines += [Content(), _head(f"{'sieved':>8}{'gross g':>11}{'load g':>10}{'load %':>9}")]
        lines += [line(_weighing(each)) for each in weighed]
    return page(lines)


def _result(run: KeptRun) -> Iterator[tuple[str, str]]:
    record, assessed = run.record, dict_of(run.record.get("assessment"))
    result, times = dict_of(record.get("result")), dict_of(record.get("times"))
    if assessed:
        yield (
            "passing",
            f"{text_of(assessed.get('passing_text'), 20)} % ± {text_of(assessed.get('expanded_u_text'), 20)} %",
        )
    yield "outcome", _outcome(run)
    yield "decision", run.row.decision
    yield "review", f"{review_words(run)}; revision {run.row.revision or NOTHING} of the record"
    if result:
        yield "weighed", f"{text_of(result.get('residue_g'))} g of {text_of(result.get('charge_g'))} g"
    effective_s, decision_s = number_of(times.get("effective_s")), number_of(times.get("decision_s"))
    yield "times", f"sieved {duration(effective_s)}, decided at {duration(decision_s)} after suction on"
    for note in list_of(result.get("warnings")):
        yield "note", text_of(note)
    for deviation in dicts_of(record.get("deviations")):
        yield "deviation", text_of(deviation.get("text"))


def _outcome(run: KeptRun) -> str:
    """In a word, and why; the reason of an endpoint begins with that word."""
    return f"{run.row.outcome}: {text_of(run.record.get('reason')).removeprefix('Endpoint: ')}"


def review_words(run: KeptRun) -> str:
    """Where it stands, by whom; in a word where the record does not say more."""
    with contextlib.suppress(KeyError, TypeError, IndexError, AttributeError):
        return text_of(review_text(run.record))
    return run.row.review or NOTHING


def _identity(run: KeptRun) -> Iterator[tuple[str, str]]:
    record, row = run.record, run.row
    sample, method, sieve = (dict_of(record.get(name)) for name in ("sample", "method", "sieve"))
    yield (
        "sample",
        f"{row.sample}, lot {row.lot or NOTHING}, point {text_of(sample.get('point'), 64) or NOTHING}",
    )
    yield "operator", row.operator
    yield (
        "method",
        f"{row.method} revision {text_of(method.get('revision'))}: {text_of(method.get('title'), 120)}",
    )
    aperture = text_of(record.get("aperture_um"))
    yield "sieve", f"{aperture} µm, {text_of(sieve.get('id'), 64) or 'not named'}"
    for fitness in dicts_of(record.get("fitness")):
        yield (
            text_of(fitness.get("what"), LABEL - 1),
            f"{text_of(fitness.get('standing'), 20)}: {text_of(fitness.get('text'))}",
        )
    yield "started", f"{row.started} UTC{' · simulated' if record.get('simulated') is True else ''}"
    yield "software", text_of(record.get("software"), 60)


def _weighing(each: Mapping[str, Any]) -> str:
    effective_s, gross_g, load_g, load_pct = (
        number_of(each.get(name)) for name in ("effective_s", "gross_g", "load_g", "load_pct")
    )
    figures = "".join(
        NOTHING.rjust(room) if value is None else f"{value:>{room}.3f}"
        for value, room in ((gross_g, 11), (load_g, 10), (load_pct, 9))
    )
    return f"{duration(effective_s):>8}{figures}{'  typed' if each.get('typed') is True else ''}"


# --- the decision ---------------------------------------------------------------------------------------


def decision(run: KeptRun, width: int) -> Content:
    """Why the run ended when it did, and why its figure was accepted or not."""
    lines = [_head("WHY THE RUN ENDED")]
    lines += [each for label, words in _ending(run) for each in _pair(label, words, width)]
    lines += [Content(), _head("WHY THE FIGURE STANDS AS IT DOES")]
    lines += [each for label, words in _verdict(run) for each in _pair(label, words, width)]
    return page(lines)


def _ending(run: KeptRun) -> Iterator[tuple[str, str]]:
    asked, found = dict_of(run.method.get("endpoint")), dict_of(run.record.get("endpoint"))
    times = dict_of(run.record.get("times"))
    yield "outcome", _outcome(run)
    yield "asked", _asked(asked)
    if found:
        if found.get("text") != run.record.get("reason"):
            yield "found", text_of(found.get("text"))
        yield "figures", _figures(found)
    decision_s, off_s = number_of(times.get("decision_s")), number_of(times.get("suction_off_s"))
    yield "decided", f"{duration(decision_s)} after suction on; suction off at {duration(off_s)}"
    least_s, most_s = number_of(asked.get("min_time_s")), number_of(asked.get("max_time_s"))
    yield "times", f"at least {duration(least_s)} sieved, at most {duration(most_s)} after suction on"
    for event in run.events:
        if event.get("kind") == "decided":
            yield "at the time", f"{text_of(event.get('utc'), 40)[11:19]} {text_of(event.get('text'))}"


def _asked(asked: Mapping[str, Any]) -> str:
    rule = text_of(asked.get("rule"), 30)
    if rule == "loss-rate":
        limit, margin = text_of(asked.get("limit_pct_per_min")), text_of(asked.get("margin"))
        return f"loss rate surely below {limit} % of the charge per minute, with {margin} times the limit as margin"
    if rule == "relative-change":
        parts = [(asked.get("change_pct"), "% of the charge"), (asked.get("change_g"), "g")]
        changes = [f"{text_of(value)} {unit}" for value, unit in parts if value is not None]
        return f"change from weighing to weighing below {' or '.join(changes)}"
    return f"a fixed time of {duration(number_of(asked.get('time_s')))}" if rule == "fixed-time" else NOTHING


def _figures(found: Mapping[str, Any]) -> str:
    unit = text_of(found.get("unit"), 10)
    value, u, limit = (number_of(found.get(name)) for name in ("value", "value_u", "limit"))
    said = NOTHING if value is None else f"{value:.4g} {unit}"
    said += "" if u is None else f", standard uncertainty {u:.2g} {unit}"
    return said + ("" if limit is None else f", limit {limit:g} {unit}")


def _verdict(run: KeptRun) -> Iterator[tuple[str, str]]:
    assessed, limits = dict_of(run.record.get("assessment")), dict_of(run.record.get("limits"))
    if not assessed:
        yield "result", f"none: a run that is {run.row.outcome} has no result"
        return
    yield "residue", residue_words(run)
    low, high = number_of(limits.get("residue_min_pct")), number_of(limits.get("residue_max_pct"))
    edges = [
        f"at least {low:g} %" if low is not None else "",
        f"at most {high:g} %" if high is not None else "",
    ]
    yield "specification", " and ".join(filter(None, edges)) or "none in the method"
    judged = dict_of(assessed.get("decision"))
    if judged:
        yield "rule", f"{text_of(judged.get('rule'), 30)}, guard band {text_of(judged.get('guard_pct'))} %"
        yield "verdict", text_of(judged.get("text"))
        probability = number_of(judged.get("probability"))
        if probability is not None:
            yield "probability", f"{100 * probability:.1f} % that the true value is within the limits"
    else:
        yield "verdict", f"none: {text_of(assessed.get('undecided'))}"
    corrected = dict_of(assessed.get("corrected"))
    if corrected:
        yield (
            "correction",
            (
                f"raw {text_of(corrected.get('raw_residue_pct'))} % times {text_of(corrected.get('factor'))}, "
                f"reference powder {text_of(corrected.get('certificate'), 60)}, {text_of(corrected.get('checked_on'))}"
            ),
        )
    if assessed.get("uncorrected"):
        yield "correction", f"none, the figures are raw: {text_of(assessed.get('uncorrected'))}"


# --- budget, events, revisions --------------------------------------------------------------------------


def budget(run: KeptRun, width: int) -> Content:
    """The uncertainty budget, largest share first."""
    found = None
    with contextlib.suppress(ValueError, KeyError, TypeError, AttributeError):
        found = read_assessment(run.record.get("assessment"))
    if found is None:
        return page(
            [_head("UNCERTAINTY"), *paragraph("This run has no result, so there is no budget.", width)]
        )
    lines = [
        _head("UNCERTAINTY"),
        *_pair("reported", f"{residue_words(run)}, {text_of(found.statement)}", width),
    ]
    lines += [Content(), line((f"{'source':34}{'u':>12}{'share of u':>12}{'% of u²':>9}", TITLE))]
    total = sum(part.contribution_pct**2 for part in found.budget.components) or 1.0
    for part in sorted(found.budget.components, key=lambda one: -abs(one.contribution_pct)):
        share = 100 * part.contribution_pct**2 / total
        amount = f"{part.u:.2g} {text_of(part.unit, 6)}"
        lines += _wide_row(
            text_of(part.name, 60), f"{amount:>12}{abs(part.contribution_pct):>10.3f} %{share:>8.0f}", width
        )
        lines += [line(("  " + each, DIM)) for each in wrap(text_of(part.basis), width - 2)]
    dof = "endless" if found.budget.dof is None else f"{found.budget.dof:.0f}"
    sums = f"u = {found.budget.u_pct:.3f} %, degrees of freedom {dof}, k = {found.budget.k:.2f}, "
    lines += [
        Content(),
        *paragraph(f"{sums}U = {found.budget.expanded_u_pct:.3f} % of the charge.", width, STRONG),
    ]
    for missing in found.budget.not_included:
        lines += _pair("not in it", f"{text_of(missing.name, 60)}: {text_of(missing.reason)}", width)
    return page(lines)


def _wide_row(name: str, figures: str, width: int) -> list[Content]:
    """Name and figures on one line, on two where the name is long."""
    if cells(name) <= 34:
        return [line((name.ljust(34), STRONG), figures)]
    return [*(line((each, STRONG)) for each in wrap(name, width)), line(" " * 34 + figures)]


def events(run: KeptRun, width: int) -> Content:
    """The log, oldest first."""
    lines = [_head("EVENTS, oldest first")]
    if run.left_out:
        lines += paragraph(
            f"{run.left_out} older ones are left out: `lastgrain runs show {run.row.number}`.", width, BAD
        )
    for seq, event in enumerate(run.events):
        level = event.get("level") if event.get("level") in LEVEL_WORDS else "info"
        view = EventView(
            seq=seq,
            utc=text_of(event.get("utc"), 40),
            kind=text_of(event.get("kind"), 40),
            level=level,  # type: ignore[arg-type]
            text=str(event.get("text", "")),
        )
        lines += event_lines(view, width)
    return page(lines if run.events else [*lines, line(("none", DIM))])


def revisions(run: KeptRun, width: int) -> Content:
    """Every revision of the record: when, what changed and by whom, its hash."""
    lines = [_head("REVISIONS OF THE RECORD, newest first")]
    for each in reversed(run.revisions):
        when = text_of(each.get("issued_at"), 40)[:19].replace("T", " ")
        head = f"{text_of(each.get('revision'))}: {text_of(each.get('review'), 20)}, {text_of(each.get('outcome'), 20)}"
        lines += [line((f"revision {head}", STRONG), (f"   issued {when or NOTHING} UTC", DIM))]
        lines += [part for label, words in _changes(each) for part in _pair(f"  {label}", words, width)]
        lines += [
            line((f"  {part}", DIM))
            for part in wrap(f"SHA-256 {text_of(each.get('record_sha256'), 80)}", width - 2)
        ]
    return page(lines if run.revisions else [*lines, line(("none: the run has no record yet", DIM))])


def _changes(revision: Mapping[str, Any]) -> Iterator[tuple[str, str]]:
    """What made this revision of the one before: a signature, a correction, an invalidation."""
    before = whole_of(revision.get("revision")) - 1
    made = [*dicts_of(revision.get("signatures")), *dicts_of(revision.get("corrections"))]
    for each in made:
        if whole_of(each.get("revision")) == before:
            yield "by", _by(each, text_of(each.get("meaning"), 60) or "corrected")
            for change in dicts_of(each.get("changes")):
                old, new = (text_of(change.get(side), 80) or NOTHING for side in ("before", "after"))
                yield "", f"{text_of(change.get('what'), 40)}: {old} → {new}"
    declared = dict_of(revision.get("invalidation"))
    if declared and whole_of(declared.get("revision")) == before:
        yield "by", _by(declared, "declared invalid")


def _by(each: Mapping[str, Any], meaning: str) -> str:
    when, why = text_of(each.get("utc"), 40)[:16].replace("T", " "), text_of(each.get("why"))
    return f"{text_of(each.get('name'), 64)}, {when} UTC: {meaning}{f', {why}' if why else ''}"
