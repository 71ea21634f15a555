"""What people typed into a logbook, column by column, and a label taken out of it: never a date, a direction or a version."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Callable, Iterator, Mapping, Sequence
from typing import Any

from penult.core.label import Label
from penult.model.logbook import Mention

FREE_TEXT = {
    "session": ("name", "folder"),
    "clip": ("file", "kind", "note", "calibration", "folder"),
    "note": ("text",),
    "tape": ("event", "note"),
}
"""Columns that hold what people typed, names of files and folders among it."""

FREE_JSON = {"clip": ("method",), "correction": ("content",), "history": ("before",)}
"""Columns of JSON in which the values under FREE_KEYS are such texts."""

FREE_KEYS = frozenset({"athlete", "kind", "calibration", "name", "folder", "file", "note", "text", "event"})
CORRECTIONS, CORRECTION_KEYS = frozenset({"corrections", "done", "undone"}), frozenset({"word"})
"""Corrections name their own kind by a word of ours; what a person typed is in `word`."""


def tables_of(connection: sqlite3.Connection) -> list[str]:
    """Return the names of the tables of a database."""
    rows = connection.execute("SELECT name FROM sqlite_schema WHERE type = 'table' AND name NOT LIKE 'sqlite_%'")
    return [str(r[0]) for r in rows]


def mentions(connection: sqlite3.Connection, name: Label) -> Iterator[tuple[tuple[str, int], Mention]]:
    """Yield every text that would change, with the table and id of its row."""
    for table, column, key, text, changed in changes(connection, name):
        yield (table, key), Mention(place=f"{table}-{key} {column}", text=text, blacked_out=changed)


def changes(connection: sqlite3.Connection, name: Label) -> Iterator[tuple[str, str, int, str, str]]:
    """Yield table, column, row, text and changed text for every typed text in which the label stands."""
    known = tables_of(connection)
    ways: tuple[tuple[Mapping[str, Sequence[str]], Callable[[str], str]], ...] = (
        (FREE_TEXT, name.blacked_out),
        (FREE_JSON, lambda text: _json_blacked_out(text, name)),
    )
    for columns, way in ways:
        for table in (t for t in columns if t in known):
            key = "clip_id" if table == "correction" else "id"
            for column in columns[table]:
                rows = connection.execute(f"SELECT {key}, {column} FROM {table}").fetchall()
                for row, text in rows:
                    changed = way(str(text))
                    if changed != text:
                        yield table, column, int(row), str(text), changed


def _json_blacked_out(text: str, name: Label) -> str:
    """Return JSON with the label blacked out in typed texts alone; the text as it is where nothing changes."""
    try:
        content = json.loads(text)
    except (ValueError, RecursionError):
        return name.blacked_out(text)  # nobody's JSON: a text like any other
    changed = _walked(content, name, FREE_KEYS)
    return json.dumps(changed, ensure_ascii=False, sort_keys=True) if changed != content else text


def _walked(value: Any, name: Label, keys: frozenset[str]) -> Any:
    if isinstance(value, dict):
        return {k: _of_key(k, v, name, CORRECTION_KEYS if k in CORRECTIONS else keys) for k, v in value.items()}
    return [_walked(v, name, keys) for v in value] if isinstance(value, list) else value


def _of_key(key: str, value: Any, name: Label, keys: frozenset[str]) -> Any:
    if not isinstance(value, str):
        return _walked(value, name, keys)
    if key in ("method", "content"):
        return _json_blacked_out(value, name)
    return name.blacked_out(value) if key in keys else value


def black_out(connection: sqlite3.Connection, name: Label) -> int:
    """Write the changed texts; where a row then equals another one, they become one. Returns how many were changed."""
    found = list(changes(connection, name))
    quotes = _quotes(connection, found)
    for table, column, row, _, changed in found:
        key = "clip_id" if table == "correction" else "id"
        try:
            connection.execute(f"UPDATE {table} SET {column} = ? WHERE {key} = ?", (changed, row))
        except sqlite3.IntegrityError:
            _merge(connection, table, column, row, changed)
    for clip, place, text in quotes:
        connection.execute("UPDATE warning SET text = ? WHERE clip_id = ? AND place = ?", (text, clip, place))
    return len(found) + len(quotes)


def _quotes(
    connection: sqlite3.Connection, changes: Sequence[tuple[str, str, int, str, str]]
) -> list[tuple[int, int, str]]:
    """Return the warnings that quote a kind or a file which is about to change, as they will be."""
    out: dict[tuple[int, int], str] = {}
    for table, column, clip, text, changed in changes:
        if table == "clip" and column in ("kind", "file"):
            for place, said in connection.execute("SELECT place, text FROM warning WHERE clip_id = ?", (clip,)):
                now = out.get((clip, place), str(said))  # one sentence may quote both
                if text in now:
                    out[clip, place] = now.replace(text, changed)
    return [(clip, place, text) for (clip, place), text in out.items()]


def _merge(connection: sqlite3.Connection, table: str, column: str, row: int, changed: str) -> None:
    """Two sessions (or notes) that differed by the label alone are one now."""
    if table == "session":
        date = connection.execute("SELECT date FROM session WHERE id = ?", (row,)).fetchone()[0]
        other = connection.execute("SELECT id FROM session WHERE name = ? AND date = ?", (changed, date)).fetchone()[0]
        connection.execute("UPDATE clip SET session_id = ? WHERE session_id = ?", (other, row))
    connection.execute(f"DELETE FROM {table} WHERE id = ?", (row,))
