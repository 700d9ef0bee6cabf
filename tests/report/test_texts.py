"""The catalogues: every language says the same, and nothing is missing or left over."""

from __future__ import annotations

import re
import string
from pathlib import Path

import pytest

import logger.report
from logger.core.run.cautions import CAUTIONS
from logger.core.weighing import BalanceSpec
from logger.report.texts import MINUS, UnknownLanguageError, languages, texts

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
