"""Tables as a workbook for a spreadsheet: readable headings with their unit, real numbers and dates, and a sheet that explains.

A text never becomes a formula, whatever it begins with: its cell is typed as text and marked as quoted, so that it stays one when
a person edits it.
"""

from __future__ import annotations

import io
import math
import re
import zipfile
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import TYPE_CHECKING, Any

from penult.model import catalogue
from penult.model.measured import Measure, Measured
from penult.outputs.texts import words
from penult.outputs.texts.plain import shown

if TYPE_CHECKING:
    from openpyxl.worksheet.worksheet import Worksheet

MARK = "made with penult"
EXPLAINED = "Headings"
LONGEST_TEXT = 2000
_WIDEST = 44
_ALWAYS = datetime(2020, 1, 1)  # noqa: DTZ001 - the format has no time zone; the same rows give the same bytes
_ZIP_TIME = (2020, 1, 1, 0, 0, 0)
_MODIFIED = re.compile(rb"(<dcterms:modified[^>]*>)[^<]*")
"""The library writes the moment of saving there, whatever it is told."""

Cell = str | float | int | date | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Column:
    """A heading, and what it means in one or two sentences."""

    head: str
    about: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Sheet:
    """One table: its name, its columns, and rows with a cell for each of them."""

    name: str
    columns: Sequence[Column]
    rows: Sequence[Sequence[Cell]]


def load() -> None:
    """Load the library before there is anything to write."""
    import openpyxl  # noqa: F401, PLC0415 - it takes a quarter of a second


def workbook(sheets: Sequence[Sheet]) -> bytes:
    """Return the tables as an .xlsx file, with a last sheet that explains every heading.

    Parameters
    ----------
    sheets : sequence of Sheet
        In the order in which they stand.

    Returns
    -------
    bytes
        The same for the same tables, whenever they are written.
    """
    from openpyxl import Workbook  # noqa: PLC0415

    book = Workbook()
    first = book.active
    if first is not None:
        book.remove(first)
    for sheet in [*sheets, _explained(sheets)]:
        _fill(book.create_sheet(sheet.name[:31]), sheet)
    book.properties.creator = MARK
    book.properties.created = _ALWAYS
    out = io.BytesIO()
    book.save(out)
    return _always_the_same(out.getvalue())


def measure_columns(name: str, part: str = "", where: str = "") -> tuple[Column, Column]:
    """Return the headings of a measure and of its u95: 'Contact time, penultimate contact (ms)' and '±, ...'."""
    term = catalogue.described(name, part)
    unit = f" ({term.unit})" if term.unit else ""
    full = ", ".join(w for w in (term.words, where) if w)
    about = f"{term.definition} In the result: {name}.".strip()
    return (
        Column(head=f"{words.capitalised(full)}{unit}", about=about),
        Column(
            head=f"{words.PLUS_MINUS} {full}{unit}",
            about=f"The true value lies within {words.PLUS_MINUS} this, 19 times of 20.",
        ),
    )


def measure_cells(name: str, measure: Measure | None, part: str = "") -> tuple[Cell, Cell]:
    """Return value and u95 in the unit that pages show, as numbers; nothing where it was not measured."""
    if not isinstance(measure, Measured):
        return None, None
    scale = catalogue.described(name, part).scale
    return _round(scale * measure.value), _round(scale * measure.u95)


def day_cell(text: str) -> Cell:
    """Return an ISO date as a real date; other texts as they are, none as nothing."""
    try:
        return date.fromisoformat(text)
    except ValueError:
        return text or None


def _round(value: float) -> float:
    """Six digits: more are none of the measurement's."""
    return float(f"{value:.6g}")


def _explained(sheets: Sequence[Sheet]) -> Sheet:
    rows = [[s.name, c.head, c.about] for s in sheets for c in s.columns]
    return Sheet(name=EXPLAINED, columns=[Column(head=h) for h in ("Sheet", "Heading", "What it is")], rows=rows)


def _fill(there: Worksheet, sheet: Sheet) -> None:
    from openpyxl.styles import Alignment, Font  # noqa: PLC0415
    from openpyxl.utils import get_column_letter  # noqa: PLC0415

    for j, column in enumerate(sheet.columns, start=1):
        _put(there.cell(row=1, column=j), column.head)
        there.cell(row=1, column=j).font = Font(bold=True)
        there.cell(row=1, column=j).alignment = Alignment(wrap_text=True, vertical="top")
    widths = [min(max(len(c.head) // 2, 10), 22) for c in sheet.columns]
    for i, row in enumerate(sheet.rows, start=2):
        for j, value in enumerate(row, start=1):
            _put(there.cell(row=i, column=j), value)
            if isinstance(value, str):
                widths[j - 1] = min(max(widths[j - 1], len(value)), _WIDEST)
    for j, width in enumerate(widths, start=1):
        there.column_dimensions[get_column_letter(j)].width = width + 2
    there.freeze_panes = "B2"


def _put(cell: Any, value: Cell) -> None:
    """Write one cell; a text as a text."""
    if value is None or (isinstance(value, float) and not math.isfinite(value)):
        return
    if isinstance(value, str):
        text = shown(value, LONGEST_TEXT)
        if not text:
            return
        cell.value = text
        cell.data_type = "s"
        cell.quotePrefix = True
        return
    cell.value = value
    if isinstance(value, date):
        cell.number_format = "yyyy-mm-dd"


def _always_the_same(data: bytes) -> bytes:
    """Return the file with its parts dated alike; the part that says who made it comes first, as it is, so that it can be found."""
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(data)) as made, zipfile.ZipFile(out, "w") as new:
        for name in sorted(made.namelist(), key=lambda n: (n != "docProps/core.xml", n)):
            how = zipfile.ZIP_STORED if name == "docProps/core.xml" else zipfile.ZIP_DEFLATED
            info = zipfile.ZipInfo(name, date_time=_ZIP_TIME)
            info.compress_type = how
            info.external_attr = 0o600 << 16
            part = made.read(name)
            new.writestr(
                info, _MODIFIED.sub(rb"\g<1>2020-01-01T00:00:00Z", part) if how == zipfile.ZIP_STORED else part
            )
    return out.getvalue()
