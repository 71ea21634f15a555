"""Remove a person from a logbook and its backups, and prove from the files' bytes that nothing of the label is left."""

from __future__ import annotations

import re
import sqlite3
import tempfile
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

from penult.adapters.logbook.book import Logbook
from penult.adapters.logbook.connection import WAIT_S, errors_named
from penult.adapters.logbook.schema import backups_of
from penult.errors import LogbookError
from penult.model.logbook import Erased

BLACKED_OUT = "(removed)"

_READ_BYTES = 1 << 20
_CLOSE_OTHERS = "close every other program that uses the logbook and run the command again"


def forget(log: Logbook, label: str) -> Erased:
    """Remove an athlete: their rows, and their label wherever others' rows name it; then search what is left.

    Parameters
    ----------
    log : Logbook
        Open for writing.
    label : str
        As recorded.

    Returns
    -------
    Erased
        With the proof: texts and bytes in which the label still stands.

    Raises
    ------
    LogbookError
        If there is no such athlete, or the label is still in a text afterwards.
    """
    label = log.athlete(label).label
    with log.writing():
        log.connection.execute("PRAGMA secure_delete = ON")
        rows, rewritten = _erase(log.connection, label)
    _rewrite(log)
    backups = backups_of(log.path)
    for backup in backups:
        rewritten += _erase_backup(backup, label)
    files = [log.path, *(p for p in _companions(log.path) if p.exists()), *backups]
    left = _texts_with(log.connection, label) + sum(_texts_in(backup, label) for backup in backups)
    found = sum(_count_bytes(path, label) for path in files)
    explained = sum(_count_in_fresh_copy(path, label) for path in (log.path, *backups))
    if left or found > explained:
        raise LogbookError(
            f"{label!r} could not be removed whole from {log.path}",
            f"{left} texts and {found - explained} places in the files still hold it",
            next_step=_CLOSE_OTHERS,
        )
    return Erased(rows=rows, rewritten=rewritten, files=tuple(map(str, files)), left_in_text=left, left_in_bytes=found)


def _rewrite(log: Logbook) -> None:
    """Write the whole file anew, without what was deleted, and empty the file of changes beside it."""
    log.connection.execute("VACUUM")
    busy, _, _ = log.connection.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchone()
    if busy:
        raise LogbookError(
            f"{log.path} is open in another program, which still holds what was removed", next_step=_CLOSE_OTHERS
        )


def _erase(connection: sqlite3.Connection, label: str) -> tuple[dict[str, int], int]:
    """Delete an athlete's rows and black the label out everywhere else."""
    connection.create_function("pattern", 2, _blacked_out, deterministic=True)
    rows = {}
    found = connection.execute("SELECT id FROM athlete WHERE label = ?", (label,)).fetchone()
    if found:
        clips = "SELECT id FROM clip WHERE athlete_id = ?"
        sessions = connection.execute("SELECT DISTINCT session_id FROM clip WHERE athlete_id = ?", found).fetchall()
        for table in _tables_with(connection, "clip_id"):
            rows[table] = connection.execute(f"DELETE FROM {table} WHERE clip_id IN ({clips})", found).rowcount
        for table in _tables_with(connection, "athlete_id"):
            rows[table] = connection.execute(f"DELETE FROM {table} WHERE athlete_id = ?", found).rowcount
        rows["athlete"] = connection.execute("DELETE FROM athlete WHERE id = ?", found).rowcount
        rows["session"] = sum(
            connection.execute(
                "DELETE FROM session WHERE id = ? AND id NOT IN (SELECT session_id FROM clip WHERE session_id IS NOT NULL)",
                session,
            ).rowcount
            for session in sessions
        )
    connection.execute("DELETE FROM reason WHERE id NOT IN (SELECT reason_id FROM measure WHERE reason_id IS NOT NULL)")
    return rows, _black_out(connection, label)


def _black_out(connection: sqlite3.Connection, label: str) -> int:
    rewritten = 0
    for table, column in _text_columns(connection):
        rewritten += connection.execute(
            f"UPDATE {table} SET {column} = pattern({column}, ?) WHERE pattern({column}, ?) <> {column}", (label, label)
        ).rowcount
    return rewritten


def _blacked_out(text: str | None, label: str) -> str | None:
    return text if text is None else _whole(label).sub(BLACKED_OUT, text)


def _whole(label: str) -> re.Pattern[str]:
    """Match the label as a word of its own: 'A1' in 'A1_drill.mp4', not in 'A12'."""
    return re.compile(rf"(?<![^\W_]){re.escape(label)}(?![^\W_])", re.IGNORECASE)


def _tables_with(connection: sqlite3.Connection, column: str) -> list[str]:
    return [t for t in _tables(connection) if column in _columns(connection, t)]


def _tables(connection: sqlite3.Connection) -> list[str]:
    rows = connection.execute("SELECT name FROM sqlite_schema WHERE type = 'table' AND name NOT LIKE 'sqlite_%'")
    return [str(r[0]) for r in rows]


def _columns(connection: sqlite3.Connection, table: str) -> dict[str, str]:
    return {str(r[1]): str(r[2]) for r in connection.execute(f"PRAGMA table_info({table})")}


def _text_columns(connection: sqlite3.Connection) -> list[tuple[str, str]]:
    found = [(t, c) for t in _tables(connection) for c, kind in _columns(connection, t).items() if kind == "TEXT"]
    # hashes are no texts of people, and the words of measures are our own
    return [(t, c) for t, c in found if not c.endswith("sha256") and t != "name" and (t, c) != ("athlete", "label")]


def _texts_with(connection: sqlite3.Connection, label: str) -> int:
    """Count the texts that still hold the label as a word of its own."""
    connection.create_function("pattern", 2, _blacked_out, deterministic=True)
    return sum(
        int(connection.execute(f"SELECT count(*) FROM {t} WHERE pattern({c}, ?) <> {c}", (label,)).fetchone()[0])
        for t, c in _text_columns(connection)
    )


def _erase_backup(path: Path, label: str) -> int:
    with errors_named(path), closing(sqlite3.connect(path, timeout=WAIT_S, isolation_level=None)) as connection:
        connection.execute("PRAGMA trusted_schema = OFF")
        connection.execute("PRAGMA secure_delete = ON")
        connection.execute("BEGIN IMMEDIATE")
        _, rewritten = _erase(connection, label)
        connection.execute("COMMIT")
        connection.execute("VACUUM")
    return rewritten


def _texts_in(path: Path, label: str) -> int:
    with closing(sqlite3.connect(path)) as connection:
        return _texts_with(connection, label)


def _companions(path: Path) -> Iterator[Path]:
    for ending in ("-wal", "-shm", "-journal"):
        yield path.with_name(path.name + ending)


def _forms(label: str) -> set[bytes]:
    return {text.encode(code) for text in (label, label.lower(), label.upper()) for code in ("utf-8", "utf-16-le")}


def _count_bytes(path: Path, label: str) -> int:
    """Count every place in a file where the label's bytes stand, in any of its forms."""
    return sum(_count_form(path, form) for form in _forms(label))


def _count_form(path: Path, form: bytes) -> int:
    count, kept = 0, b""
    with path.open("rb") as stream:
        while block := stream.read(_READ_BYTES):
            data = kept + block
            count += data.count(form)
            kept = data[len(data) - len(form) + 1 :] if len(form) > 1 else b""
    return count


def _count_in_fresh_copy(path: Path, label: str) -> int:
    """Count the same in a copy that holds the live rows only: longer words of others, and numbers that look alike."""
    with tempfile.TemporaryDirectory(dir=path.parent, prefix=".forget-") as folder:
        copy = Path(folder) / "copy.sqlite"
        with closing(sqlite3.connect(f"{path.resolve().as_uri()}?mode=ro", uri=True)) as connection:
            connection.execute("VACUUM INTO ?", (str(copy),))
        return _count_bytes(copy, label)
