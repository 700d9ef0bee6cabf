"""Tables as spreadsheets and laboratory systems write them; every fault told by line; nothing half taken."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from logger.core.refusal import ResultError
from logger.core.worklist.csv_import import ImportFound, read_worklist_csv
from logger.core.worklist.items import PlannedSample, WorkItem, Worklist

METHODS = ("cement-45", "filler-45")
EMPTY = Worklist()
GOOD = "sample_id,lot,point,sampled_at,method,sieve,aperture_um,due,priority"


def _read(text: str | bytes, worklist: Worklist = EMPTY) -> ImportFound:
    data = text if isinstance(text, bytes) else text.encode("utf-8")
    return read_worklist_csv(data, "plan.csv", worklist, METHODS)


ROWS = ["M-1", "L 1", "mill 2", "2031-05-02 06:30", "filler-45", "S-1", "45.5", "2031-05-03", "2"]
WANTED = PlannedSample(
    sample_id="M-1",
    lot="L 1",
    point="mill 2",
    sampled_at="2031-05-02 06:30",
    method_id="filler-45",
    sieve_id="S-1",
    aperture_um=45.5,
    due="2031-05-03",
    priority=2,
)


@pytest.mark.parametrize("delimiter", [",", ";", "\t"])
@pytest.mark.parametrize("ends", ["\n", "\r\n", "\r"])
@pytest.mark.parametrize("mark", ["", "\ufeff"])
def test_any_delimiter_line_end_and_byte_order_mark(delimiter: str, ends: str, mark: str) -> None:
    text = mark + delimiter.join(GOOD.split(",")) + ends + delimiter.join(ROWS) + ends
    assert _read(text).samples == (WANTED,)


def test_decimal_commas_turned_dates_and_headings_of_people() -> None:
    text = (
        "Sample ID;Sampling point;Sampled at;Method;Aperture um;Due;Priority\r\n"
        ' M-1 ;"mill; north";2.5.2031 06:30;cement-45;45,5;3.5.2031 14:00;1,0\r\n\r\n;;;;;;\r\n'
    )
    (sample,) = _read(text).samples
    assert sample.point == "mill; north"
    assert (sample.sampled_at, sample.due) == ("2031-05-02 06:30", "2031-05-03T14:00")
    assert (sample.aperture_um, sample.priority) == (45.5, 1)


def test_every_fault_is_told_by_line_and_nothing_is_taken() -> None:
    text = (
        "sample_id,method,due,priority,aperture_um\n"
        "M-1,filler-45,,,\n"
        "M-2,nope,,,\n"
        ",filler-45,,,\n"
        "M-4,,31/05/2031,,\n"
        "M-5,,,12,\n"
        "M-6,,,1.5,\n"
        "M-7,,,,abc\n"
        "M-8,,,,,extra\n"
    )
    with pytest.raises(ResultError) as caught:
        _read(text)
    told = str(caught.value).splitlines()
    assert told[0] == "nothing was taken from plan.csv: 7 of its lines cannot be read as they are"
    assert told[1] == "plan.csv, line 3: method 'nope' is not on this bench; there are: cement-45, filler-45"
    assert [line.split(":")[0] for line in told[1:]] == [f"plan.csv, line {n}" for n in range(3, 10)]
    assert "write 2031-05-02" in told[3]
    assert "needs quotation marks" in told[7]


def test_a_cell_over_several_lines_keeps_the_count_of_lines() -> None:
    with pytest.raises(ResultError, match=r"plan\.csv, line 2: .*U\+000A"):
        _read('sample_id,lot\n"M\n1",L\n')
    with pytest.raises(ResultError, match="line 4: method"):
        _read('sample_id,method,point\nM-1,,"a"\nM-2,,b\nM-3,nope,c\n')


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "is empty"),
        ("\n\n", "is empty"),
        ("sample_id\n", "headings but no sample"),
        ("lot,method\nL,m\n", "there is no column sample_id"),
        ("sample_id,priorty\nM,1\n", 'did you mean "priority"'),
        ("sample_id,sample\nM,M\n", "two columns are sample_id"),
        ('sample_id,lot\n"M,1\n', "quotation marks"),
        (b"sample_id\nM\xff\n", 'line 2: not UTF-8 text; save the file as "CSV UTF-8"'),
        ("sample_id\nM-1\n".encode("utf-16"), "UTF-16"),
        ("sample_id\nM\0\n", "line 2: holds a zero byte"),
        ("sample_id,due\nM,2031-05-02T06:30Z\n", "names a time zone"),
        ("sample_id,sampled_at\nM,2.5.2031 06:30+05:00\n", "names a time zone"),
        ("sample_id\n" + "M" * 65 + "\n", "at most 64"),
        ("sample_id\nM\u202e1\n", "U\\+202E"),
        ("sample_id\n\x1b[31mM\n", "U\\+001B"),
        (b"x" * 1_000_001, "split it"),
        ("sample_id\n" + "".join(f"M-{n}\n" for n in range(2001)), "at most 2000"),
    ],
)
def test_files_that_are_refused(text: str | bytes, words: str) -> None:
    with pytest.raises(ResultError, match=words):
        _read(text)


def test_duplicates_are_left_out_and_told() -> None:
    planned = WorkItem(
        number=7, sample=PlannedSample(sample_id="M-1", lot="L"), planned_utc="", planned_by="", source=""
    )
    found = _read("sample_id,lot\nM-1,L\nM-2,L\nM-2,L\nM-1,K\n", Worklist(items={7: planned}))
    assert [(each.sample_id, each.lot) for each in found.samples] == [("M-2", "L"), ("M-1", "K")]
    assert found.duplicates == (
        "plan.csv, line 2: sample M-1 is on the list already as item 7; left out",
        "plan.csv, line 4: sample M-2 is the same as line 3; left out",
    )


def test_columns_that_nobody_knows_are_passed_over_and_told() -> None:
    found = _read("sample_id,Remark of the lab,\nM-1,x,\n")
    assert found.notices == ('column "Remark of the lab" is passed over',)


TABLES = st.text(max_size=300).map(lambda text: f"sample_id;lot\n{text}".encode("utf-8", "replace"))


@settings(deadline=None, max_examples=80)
@given(st.one_of(st.binary(max_size=300), TABLES))
def test_anything_is_read_or_refused_with_a_sentence(data: bytes) -> None:
    told = ""
    try:
        samples = read_worklist_csv(data, "plan.csv", EMPTY, None).samples
    except ResultError as refusal:
        samples, told = (), str(refusal)
    assert bool(told.strip()) != bool(samples)
    assert "\x1b" not in told
    assert all(sample.sample_id for sample in samples)
