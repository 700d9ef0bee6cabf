from __future__ import annotations

import re
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from drivers import profile_file
from drivers.profile import NumberField
from drivers.profile_file import load_profile, parse_profile
from drivers.toml_table import ProfileError
from tests.drivers.dialects import NAMES, PROFILE_FOLDER

PLAIN = """\
title = "T"
quantity = "mass"
unit = "g"
mode = "polled"
request = "W\\r\\n"
period_s = 0.2
terminator = "\\r\\n"
overload = ["OL"]
[range]
min = -1
max = 10
[serial]
baud = 9600
[[field]]
kind = "sign"
positive = ["+"]
negative = ["-"]
[[field]]
kind = "number"
[[field]]
kind = "unit"
texts = { g = "g" }
"""


def refusal(text: str | bytes) -> ProfileError:
    data = text if isinstance(text, bytes) else text.encode("utf-8")
    with pytest.raises(ProfileError) as caught:
        parse_profile(data, "p.toml")
    return caught.value


def test_the_plain_profile_is_accepted() -> None:
    profile = parse_profile(PLAIN.encode(), "bench-7.toml")

    assert (profile.name, profile.request, profile.maximum) == ("bench-7", b"W\r\n", 10.0)
    assert NumberField() in profile.fields


CASES = [
    ("period_s = 0.2", "perod_s = 0.2", 6, "'perod_s' is not a key at the top of the file", "'period_s'"),
    ("baud = 9600", "baut = 9600", 13, "'baut' is not a key in [serial]", "'baud'"),
    ("baud = 9600", 'baud = "9600"', 13, "baud is '9600'", "whole number"),
    ("baud = 9600", "baud = true", 13, "baud is True", "whole number"),
    ('parity = "none"', 'parity = "evn"', 14, "parity is 'evn'", "'even'"),
    ("min = -1", "min = nan", 10, "min is nan", "number from"),
    ("max = 10", "max = -2", 11, "not above min", "swap or correct"),
    ('unit = "g"', 'unit = "kPa"', 3, "unit is 'kPa'", "choose one of g, mg, kg"),
    ('unit = "g"', 'unit = "G"', 3, "unit is 'G'", "g"),
    ('quantity = "mass"', 'quantity = "mas"', 2, "quantity is 'mas'", "'mass'"),
    ('mode = "polled"', 'mode = "streamed"', 5, "a streamed instrument is not asked", "leave request out"),
    ('unit = "g"\n', 'unit = "g"\nsuction = "positive"\n', 4, "belongs to a pressure profile", "leave"),
    (
        'quantity = "mass"\nunit = "g"',
        'quantity = "pressure"\nunit = "Pa"',
        None,
        "suction is missing",
        "add",
    ),
    ('request = "W\\r\\n"', 'request = ""', 5, "request has 0 characters", "1 to 64"),
    ('terminator = "\\r\\n"', 'terminator = ""', 7, "terminator has 0 characters", "1 to 4"),
    ('terminator = "\\r\\n"', 'terminator = "é"', 7, "terminator is 'é'", "ASCII"),
    ("period_s = 0.2\n", "", None, "period_s is missing", "add a line"),
    ("period_s = 0.2", "period_s = 0", 6, "period_s is 0", "number from 0.001"),
    ("period_s = 0.2", "period_s = 0.2\nperiod_s = 0.3", 7, "given twice", "keep one of them"),
    ("period_s = 0.2", "period_s = ", 6, "not valid TOML", "correct this line"),
    ('overload = ["OL"]', 'overload = "OL"', 8, "overload is 'OL'", "list"),
    ('overload = ["OL"]', 'overload = ["OL", "OL"]', 8, "names a text twice", "leave one"),
    ('overload = ["OL"]', 'overload = ["9999"]', 8, "is a number", "[range]"),
    ('overload = ["OL"]', 'overload = [" "]', 8, "is empty", "bare"),
    ('overload = ["OL"]', 'overload = ["OL"]\nunderload = ["OL"]', 9, "also an overload mark", "one list"),
    ('kind = "number"', 'kind = "nummer"', 19, "kind is 'nummer'", "'number'"),
    (
        'kind = "number"',
        'kind = "number"\ndecimals = 3',
        20,
        "'decimals' is not a key in [field]",
        "'decimal'",
    ),
    ('kind = "number"', 'kind = "number"\ntext = "x"', 20, "'text' is not a key in [field]", "kind, width"),
    ('kind = "number"', 'kind = "number"\nwidth = 2.5', 20, "width is 2.5", "whole number"),
    ('kind = "number"', 'kind = "number"\nsigned = 1', 20, "signed is 1", "true or false"),
    ('kind = "number"', 'kind = "number"\nfill = "zero"', 20, "needs its width", "add width"),
    ('kind = "number"', 'kind = "number"\nsigned = true', 20, "signed too", "keep one"),
    ('kind = "number"', 'kind = "text"\ntext = ""', 20, "text is empty", "leave the field out"),
    ('kind = "number"', 'kind = "spaces"\nat_least = 3\nat_most = 2', 21, "below at_least", "correct"),
    ('kind = "number"', 'kind = "text"\ntext = "x"', 14, "no field is the number", "add a field"),
    ('negative = ["-"]', 'negative = ["+"]', 17, "is also in positive", "one list"),
    ('{ g = "g" }', '{ g = "gram" }', 22, "'gram' is not a unit known here", "choose one of g"),
    ('{ g = "g" }', '"g"', 22, "texts is 'g'", "table"),
    ('{ g = "g" }', '{ gram = "g" }\nwidth = 2', 22, "'gram' is wider than 2", "correct"),
    ("[serial]", "[serial]\nxonxoff = true\nrtscts = true", 14, "both on", "manual"),
    ("[serial]", "[[serial]]", 12, "serial is [{", "[serial]"),
]


@pytest.mark.parametrize(("old", "new", "line", "problem", "advice"), CASES)
def test_what_is_wrong_is_refused_with_its_line(
    old: str, new: str, line: int | None, problem: str, advice: str
) -> None:
    text = PLAIN.replace("baud = 9600\n", 'baud = 9600\nparity = "none"\n') if "parity" in old else PLAIN
    assert old in text

    error = refusal(text.replace(old, new, 1))

    assert (error.file, error.line) == ("p.toml", line)
    assert problem in error.problem
    assert advice in error.advice
    place = "p.toml" if line is None else f"p.toml, line {line}"
    assert error.sentence() == f"{place}: {error.problem}; {error.advice}."


@pytest.mark.parametrize(
    ("fields", "problem"),
    [
        ('kind = "number"\n[[field]]\nkind = "number"', "stands twice"),
        ('kind = "number"\n[[field]]\nkind = "counter"', "runs into this field"),
        ('kind = "counter"\n[[field]]\nkind = "number"', "runs into this field"),
        ('kind = "number"\n[[field]]\nkind = "ignored"\nwidth = 3', "runs into this field"),
        ('kind = "spaces"\n[[field]]\nkind = "number"\nwidth = 8', "could belong to this field"),
        ('kind = "spaces"\n[[field]]\nkind = "spaces"', "could belong to this field"),
    ],
)
def test_a_layout_that_could_be_read_in_two_ways_is_refused(fields: str, problem: str) -> None:
    head = PLAIN[: PLAIN.index("[[field]]")]

    assert problem in refusal(f"{head}[[field]]\n{fields}\n").problem


def test_bytes_that_are_not_plain_utf8_are_refused() -> None:
    assert "byte order mark" in refusal(b"\xef\xbb\xbf" + PLAIN.encode()).problem
    error = refusal(PLAIN.replace("T", "\xe4").encode("latin-1"))
    assert (error.problem, error.line) == ("this is not UTF-8 text", 1)


def test_a_file_that_cannot_be_read_is_named(tmp_path: Path) -> None:
    with pytest.raises(ProfileError, match=r"missing\.toml: the profile cannot be read"):
        load_profile(tmp_path / "missing.toml")


@settings(deadline=None, max_examples=300)
@given(st.sampled_from(NAMES), st.data())
def test_a_damaged_profile_is_read_or_refused_with_a_sentence(name: str, data: st.DataObject) -> None:
    good = (PROFILE_FOLDER / f"{name}.toml").read_bytes()
    good = good[good.index(b"title") :]
    start = data.draw(st.integers(0, len(good)))
    end = data.draw(st.integers(start, min(len(good), start + 40)))
    damaged = good[:start] + data.draw(st.binary(max_size=8)) + good[end:]

    sentence = "p.toml."
    try:
        parse_profile(damaged, "p.toml")
    except ProfileError as error:
        sentence = error.sentence()

    assert sentence.startswith("p.toml")
    assert sentence.endswith(".")


def test_the_description_of_profiles_names_every_key_and_kind() -> None:
    text = (PROFILE_FOLDER / "README.md").read_text(encoding="utf-8")
    named = set(re.findall(r"`([a-z_]+)`", text))

    kinds = set(profile_file._FIELD_KINDS)
    field_keys = {key for keys, _ in profile_file._FIELD_KINDS.values() for key in keys}
    top_keys = set(profile_file._TOP_KEYS) - {"range", "serial", "field"}
    assert kinds | field_keys | top_keys | set(profile_file._SERIAL_KEYS) <= named
