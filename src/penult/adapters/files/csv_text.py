"""Read a CSV file however a spreadsheet saved it: its encoding, its separator, its decimal comma."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterator
from pathlib import Path

from penult.core.csv_cells import unguarded
from penult.errors import LogbookError
from penult.whole_file import TooLargeError, read_whole

LARGEST_BYTES = 300_000_000
_NUMBER = re.compile(r"[+-]?([0-9]+\.?[0-9]*|\.[0-9]+)([eE][+-]?[0-9]{1,3})?\Z")
_SEPARATOR = re.compile(r'"?sep=([,;\t])"?', re.IGNORECASE)
_LARGEST_CELL = 5_000_000


def rows_of(path: Path, largest: int = LARGEST_BYTES) -> tuple[list[str], Iterator[tuple[int, list[str]]]]:
    """Return the header of a CSV file, and its rows with their line numbers.

    Parameters
    ----------
    path : Path
        UTF-8 or UTF-16 with or without a byte order mark, else Windows Latin; comma, semicolon or tab.
    largest : int
        Bytes.

    Returns
    -------
    list of str, iterator of (int, list of str)
        Cells without the guard against formulas; rows that hold nothing are passed over.

    Raises
    ------
    LogbookError
        If it cannot be read or is too large.
    """
    text = _text(path, largest)
    first, _, rest = text.lstrip("\r\n").partition("\n")
    if said := _SEPARATOR.fullmatch(first.strip()):  # a line for one spreadsheet program, not a row
        separator, text = said[1], rest
    else:
        separator = max(",;\t", key=first.count)
    csv.field_size_limit(_LARGEST_CELL)
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator)
    return next(_rows(reader, path), (0, []))[1], _rows(reader, path)


def _rows(reader: Iterator[list[str]], path: Path) -> Iterator[tuple[int, list[str]]]:
    try:
        for row in reader:
            if any(cell.strip() for cell in row):
                yield reader.line_num, [unguarded(cell) for cell in row]  # type: ignore[attr-defined]
    except csv.Error as error:
        raise LogbookError(f"{path} is not a readable table", f"near line {reader.line_num}: {error}") from error  # type: ignore[attr-defined]


def _text(path: Path, largest: int) -> str:
    try:
        data = read_whole(path, largest)
    except TooLargeError as error:
        raise LogbookError(f"{path} is too large", str(error.strerror)) from error
    except OSError as error:
        raise LogbookError(f"{path} cannot be read", error.strerror or str(error)) from error
    if data[:2] in (b"\xff\xfe", b"\xfe\xff"):
        return data.decode("utf-16", errors="replace")
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError:
        return data.decode("cp1252", errors="replace")  # what spreadsheets on Windows still write


def number_of(text: str) -> float:
    """Return a number written with a decimal point or comma; ValueError if it is none."""
    plain = text.strip().replace(",", ".")
    value = (
        float(plain) if _NUMBER.match(plain) else float("nan")
    )  # float takes 1_0 and digits of other scripts as well
    if not -1e9 <= value <= 1e9:
        raise ValueError(f"{text!r} is not a number")
    return value
