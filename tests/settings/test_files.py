"""Configuration: every typo is refused with its line and the nearest valid name."""

from __future__ import annotations

import contextlib
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from logger.core.method import Method
from logger.settings import Bench, ConfigError, config_dir, find_config, load_bench, load_method
from logger.settings.toml_lines import line_of
from logger.settings.toml_model import parse_toml

METHODS = sorted((config_dir() / "methods").glob("*.toml"))
BENCHES = sorted((config_dir() / "benches").glob("*.toml"))
FILLER = (config_dir() / "methods" / "filler-45-interval.toml").read_text(encoding="utf-8")


@pytest.mark.parametrize("path", METHODS, ids=lambda p: p.stem)
def test_shipped_methods_load_and_are_named_by_their_id(path: Path) -> None:
    assert load_method(path).method.id == path.stem


@pytest.mark.parametrize("path", BENCHES, ids=lambda p: p.stem)
def test_shipped_benches_load(path: Path) -> None:
    assert load_bench(path).site


def problem(text: str, model: type[object] = Method) -> ConfigError:
    with pytest.raises(ConfigError) as caught:
        parse_toml(text, model, "m.toml")
    return caught.value


@pytest.mark.parametrize(
    ("old", "new", "words", "at"),
    [
        ("mass_g = 25.0", "mas_g = 25.0", 'did you mean "mass_g"?', "mas_g ="),
        ("[suction]", "[sucktion]", 'did you mean "suction"?', "[sucktion]"),
        ("mass_g = 25.0", 'mass_g = "25"', "charge.mass_g", "mass_g ="),
        ("mass_g = 25.0", "mass_g = -25.0", "mass_g must be above zero", "mass_g ="),
        ("mass_g = 25.0", "mass_g = nan", "charge.mass_g", "mass_g ="),
        ("mass_g = 25.0", "mass_g = inf", "charge.mass_g", "mass_g ="),
        ('rule = "loss-rate"', 'rule = "lossrate"', "endpoint.rule", 'rule = "lossrate"'),
        ("dp_pa = 2500.0", "dp_pa = 2500.0\ndp_pa = 2400.0", "given twice", "dp_pa = 2400"),
        ("band_pa = 250.0", "band_pa = 3000.0", "half-width", "band_pa ="),
        ('mode = "interval"', "mode = true", "weighing.mode", "mode = true"),
        (
            "limit_pct_per_min = 0.1 ",
            "change_pct = 5.0 ",
            'belongs to rule = "relative-change"',
            "change_pct =",
        ),
    ],
)
def test_a_wrong_line_is_named_with_what_to_do(old: str, new: str, words: str, at: str) -> None:
    assert old in FILLER
    text = FILLER.replace(old, new, 1)
    error = problem(text)
    assert words in error.sentence()
    assert error.line is not None
    assert at in text.splitlines()[error.line - 1]
    assert error.sentence().startswith(f"m.toml, line {error.line}: ")


def test_a_missing_table_is_named() -> None:
    start, end = FILLER.index("[charge]"), FILLER.index("[sieve]")
    assert '"charge" is missing' in problem(FILLER[:start] + FILLER[end:]).sentence()


def test_a_byte_order_mark_is_accepted_and_other_encodings_are_refused(tmp_path: Path) -> None:
    path = tmp_path / "m.toml"
    path.write_bytes(b"\xef\xbb\xbf" + FILLER.encode())
    assert load_method(path).charge.mass_g == 25
    path.write_bytes(FILLER.encode("utf-16"))
    with pytest.raises(ConfigError, match="UTF-8"):
        load_method(path)


def test_an_absent_file_and_a_folder_are_sentences(tmp_path: Path) -> None:
    with pytest.raises(ConfigError, match="no such file"):
        load_method(tmp_path / "none.toml")
    with pytest.raises(ConfigError, match="cannot be read"):
        load_method(tmp_path)


def test_an_unknown_shipped_name_lists_what_is_shipped() -> None:
    with pytest.raises(ConfigError, match="filler-45-interval"):
        find_config("methods", "filler-45")


def test_a_shipped_name_never_leaves_the_shipped_folder() -> None:
    with pytest.raises(ConfigError):
        find_config("methods", "../benches/demo-beside")


@pytest.mark.parametrize("slug", ["", "Plant", "a/b", "a+b", "a#", "-a", "a" * 41, "é", "a b"])
def test_site_and_bench_are_safe_topic_levels(slug: str) -> None:
    text = (config_dir() / "benches" / "demo-beside.toml").read_text(encoding="utf-8")
    error = problem(text.replace('site = "demo-site"', f'site = "{slug}"'), Bench)
    assert "topics" in error.sentence()


def test_lines_are_found_in_nested_and_quoted_keys() -> None:
    text = 'a = 1\n[t.u]\n"k" = 2\nv.w = 3\n'
    assert line_of(text, ["a"]) == 1
    assert line_of(text, ["t", "u", "k"]) == 3
    assert line_of(text, ["t", "u", "v", "w"]) == 4
    assert line_of(text, ["t", "u", "none"]) == 2
    assert line_of(text, ["none"]) is None


@settings(max_examples=300, deadline=None)
@given(st.integers(0, len(FILLER) - 1), st.sampled_from(list('xX="[]{}#.,-1é\t\n ')))
def test_any_changed_character_gives_a_method_or_a_sentence(place: int, char: str) -> None:
    text = FILLER[:place] + char + FILLER[place + 1 :]
    # Anything else than a ConfigError would end the test.
    with contextlib.suppress(ConfigError):
        parse_toml(text, Method, "m.toml")
