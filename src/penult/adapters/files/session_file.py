"""`session.csv`: what the coach says of the clips of a session. Every column is optional; every fault is listed at once.

A row without a file holds for every clip that has no row of its own.
"""

from __future__ import annotations

import csv
import difflib
import io
import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from penult.adapters.files.csv_text import number_of, rows_of
from penult.core import typed
from penult.core.csv_cells import guarded
from penult.errors import LogbookError
from penult.model.analysis import Mat

LARGEST_BYTES = 5_000_000
MOST_ROWS = 5000
_MOST_FAULTS = 30
_LONGEST_TEXT = 2000

COLUMNS: tuple[str, ...] = (
    "file", "athlete", "kind", "approach strides", "mats", "take-off foot", "official distance", "note",
    "date", "sex", "height", "capture rate", "run",
)  # fmt: skip
"""As the template writes them; capitals, hyphens, underscores and a unit in brackets do not matter."""


KINDS: tuple[str, ...] = ("full approach", "short approach", "mat drill", "run-through")
"""Kinds of clip that the tool has words for; any other word of the coach's may stand there too."""

ASIDE = "#"
"""A row whose file begins with it is passed over."""

_EXAMPLE = (
    f"{ASIDE} example, passed over", "A1", "mat drill", "14", "penultimate 5 cm", "left", "6.45",
    f"kinds: {', '.join(KINDS)}, or your own word", "2026-10-03",
)  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class SessionRow:
    """What was said of one clip; None, '' and () mean 'not said'."""

    file: str = ""
    athlete: str = ""
    kind: str = ""
    approach_strides: int | None = None
    mats: tuple[Mat, ...] = ()
    takeoff_foot: str = ""
    official_distance_m: float | None = None
    note: str = ""
    date: str = ""
    sex: str = ""
    height_m: float | None = None
    capture_rate_hz: float | None = None
    run: int = 1


@dataclass(frozen=True, slots=True, kw_only=True)
class SessionFile:
    """The rows by file name, and the row that holds for the others."""

    rows: Mapping[str, SessionRow] = field(default_factory=dict)
    others: SessionRow = field(default_factory=SessionRow)

    def row(self, file: str) -> SessionRow:
        """Return what was said of a clip."""
        return self.rows.get(file.casefold(), self.others)


def read_session(path: Path, files: Sequence[str]) -> SessionFile:
    """Return the content of a session file.

    Parameters
    ----------
    path : Path
        CSV as a spreadsheet saves it.
    files : sequence of str
        Names of the clips in the session's folder.

    Raises
    ------
    LogbookError
        With every fault: unknown columns with the nearest known one, cells that cannot be read, files that are not there.
    """
    header, rows = rows_of(path, LARGEST_BYTES)
    work = _Reading(path, header, {f.casefold(): f for f in files})
    for line, cells in rows:
        if not any(cell.strip().startswith(ASIDE) for cell in cells[:1]):
            work.row(line, cells)
        if len(work.rows) > MOST_ROWS:
            raise LogbookError(f"{path} has more than {MOST_ROWS} rows")
    if work.faults:
        more = len(work.faults) - _MOST_FAULTS
        lines = work.faults[:_MOST_FAULTS] + ([f"and {more} more"] if more > 0 else [])
        raise LogbookError(
            f"{path} has faults",
            *lines,
            next_step="put them right; 'penult session FOLDER --template' writes a fresh one",
        )
    return SessionFile(rows=work.rows, others=work.others)


def template(files: Sequence[str]) -> bytes:
    """Return a session file to be filled in: the columns, an example that is passed over, and a row for each clip."""
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(COLUMNS[:9])
    writer.writerow(_EXAMPLE)
    writer.writerows([guarded(f), *[""] * 8] for f in files)
    return ("\ufeff" + out.getvalue()).encode(
        "utf-8", errors="replace"
    )  # the mark lets spreadsheets read accents right


class _Reading:
    """One file being read: its columns, its rows so far, and the faults found."""

    def __init__(self, path: Path, header: Sequence[str], files: Mapping[str, str]) -> None:
        self.path, self.files = path, files
        self.rows: dict[str, SessionRow] = {}
        self.others = SessionRow()
        self.has_others = False
        self.faults: list[str] = []
        self.columns = [self._column(name) for name in header]
        known = [c for c in self.columns if c]
        self.faults += [f"the column {c!r} stands twice" for c in dict.fromkeys(known) if known.count(c) > 1]

    def row(self, line: int, cells: Sequence[str]) -> None:
        """Read one row."""
        if any(cell.strip() for cell in cells[len(self.columns) :]):
            self.faults.append(f"line {line}: more cells than columns")
        said: dict[str, Any] = {}
        for column, cell in zip(self.columns, cells, strict=False):
            text = cell.strip()
            if column and text:
                try:
                    name, value = _READERS[column](text)
                    said[name] = value
                except ValueError as error:
                    self.faults.append(f"line {line}, {column}: {text[:60]!r} cannot be read; wanted {error}")
        self._keep(line, SessionRow(**said))

    def _keep(self, line: int, row: SessionRow) -> None:
        if not row.file:
            if self.has_others:
                self.faults.append(f"line {line}: a second row without a file")
            self.has_others, self.others = True, row
            return
        key = row.file.casefold()
        if key not in self.files:
            near = difflib.get_close_matches(key, self.files, n=1)
            hint = f"; nearest: {self.files[near[0]]}" if near else ""
            self.faults.append(f"line {line}: there is no clip {row.file[:100]!r} in the folder{hint}")
        if key in self.rows:
            self.faults.append(f"line {line}: a second row for {row.file[:100]!r}")
        self.rows[key] = row

    def _column(self, name: str) -> str:
        plain = re.sub(r"[\[(].*?[\])]", "", name).strip().casefold().replace("_", " ").replace("-", " ")
        plain = re.sub(r"\s+", " ", plain)
        known = {c.replace("-", " "): c for c in COLUMNS}
        if not plain:
            return ""
        if plain in known:
            return known[plain]
        near = difflib.get_close_matches(plain, known, n=1, cutoff=0.5)
        hint = f"; nearest: {known[near[0]]}" if near else f"; known: {', '.join(COLUMNS)}"
        self.faults.append(f"unknown column {name[:60]!r}{hint}")
        return ""


def _text(name: str, longest: int = _LONGEST_TEXT) -> Callable[[str], tuple[str, Any]]:
    def read(text: str) -> tuple[str, Any]:
        if len(text) > longest:
            raise ValueError(f"at most {longest} characters")
        return name, text

    return read


def _bare_file(text: str) -> tuple[str, Any]:
    if Path(text).name != text or "\\" in text or text in (".", ".."):
        raise ValueError("a bare file name")
    return "file", text


def _whole(name: str, low: int, high: int) -> Callable[[str], tuple[str, Any]]:
    def read(text: str) -> tuple[str, Any]:
        plain = re.sub(r"[.,]0+$", "", text)  # a spreadsheet may write 14 as 14.0
        if not plain.isascii() or not plain.isdigit() or not low <= int(plain) <= high:
            raise ValueError(f"a whole number from {low} to {high}")
        return name, int(plain)

    return read


def _real(name: str, low: float, high: float, unit: str) -> Callable[[str], tuple[str, Any]]:
    def read(text: str) -> tuple[str, Any]:
        wanted = f"a number from {low:g} to {high:g} ({unit})"
        try:
            value = typed.metres(text) if unit == "metres" else number_of(text)
        except ValueError:
            raise ValueError(wanted) from None
        if not low <= value <= high:
            raise ValueError(wanted)
        return name, value

    return read


def _word(name: str, words: Mapping[str, str]) -> Callable[[str], tuple[str, Any]]:
    def read(text: str) -> tuple[str, Any]:
        found = words.get(text.casefold())
        if found is None:
            raise ValueError(" or ".join(dict.fromkeys(words.values())))
        return name, found

    return read


def _day(text: str) -> tuple[str, Any]:
    return "date", typed.day(text)


def _mats(text: str) -> tuple[str, Any]:
    return "mats", typed.mats(text)


_READERS: dict[str, Callable[[str], tuple[str, Any]]] = {
    "file": _bare_file,
    "athlete": _text("athlete", 200),
    "kind": _text("kind"),
    "approach strides": _whole("approach_strides", 1, 99),
    "mats": _mats,
    "take-off foot": _word("takeoff_foot", {"left": "left", "l": "left", "right": "right", "r": "right"}),
    "official distance": _real("official_distance_m", 0.5, 30.0, "metres"),
    "note": _text("note"),
    "date": _day,
    "sex": _word("sex", {"female": "female", "f": "female", "male": "male", "m": "male"}),
    "height": _real("height_m", 0.8, 2.5, "metres"),
    "capture rate": _real("capture_rate_hz", 5.0, 2000.0, "frames a second"),
    "run": _whole("run", 1, 100),
}
