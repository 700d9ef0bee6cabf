"""The catalogues: every language says the same, and nothing is missing or left over."""

from __future__ import annotations

import re
import string
import tomllib
from pathlib import Path

import pytest

import logger.report
from logger.core.run.cautions import CAUTIONS
from logger.core.run.events import EventKind as E
from logger.core.run.words import event_text
from logger.core.weighing import BalanceSpec
from logger.report.texts import FOLDER, MINUS, UnknownLanguageError, languages, texts
from tests.core.run.made_runs import PLANNED
from tests.report.sheets import live_sheet, sheet

REPORT = Path(logger.report.__file__).parent
OTHERS = [language for language in languages() if language != "en"]
WORDS = (
    "outcome",
    "outcome_sentence",
    "banner",
    "decision_word",
    "decision_detail",
    "decision_rule",
    "source",
    "equipment_name",
    "standing",
    "meaning",
    "role",
    "method.mode_",
    "rule.",
    "decision.at_",
    "chart.alternative_",
    "chart.caption_",
    "equipment.",
    "endpoint.title",
    "conditions.",
    "part",
    "review",
    "way",
    "distribution.portion_",
)
"""Groups whose keys are put together from names of the record."""


def placeholders(found: str | tuple[str, ...]) -> set[str | None] | int:
    if isinstance(found, tuple):
        return len(found)
    return {name for _, name, _, _ in string.Formatter().parse(found) if name is not None}


@pytest.mark.parametrize("language", OTHERS)
def test_every_language_has_the_same_keys_and_placeholders(language: str) -> None:
    english, other = texts("en").entries, texts(language).entries
    assert {key: placeholders(text) for key, text in other.items()} == {
        key: placeholders(text) for key, text in english.items()
    }


def test_a_second_language_is_shipped_and_says_something_else() -> None:
    assert "de" in OTHERS
    english, german = texts("en"), texts("de")
    assert sum(english.entries[key] == german.entries[key] for key in english.entries) < 20


def test_an_unknown_language_is_refused_with_those_that_there_are() -> None:
    with pytest.raises(UnknownLanguageError, match=r"no report texts in '\.\./en'; there are: de, en\."):
        texts("../en")


def test_figures_follow_the_language() -> None:
    assert texts("en").fixed(-0.125, 2) == f"{MINUS}0.12"
    assert texts("de").fixed(0.135, 2) == "0,14"
    assert texts("de").short(2500.0) == "2500"
    assert texts("de").figure("11.0") == "11,0"


def test_values_are_not_read_as_texts_again() -> None:
    assert texts("en")("banner.no_result_detail", outcome="{reason}", reason="{0.__class__}") == (
        "Outcome {reason}: {0.__class__}"
    )


def test_the_cautions_are_those_that_are_acknowledged() -> None:
    assert texts("en").listed("cautions.lines") == CAUTIONS


def test_every_source_of_a_balance_has_its_word() -> None:
    everything = BalanceSpec(
        readability_g=1,
        repeatability_g=1,
        eccentricity_g=1,
        linearity_g=1,
        drift_g=1,
        buoyancy_g=1,
    )
    assert {f"source.weighing: {name}" for name, _ in everything.components_g} <= set(texts("en").entries)


def test_no_text_is_left_over_and_none_is_missing() -> None:
    source = "\n".join(path.read_text(encoding="utf-8") for path in REPORT.glob("*.py"))
    named = set(re.findall(r"""["']([a-z_]+\.[a-z_-]+)["']""", source)) & set(texts("en").entries)
    called = set(re.findall(r'\bt(?:\.listed)?\(\s*"([a-z_]+\.[a-z_-]+)"', source))
    assert called - set(texts("en").entries) == set()
    assert {key for key in texts("en").entries if key not in named and not key.startswith(WORDS)} == set()


def table(language: str) -> dict[str, str]:
    found: dict[str, str] = tomllib.loads((FOLDER / f"{language}.toml").read_text(encoding="utf-8"))[
        "recorded"
    ]
    return found


@pytest.mark.parametrize("language", OTHERS)
def test_patterns_of_recorded_sentences_are_sound(language: str) -> None:
    for known, own in table(language).items():
        here, there = placeholders(known), placeholders(own)
        assert isinstance(here, set)
        assert isinstance(there, set)
        assert there <= here, known
        constant = re.sub(r"\{\w+\}", "", known)
        assert len(constant) >= 8 or "{" not in known, f"{known!r} would fit too much"
        filled = known.format(**{str(name): "7" for name in here})
        assert texts(language).recorded(filled) != filled


def test_recorded_sentences_keep_what_people_wrote_and_turn_figures() -> None:
    de = texts("de")
    assert de.recorded("Load 2.934 g after 302.7 s.") == "Beladung 2,934 g nach 302,7 s."
    assert de.recorded("Stopped by op-7: Endpoint. 1.5 {x}.") == "Beendet von op-7: Endpoint. 1.5 {x}."
    assert de.recorded("Deviation: Mass was not read for part of the live run.") == (
        "Abweichung: Die Masse wurde während eines Teils des Laufs nicht gelesen."
    )
    assert de.recorded("Nothing known of this.") == "Nothing known of this."
    assert texts("en").recorded("Load 2.934 g after 302.7 s.") == "Load 2.934 g after 302.7 s."


def test_sentences_of_real_runs_have_their_german() -> None:
    """What a run by intervals, a live one, one stopped and one aborted say, but for what people typed."""
    typed = ("0.6 %/min", "0.10 %/min")
    left = set()
    runs = [sheet(sieve=PLANNED), sheet(), live_sheet(), live_sheet(E.TIME_LIMIT_REACHED), sheet(ended=None)]
    for found in runs:
        for event in found.events:
            sentence = event_text(event.kind, event.data)
            if texts("de").recorded(sentence) == sentence:
                left.add(sentence)
    assert left <= set(typed)
