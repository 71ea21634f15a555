"""The logbook as a folder of CSV files, and back: one file a table, the same bytes for the same content."""

from __future__ import annotations

import csv
import io
import json
import os
import re
import shutil
import sqlite3
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from penult.adapters.files.csv_text import number_of, rows_of
from penult.adapters.logbook import schema
from penult.adapters.logbook.book import UNREADABLE, Logbook
from penult.adapters.logbook.bounds import fault_of
from penult.adapters.logbook.rows import Reader, path_of
from penult.core.csv_cells import guarded
from penult.errors import LogbookError, OutputError
from penult.whole_file import read_whole

FORMAT = "penult-logbook/1"
MARK = "logbook.json"
_MOST_FAULTS = 20
_FIRST_NUMBER = -(2**62)

_ORDER = {
    "athlete": "label",
    "session": "date, name",
    "clip": "(SELECT date FROM session WHERE session.id = session_id), (SELECT name FROM session WHERE session.id = session_id),"
    " file, sha256, run",
    "measure": "clip_id, part, name, number",
    "note": "date, text, (SELECT label FROM athlete WHERE athlete.id = athlete_id)",
    "tape": "date, event, distance_m, note, (SELECT label FROM athlete WHERE athlete.id = athlete_id)",
}
_MEASURE_COLUMNS = ("clip_id", "part", "number", "name", "value", "u95", "by_hand", "not_measured")
_SINCE = {"hip_path": 2}
"""Tables that came later than the first version."""

_COLUMNS_SINCE = {("contact", "kind"): 4, ("contact", "foot_sure"): 4}
"""Columns that came later; an export from before holds none, and gets what the table has by itself."""

_WHOLE = re.compile(r"-?[0-9]{1,18}\Z")
_LATER = frozenset({("contact", "kind"), ("contact", "foot_sure")})
"""Columns that exports of older versions have not; the schema says what they hold then."""
_PARENTS = {"athlete_id": "athlete", "session_id": "session", "clip_id": "clip"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Imported:
    """How many rows of each table were new, and how many clips were there already and stayed as they were."""

    added: dict[str, int]
    kept_clips: int


def export(log: Logbook, folder: Path) -> dict[str, int]:
    """Write the whole logbook to a folder.

    Parameters
    ----------
    log : Logbook
        Open.
    folder : Path
        New, empty, or an earlier export, which is replaced.

    Returns
    -------
    dict
        Rows a table.

    Raises
    ------
    OutputError
        If something else is there, or the place cannot be written.
    """
    if folder.exists() and (not folder.is_dir() or (any(folder.iterdir()) and not is_export(folder))):
        raise OutputError(f"{folder} holds other files and was left as it is", next_step="choose a new folder")
    aside = folder.with_name(f".{folder.name}.partial-{os.getpid()}")
    try:
        aside.mkdir(parents=True)
        counts = _write(log.connection, aside)
        if folder.exists():
            _clear(folder)
            for path in aside.iterdir():
                path.replace(folder / path.name)
        else:
            aside.rename(folder)
    except OSError as error:
        raise OutputError(f"the export cannot be written to {folder}", error.strerror or str(error)) from error
    finally:
        shutil.rmtree(aside, ignore_errors=True)
    return counts


def is_export(folder: Path) -> bool:
    """Tell whether a folder holds an exported logbook."""
    try:
        return str(json.loads(read_whole(folder / MARK, 10_000))["format"]).startswith("penult-logbook/")
    except (OSError, ValueError, KeyError, TypeError, RecursionError):
        return False


def import_folder(log: Logbook, folder: Path) -> Imported:
    """Add the content of an export to a logbook, all of it or nothing.

    Athletes and sessions are told by label, name and date; a clip that is there already stays as it is.

    Raises
    ------
    LogbookError
        If the folder is no export, or its files have faults; every one is listed with its place.
    """
    if not is_export(folder):
        raise LogbookError(f"{folder} is not an exported logbook", f"there is no {MARK} of format {FORMAT} in it")
    version = _version(folder)
    work = _Import(log.connection, folder, version)
    with log.writing():
        for table in schema.CONTENT:
            if version >= _SINCE.get(table, 1):
                work.table(table)
        work.read_back()
        if work.faults:
            more = len(work.faults) - _MOST_FAULTS
            lines = work.faults[:_MOST_FAULTS] + ([f"and {more} more"] if more > 0 else [])
            raise LogbookError(
                f"{folder} has faults; nothing was imported", *lines, next_step="put them right, or export again"
            )
    return Imported(added=work.added, kept_clips=work.kept)


def _version(folder: Path) -> int:
    """Return the version of the tables that an export was made from; another format or a newer one is not guessed at."""
    mark = json.loads(read_whole(folder / MARK, 10_000))
    version = mark.get("tables")
    if mark["format"] != FORMAT or not isinstance(version, int) or not 1 <= version <= schema.VERSION:
        raise LogbookError(
            f"{folder} was exported by another version of penult",
            f"format {str(mark['format'])[:40]}, tables {str(version)[:20]}; known: {FORMAT}, tables 1 to {schema.VERSION}",
            next_step="update penult on this machine, or export again",
        )
    return version


def _write(connection: sqlite3.Connection, folder: Path) -> dict[str, int]:
    ids: dict[str, dict[int, int]] = {}
    counts = {}
    for table in schema.CONTENT:
        columns, rows = _table(connection, table)
        if "id" in columns:
            ids[table] = {}
        out = io.StringIO(newline="")
        writer = csv.writer(out, lineterminator="\n")
        writer.writerow(columns)
        numbered = [_renumbered(columns, row, table, ids) for row in rows]
        if table not in _ORDER and "id" not in columns:
            numbered.sort(key=lambda row: (row[0], str(row[1])))
        if table == "measure":
            numbered.sort(key=lambda row: (row[0], row[1], row[2], row[3] is not None, row[3]))
        writer.writerows([_cell(v) for v in row] for row in numbered)
        (folder / f"{table}.csv").write_text(out.getvalue(), encoding="utf-8")
        counts[table] = len(numbered)
    mark = {"format": FORMAT, "tables": schema.VERSION}
    (folder / MARK).write_text(json.dumps(mark, indent=1) + "\n", encoding="utf-8")
    return counts


def _table(connection: sqlite3.Connection, table: str) -> tuple[Sequence[str], Iterable[tuple[Any, ...]]]:
    if table == "measure":
        rows = connection.execute(
            "SELECT clip_id, part, nullif(number, ?), name, value, u95, by_hand, reason.text FROM measure"
            " JOIN name ON name.id = name_id LEFT JOIN reason ON reason.id = reason_id",
            (schema.NO_NUMBER,),
        )
        return _MEASURE_COLUMNS, rows
    if table == "hip_path":
        found = connection.execute("SELECT clip_id, points FROM hip_path")
        return ("clip_id", "points"), ((clip_id, _points(blob)) for clip_id, blob in found)
    columns = [str(r[1]) for r in connection.execute(f"PRAGMA table_info({table})")]
    order = _ORDER.get(table, "1")
    return columns, connection.execute(f"SELECT {', '.join(columns)} FROM {table} ORDER BY {order}")


def _renumbered(columns: Sequence[str], row: Sequence[Any], table: str, ids: Mapping[str, dict[int, int]]) -> list[Any]:
    """Return a row with ids counted from 1 in the order of the file, so that the same content gives the same bytes."""
    out = list(row)
    for i, column in enumerate(columns):
        if column == "id":
            out[i] = ids[table][row[i]] = len(ids[table]) + 1
        elif column in _PARENTS and row[i] is not None:
            out[i] = ids[_PARENTS[column]][row[i]]
    return out


def _cell(value: Any) -> str:
    if value is None:
        return ""
    return guarded(value) if isinstance(value, str) else repr(value)


def _points(blob: bytes) -> str:
    """Return a hip path as text: time, place and height of a point, in the fewest digits that give the same bits."""
    path_of(blob)
    return ";".join(" ".join(str(v) for v in row) for row in np.frombuffer(blob, dtype="<f4").reshape(-1, 3))


def _blob(text: str) -> bytes:
    points = np.array([[float(v) for v in point.split(" ")] for point in text.split(";") if point], dtype="<f4")
    blob = bytes(points.reshape(-1, 3).tobytes())
    path_of(blob)
    return blob


def _clear(folder: Path) -> None:
    for table in schema.CONTENT:
        (folder / f"{table}.csv").unlink(missing_ok=True)


class _Import:
    """One import under way: ids of the files against ids of the logbook, and the faults found."""

    def __init__(self, connection: sqlite3.Connection, folder: Path, version: int) -> None:
        self.connection, self.folder, self.version = connection, folder, version
        self.ids: dict[str, dict[int, int | None]] = {t: {} for t in ("athlete", "session", "clip")}
        self.added = dict.fromkeys(schema.CONTENT, 0)
        self.kept = 0
        self.new_clips: list[tuple[int, int | None]] = []
        self.faults: list[str] = []
        self.words: dict[tuple[str, ...], int] = {}

    def table(self, table: str) -> None:
        """Read one file."""
        path = self.folder / f"{table}.csv"
        if not path.exists():
            self.faults.append(f"{path.name} is missing")
            return
        header, rows = rows_of(path)
        types = self._types(table)
        missing = [c for c in types if c not in header and (table, c) not in _LATER]
        wrong = [c for c in header if c not in types] + missing
        if wrong:
            self.faults.append(f"{path.name}: columns missing or unknown: {', '.join(wrong)[:200]}")
            return
        for line, cells in rows:
            try:
                self._row(table, self._values(header, cells, types))
            except (ValueError, KeyError, sqlite3.IntegrityError) as error:
                self.faults.append(f"{path.name}, line {line}: {error}"[:300])
                if len(self.faults) > 10 * _MOST_FAULTS:
                    return

    def read_back(self) -> None:
        """See that every clip that was added can be read: one that cannot would make the whole logbook a damaged one."""
        if self._unreadable([row_id for row_id, _ in self.new_clips]) is None:
            return
        for row_id, own_id in self.new_clips:
            error = self._unreadable([row_id])
            if error is not None:
                self.faults.append(f"clip.csv, id {own_id}: it cannot be read back: {error}"[:300])

    def _unreadable(self, clip_ids: Sequence[int]) -> Exception | None:
        try:
            Reader(self.connection, clip_ids, _FIRST_NUMBER).trials()
        except UNREADABLE as error:
            return error
        return None

    def _types(self, table: str) -> dict[str, tuple[str, bool]]:
        if table == "measure":
            kinds = ("INTEGER", "TEXT", "INTEGER", "TEXT", "REAL", "REAL", "INTEGER", "TEXT")
            may_miss = {"number", "value", "u95", "not_measured"}
            return {c: (k, c in may_miss) for c, k in zip(_MEASURE_COLUMNS, kinds, strict=True)}
        rows = self.connection.execute(f"PRAGMA table_info({table})")
        types = {str(r[1]): (str(r[2]), not r[3] and not r[5]) for r in rows}
        return {c: t for c, t in types.items() if _COLUMNS_SINCE.get((table, c), 1) <= self.version}

    def _values(
        self, header: Sequence[str], cells: Sequence[str], types: Mapping[str, tuple[str, bool]]
    ) -> dict[str, Any]:
        if len(cells) != len(header):
            raise ValueError(f"{len(cells)} cells under {len(header)} columns")
        return {column: _typed(column, cell, *types[column]) for column, cell in zip(header, cells, strict=True)}

    def _row(self, table: str, row: dict[str, Any]) -> None:
        for column, parent in _PARENTS.items():
            if row.get(column) is not None:
                if row[column] not in self.ids[parent]:
                    raise ValueError(f"{column} {row[column]} is not in {parent}.csv")
                row[column] = self.ids[parent][row[column]]
                if column == "clip_id" and row[column] is None:
                    return
        fault = fault_of(table, row)
        if fault:
            raise ValueError(fault)
        if table == "measure":
            row = self._measure(row)
        own_id = row.pop("id", None)
        known = self._known(table, row)
        if known is not None:
            self.kept += table == "clip"
            self.ids[table][own_id] = None if table == "clip" else known
            return
        marks = ", ".join("?" * len(row))
        twice = " ON CONFLICT DO NOTHING" if table in ("note", "tape") else ""
        cursor = self.connection.execute(
            f"INSERT INTO {table} ({', '.join(row)}) VALUES ({marks}){twice}", [*row.values()]
        )
        self.added[table] += max(0, cursor.rowcount)
        if table in self.ids:
            self.ids[table][own_id] = cursor.lastrowid
        if table == "clip":
            self.new_clips.append((cursor.lastrowid or 0, own_id))

    def _known(self, table: str, row: Mapping[str, Any]) -> int | None:
        keys = {"athlete": ("label",), "session": ("name", "date"), "clip": ("sha256", "run")}.get(table)
        if keys is None:
            return None
        where = " AND ".join(f"{k} = ?" for k in keys)
        found = self.connection.execute(f"SELECT id FROM {table} WHERE {where}", [row[k] for k in keys]).fetchone()
        return int(found[0]) if found else None

    def _measure(self, row: Mapping[str, Any]) -> dict[str, Any]:
        reason = row["not_measured"]
        if row["u95"] is not None and row["u95"] < 0.0:
            raise ValueError(f"u95 {row['u95']} is below 0")
        return {
            "clip_id": row["clip_id"],
            "name_id": self._word("name", part=row["part"], name=row["name"]),
            "number": schema.NO_NUMBER if row["number"] is None else row["number"],
            "value": row["value"],
            "u95": row["u95"],
            "by_hand": row["by_hand"],
            "reason_id": None if reason is None else self._word("reason", text=reason),
        }

    def _word(self, table: str, **words: str) -> int:
        key = (table, *words.values())
        if key not in self.words:
            columns, marks = ", ".join(words), ", ".join("?" * len(words))
            values = list(words.values())
            self.connection.execute(f"INSERT INTO {table} ({columns}) VALUES ({marks}) ON CONFLICT DO NOTHING", values)
            where = " AND ".join(f"{c} = ?" for c in words)
            self.words[key] = int(
                self.connection.execute(f"SELECT id FROM {table} WHERE {where}", values).fetchone()[0]
            )
        return self.words[key]


def _whole(cell: str) -> int:
    if not _WHOLE.match(cell.strip()):
        raise ValueError(f"{cell[:60]!r} is not a whole number")
    return int(cell)


def _typed(column: str, cell: str, kind: str, may_miss: bool) -> Any:
    if cell == "" and (may_miss or kind != "TEXT"):
        if not may_miss and column != "id":
            raise ValueError(f"{column} is empty")
        return None
    try:
        if kind == "INTEGER":
            return _whole(cell)
        if kind == "REAL":
            return number_of(cell)
        return _blob(cell) if kind == "BLOB" else cell
    except ValueError:
        raise ValueError(f"{column}: {cell[:60]!r} is not {'a path' if kind == 'BLOB' else 'a number'}") from None
