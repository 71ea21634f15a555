"""Remove a person from a logbook and its backups, and prove that the files hold nothing but what was searched.

Only texts that people typed are searched for a label: never dates, directions, versions or numbers. Three steps, each of
which can be said again after an interruption: `erase` (one transaction; keeps the label as a salted hash), `clean`
(the files are written anew and compared with their live rows), `finish` (drops the hash).
"""

from __future__ import annotations

import hashlib
import json
import os
import sqlite3
from collections.abc import Iterator, Sequence
from contextlib import closing, suppress
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from penult.adapters.logbook.book import Logbook
from penult.adapters.logbook.connection import WAIT_S, errors_named
from penult.adapters.logbook.schema import backups_of, half_backups_of
from penult.adapters.logbook.typed_texts import black_out, changes, mentions, tables_of
from penult.core.label import Label, folded, is_plain
from penult.errors import LogbookError
from penult.model.logbook import Erased, Holdings

_SCRYPT = {"n": 1 << 14, "r": 8, "p": 1}  # RFC 7914; 16 MB and some 50 ms: a list of names is not tried in passing
_HEADER_MAY_DIFFER = (*range(18, 20), *range(24, 28), *range(40, 44), *range(92, 100))
"""Bytes of the database header (SQLite file format, 1.3): journal mode and counters of changes."""

CLOSE_OTHERS = "close every other program that uses the logbook and say the same again"


def holdings(log: Logbook, label: str) -> Holdings:
    """Return what a logbook holds of a person; nothing is changed."""
    name, c = Label(label), log.connection
    ids = _athlete_ids(c, name)
    clips = _rows_of(c, "SELECT id, sha256, run, folder, session_id FROM clip WHERE athlete_id = ?", ids)
    sessions = {int(r[4]) for r in clips if r[4] is not None}
    folders = [str(r[3]) for r in clips] + [
        str(r[0]) for r in _rows_of(c, "SELECT folder FROM session WHERE id = ?", sorted(sessions))
    ]
    pending = _pending(c, name)
    kept = json.loads(pending[2]) if pending else {}
    known = [(str(r[1]), int(r[2])) for r in clips] + [(str(s), int(r)) for s, r in kept.get("clips", [])]
    labels = [str(r[0]) for r in _rows_of(c, "SELECT label FROM athlete WHERE id = ?", ids)]
    shared = "SELECT count(*) FROM clip WHERE session_id = ? AND athlete_id IS NOT ?"
    own = {(t, int(r[0])) for r in clips for t in ("clip", "correction")}
    own |= {("session", s) for s in sessions if all(c.execute(shared, (s, i)).fetchone()[0] == 0 for i in ids[:1])}
    own |= {("history", i) for i in _own_history(c, name)}
    own |= {
        (t, int(r[0])) for t in ("note", "tape") for r in _rows_of(c, f"SELECT id FROM {t} WHERE athlete_id = ?", ids)
    }
    return Holdings(
        labels=tuple(labels),
        rows={"athlete": len(ids), **{t: n for t, n in _counts(c, ids).items() if n}} if ids else {},
        clips=tuple(dict.fromkeys(known)),
        folders=tuple(dict.fromkeys(f for f in [*folders, *kept.get("folders", [])] if f)),
        mentions=tuple(m for key, m in mentions(c, name) if key not in own),
        begun=pending[1] if pending else "",
    )


def erase(log: Logbook, label: str, *, everywhere: bool | None = None) -> tuple[dict[str, int], int]:
    """Take a person's rows out, and their label out of the texts of others; all of it or nothing.

    Parameters
    ----------
    log : Logbook
        Open for writing.
    label : str
        In any form.
    everywhere : bool, optional
        Black the label out in the texts of others; None: unless it is a plain word or number, which names nobody there.

    Returns
    -------
    dict, int
        Rows removed a table; texts of others that were changed.
    """
    before = holdings(log, label)
    with log.writing():
        log.connection.execute("PRAGMA secure_delete = ON")
        rows, rewritten = _erase(log.connection, Label(label), everywhere)
        _keep_hash(log.connection, label, before)
    return rows, rewritten


def clean(log: Logbook, label: str, *, everywhere: bool | None = None) -> Erased:
    """Write the logbook and its backups anew without what was erased, and prove it.

    Raises
    ------
    LogbookError
        If another program holds on to the old rows, the disk is full, or something is left; it says what has been done.
    """
    name = Label(label)
    _rewrite(log)
    for half in half_backups_of(log.path):
        half.unlink(missing_ok=True)
    files, failed, rewritten = [log.path], [], 0
    for backup in backups_of(log.path):
        try:
            rewritten += _clean_backup(backup, name, everywhere)
            files.append(backup)
        except (LogbookError, OSError) as error:
            failed.append((str(backup), error.what if isinstance(error, LogbookError) else str(error)))
    left = sum(_texts_in(f, name) for f in files)
    is_kept = left and (everywhere is False or (everywhere is None and is_plain(label)))
    strange = [f for f in files if not _holds_live_rows_only(f)]
    if strange or (left and not is_kept):
        raise LogbookError(
            f"{label!r} could not be removed whole from {log.path}",
            *(f"{f} holds more than the rows in it" for f in strange),
            *([f"{left} texts still hold it"] if left and not is_kept else []),
            next_step=CLOSE_OTHERS,
        )
    return Erased(
        rows={}, rewritten=rewritten, files=tuple(map(str, files)), left_in_text=left, not_looked_at=tuple(failed)
    )


def finish(log: Logbook, label: str) -> None:
    """Drop the hash of a label that is forgotten wholly."""
    pending = _pending(log.connection, Label(label))
    if pending is None:
        return
    with log.writing():
        log.connection.execute("PRAGMA secure_delete = ON")
        log.connection.execute("DELETE FROM forgetting WHERE id = ?", (pending[0],))
    with suppress(sqlite3.OperationalError):  # the file of changes holds no text of hers any more
        log.connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")


def forget(log: Logbook, label: str, *, everywhere: bool | None = None) -> Erased:
    """Do all three steps with a logbook alone.

    Raises
    ------
    LogbookError
        If there is no such athlete, or it could not be finished.
    """
    found = holdings(log, label)
    if not (found.rows or found.begun):
        log.athlete(label)  # says who is known
    rows, rewritten = erase(log, label, everywhere=everywhere)
    proof = clean(log, label, everywhere=everywhere)
    finish(log, label)
    return Erased(
        rows=rows,
        rewritten=rewritten + proof.rewritten,
        files=proof.files,
        left_in_text=proof.left_in_text,
        not_looked_at=proof.not_looked_at,
    )


def unfinished(log: Logbook) -> list[str]:
    """Return when forgettings were begun that are not finished; whose, nobody can tell."""
    return [str(r[0]) for r in log.connection.execute("SELECT begun FROM forgetting ORDER BY begun")]


def _rewrite(log: Logbook) -> None:
    """Write the whole file anew, without what was deleted, and empty the file of changes beside it."""
    done = "their rows are out of the logbook; what is left of them are bytes of the file that no program reads"
    try:
        log.connection.execute("VACUUM")
        busy, _, _ = log.connection.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchone()
    except sqlite3.OperationalError as error:
        text = str(error)
        if "full" in text:
            raise LogbookError(
                f"{log.path} cannot be written anew: the disk is full",
                done,
                next_step="make room and say the same again",
            ) from error
        if "locked" in text or "busy" in text:
            busy = 1
        else:
            raise
    if busy:
        raise LogbookError(
            f"{log.path} is open in another program, which still holds what was removed", done, next_step=CLOSE_OTHERS
        )


# --- what is whose ---------------------------------------------------------------------------------------------


def _athlete_ids(connection: sqlite3.Connection, name: Label) -> list[int]:
    return [int(i) for i, label in connection.execute("SELECT id, label FROM athlete") if name.is_of(str(label))]


def _rows_of(connection: sqlite3.Connection, sql: str, ids: Sequence[int]) -> list[tuple[Any, ...]]:
    return [tuple(row) for i in ids for row in connection.execute(sql, (i,))]


def _counts(connection: sqlite3.Connection, ids: Sequence[int]) -> dict[str, int]:
    out = {
        t: sum(int(r[0]) for r in _rows_of(connection, f"SELECT count(*) FROM {t} WHERE athlete_id = ?", ids))
        for t in _tables_with(connection, "athlete_id")
    }
    clips = "SELECT count(*) FROM {} WHERE clip_id IN (SELECT id FROM clip WHERE athlete_id = ?)"
    for table in _tables_with(connection, "clip_id"):
        out[table] = sum(int(r[0]) for r in _rows_of(connection, clips.format(table), ids))
    return out


def _erase(connection: sqlite3.Connection, name: Label, everywhere: bool | None) -> tuple[dict[str, int], int]:
    """Delete an athlete's rows and black the label out in texts of others; inside the caller's transaction."""
    rows: dict[str, int] = {}
    for athlete in _athlete_ids(connection, name):
        for table, count in _erase_rows(connection, athlete).items():
            rows[table] = rows.get(table, 0) + count
    if "history" in tables_of(connection):
        rows["history"] = _erase_history(connection, name)
    connection.execute("DELETE FROM reason WHERE id NOT IN (SELECT reason_id FROM measure WHERE reason_id IS NOT NULL)")
    if everywhere is None:
        everywhere = not is_plain(name.text)
    return rows, black_out(connection, name) if everywhere else 0


def _erase_rows(connection: sqlite3.Connection, athlete: int) -> dict[str, int]:
    rows, own = {}, (athlete,)
    sessions = connection.execute("SELECT DISTINCT session_id FROM clip WHERE athlete_id = ?", own).fetchall()
    for table in _tables_with(connection, "clip_id"):
        sql = f"DELETE FROM {table} WHERE clip_id IN (SELECT id FROM clip WHERE athlete_id = ?)"
        rows[table] = connection.execute(sql, own).rowcount
    for table in _tables_with(connection, "athlete_id"):
        rows[table] = connection.execute(f"DELETE FROM {table} WHERE athlete_id = ?", own).rowcount
    rows["athlete"] = connection.execute("DELETE FROM athlete WHERE id = ?", own).rowcount
    empty = "DELETE FROM session WHERE id = ? AND id NOT IN (SELECT session_id FROM clip WHERE session_id IS NOT NULL)"
    rows["session"] = sum(connection.execute(empty, session).rowcount for session in sessions)
    return rows


def _erase_history(connection: sqlite3.Connection, name: Label) -> int:
    """Delete what entries of that person were before they were changed."""
    own = _own_history(connection, name)
    connection.executemany("DELETE FROM history WHERE id = ?", [(i,) for i in own])
    return len(own)


def _own_history(connection: sqlite3.Connection, name: Label) -> list[int]:
    found = connection.execute("SELECT id, before FROM history").fetchall()
    return [int(i) for i, text in found if any(name.is_of(label) for label in _labels_in(json.loads(text)))]


def _labels_in(value: Any) -> Iterator[str]:
    if isinstance(value, dict):
        for key, inner in value.items():
            if key in ("athlete", "label") and isinstance(inner, str):
                yield inner
            yield from _labels_in(inner)
    elif isinstance(value, list):
        for inner in value:
            yield from _labels_in(inner)


def _tables_with(connection: sqlite3.Connection, column: str) -> list[str]:
    return [t for t in tables_of(connection) if column in _columns(connection, t)]


def _columns(connection: sqlite3.Connection, table: str) -> set[str]:
    return {str(r[1]) for r in connection.execute(f"PRAGMA table_info({table})")}


# --- the hash of the label -------------------------------------------------------------------------------------


def _digest(label: str, salt: bytes) -> bytes:
    return hashlib.scrypt(folded(label).strip().encode("utf-8", errors="replace"), salt=salt, **_SCRYPT)


def _pending(connection: sqlite3.Connection, name: Label) -> tuple[int, str, str] | None:
    if "forgetting" not in tables_of(connection):
        return None
    for i, salt, digest, begun, content in connection.execute(
        "SELECT id, salt, digest, begun, content FROM forgetting"
    ):
        if _digest(name.text, salt) == digest:
            return int(i), str(begun), str(content)
    return None


def _keep_hash(connection: sqlite3.Connection, label: str, found: Holdings) -> None:
    """Keep who is being forgotten as a hash, with what is needed to go on: hashes of clips, folders that name nobody."""
    name = Label(label)
    if _pending(connection, name) is not None:
        return
    salt = os.urandom(16)
    folders = [f for f in found.folders if not name.stands_in(f)]
    content = json.dumps({"clips": found.clips, "folders": folders}, ensure_ascii=False)
    row = (salt, _digest(label, salt), datetime.now(tz=UTC).isoformat(timespec="seconds"), content)
    connection.execute("INSERT INTO forgetting (salt, digest, begun, content) VALUES (?, ?, ?, ?)", row)


# --- backups, and the proof ------------------------------------------------------------------------------------


def _clean_backup(path: Path, name: Label, everywhere: bool | None) -> int:
    with errors_named(path), closing(sqlite3.connect(path, timeout=WAIT_S, isolation_level=None)) as connection:
        connection.execute("PRAGMA trusted_schema = OFF")
        connection.execute("PRAGMA temp_store = MEMORY")
        connection.execute("PRAGMA secure_delete = ON")
        connection.execute("BEGIN IMMEDIATE")
        _, rewritten = _erase(connection, name, everywhere)
        connection.execute("COMMIT")
        connection.execute("VACUUM")
    return rewritten


def _texts_in(path: Path, name: Label) -> int:
    with closing(sqlite3.connect(f"{path.resolve().as_uri()}?mode=ro", uri=True)) as connection:
        labels = len(_athlete_ids(connection, name))
        return labels + sum(1 for _ in changes(connection, name))


def _holds_live_rows_only(path: Path) -> bool:
    """Tell whether a file is, byte for byte, what its live rows alone make, but for the header's counters.

    A database that SQLite has just written anew comes out the same when it is written anew from its rows once more; a
    byte of a deleted row would be a difference.
    """
    for ending in ("-wal", "-journal"):
        beside = path.with_name(path.name + ending)
        if beside.exists() and beside.stat().st_size:
            return False
    with (
        closing(sqlite3.connect(f"{path.resolve().as_uri()}?mode=ro", uri=True)) as connection,
        closing(sqlite3.connect(":memory:", isolation_level=None)) as copy,
    ):
        connection.backup(copy)
        copy.execute("VACUUM")
        wanted = bytearray(copy.serialize())
    found = bytearray(path.read_bytes())
    for data in (wanted, found):
        for at in _HEADER_MAY_DIFFER:
            data[at] = 0
    return found == wanted
