"""Workbooks for spreadsheets. Truth: the parts of the file itself (ECMA-376: `t="inlineStr"` is a text, `<f>` a formula, a number
has `t="n"` or none), and what openpyxl reads back."""

from __future__ import annotations

import io
import re
import zipfile
from datetime import date, datetime

import numpy as np
import openpyxl
import pytest
from hypothesis import given
from hypothesis import strategies as st

from penult.core.clips.compare import compare
from penult.core.synthetic.invented import Form, trial
from penult.model.comparison import Group
from penult.model.trial import Said
from penult.outputs.folder.sheets import result_sheets
from penult.outputs.texts.clip_sheets import clips_sheet, differences_sheet
from penult.outputs.texts.workbook import EXPLAINED, MARK, Column, Sheet, day_cell, measure_columns, workbook

HOSTILE = [
    "=1+1",
    "+1",
    "-1",
    "@SUM(A1)",
    '=HYPERLINK("http://x")',
    "\t=1",
    "%0A=1",
    "|cmd",
    "=cmd|' /C calc'!A0",
    "'=1",
]


def one_column(values: list[object]) -> bytes:
    return workbook([Sheet(name="T", columns=[Column(head="=head", about="-about")], rows=[[v] for v in values])])  # type: ignore[list-item]


def part(data: bytes, name: str) -> str:
    with zipfile.ZipFile(io.BytesIO(data)) as book:
        return book.read(name).decode()


def test_no_text_ever_becomes_a_formula() -> None:
    """Not one <f> in the sheet, and every text reads back as it was, the tab as a space at most."""
    data = one_column(list(HOSTILE))

    sheet = part(data, "xl/worksheets/sheet1.xml")
    assert "<f>" not in sheet
    assert len(re.findall(r't="inlineStr"', sheet)) == len(HOSTILE) + 1
    read = openpyxl.load_workbook(io.BytesIO(data))["T"]
    assert [c.value for c in read["A"]][1:5] == HOSTILE[:4]
    assert all(c.quotePrefix for c in read["A"])


@given(st.text(max_size=60))
def test_any_text_is_a_text_or_nothing(text: str) -> None:
    data = one_column([text])

    assert "<f>" not in part(data, "xl/worksheets/sheet1.xml")
    cell = openpyxl.load_workbook(io.BytesIO(data))["T"]["A2"]
    assert cell.data_type != "f"
    assert cell.value is None or isinstance(cell.value, str)


def test_dates_are_dates_and_numbers_are_numbers() -> None:
    """A date is a number of days with a format for dates; a number stands as it is, whatever the reader's decimal sign."""
    data = one_column([day_cell("2026-11-28"), 0.05, 14, None, float("nan")])

    read = openpyxl.load_workbook(io.BytesIO(data))["T"]
    assert read["A2"].is_date
    assert read["A2"].value == datetime(2026, 11, 28)  # noqa: DTZ001 - a day
    assert read["A2"].number_format == "yyyy-mm-dd"
    assert (read["A3"].value, read["A4"].value) == (0.05, 14)
    assert [read["A5"].value, read["A6"].value] == [None, None]
    days = (date(2026, 11, 28) - date(1899, 12, 30)).days  # the format's day 0
    assert f"<v>{days}</v>" in part(data, "xl/worksheets/sheet1.xml")


def test_a_day_that_is_none_stays_a_text() -> None:
    assert (day_cell("last Tuesday"), day_cell("")) == ("last Tuesday", None)


def test_the_same_tables_give_the_same_bytes_and_say_who_made_them() -> None:
    """Pages are replaced only where the first bytes say that they are ours."""
    assert one_column(["a"]) == one_column(["a"])
    moments = set(re.findall(r">(\d{4}-[^<]*)<", part(one_column(["a"]), "docProps/core.xml")))
    assert moments == {"2020-01-01T00:00:00Z"}  # not when it was written: that is nobody's business, and never the same
    assert MARK.encode() in one_column(["a"])[:2000]


def test_headings_are_readable_and_carry_their_unit() -> None:
    value, half = measure_columns("contact_time_s", "contacts", "penultimate contact")

    assert value.head == "Contact time, penultimate contact (ms)"
    assert half.head == "± contact time, penultimate contact (ms)"
    assert "contact_time_s" in value.about


def trials(kind: str, count: int, seed: int) -> list:
    rng = np.random.default_rng(seed)
    form = Form(athlete="A1", kind=kind)
    said = Said(date="2026-11-28", session="=hall", approach_strides=18, official_distance_m=5.61, note="+fine")
    return [trial(rng, form, said, file=f"{kind}{i}.mp4") for i in range(count)]


def test_a_comparison_is_a_row_a_clip_and_a_row_a_measure_in_the_shown_unit() -> None:
    """The hip drop of a row is the result's in centimetres: 100 times its metres."""
    first, second = trials("full approach", 3, 1), trials("short approach", 3, 2)
    c = compare(Group(name="=a", trials=tuple(first)), Group(name="b", trials=tuple(second)))
    data = workbook([differences_sheet(c), clips_sheet([*first, *second], ["=a"] * 3 + ["b"] * 3)])
    book = openpyxl.load_workbook(io.BytesIO(data))

    heads = [cell.value for cell in book["Clips"][1]]
    column = heads.index("Hip drop, penultimate (cm)")
    got = [row[column].value for row in book["Clips"].iter_rows(min_row=2)]
    want = [100.0 * t.analysis.penultimate["penultimate_hip_drop_m"].value for t in (*first, *second)]
    assert got == pytest.approx(want, rel=1e-5)
    assert heads[:4] == ["Group", "Date", "Session", "File"]
    assert book["Clips"]["B2"].is_date
    assert "<f>" not in part(data, "xl/worksheets/sheet1.xml") + part(data, "xl/worksheets/sheet2.xml")
    explained = {(r[0].value, r[1].value) for r in book[EXPLAINED].iter_rows(min_row=2)}
    assert explained == {(s.title, cell.value) for s in book if s.title != EXPLAINED for cell in s[1]}


def test_a_result_has_contacts_steps_and_what_there_is_once() -> None:
    """Contact times in milliseconds, in the order of the run; what is missing says why."""
    one = trials("full approach", 1, 3)[0].analysis
    book = openpyxl.load_workbook(io.BytesIO(workbook(result_sheets(one))))

    assert {"Contacts", "Steps", "Hips and take-off", EXPLAINED} <= set(book.sheetnames)
    heads = [cell.value for cell in book["Contacts"][1]]
    column = heads.index("Contact time (ms)")
    numbers = [row[0].value for row in book["Contacts"].iter_rows(min_row=2)]
    assert numbers == sorted(numbers)
    for row in book["Contacts"].iter_rows(min_row=2):
        measure = one.contact(row[0].value).measures["contact_time_s"]
        assert row[column].value == pytest.approx(1e3 * measure.value, rel=1e-5)
