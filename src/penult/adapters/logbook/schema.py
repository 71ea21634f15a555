"""The logbook's tables, version by version, and the way from one version to the next with a backup before it."""

from __future__ import annotations

import os
import sqlite3
from contextlib import closing
from datetime import UTC, datetime
from pathlib import Path

from penult.errors import LogbookError

APPLICATION_ID = 0x50_4E_55_4C  # 'PNUL', in the file's header: tells a logbook from any other SQLite file
NO_NUMBER = 9999
"""Stands for 'one a clip' in the number column, because a primary key cannot hold NULL."""

_VERSION_1 = (
    """CREATE TABLE athlete (
        id INTEGER PRIMARY KEY, label TEXT NOT NULL UNIQUE CHECK (length(label) BETWEEN 1 AND 200),
        sex TEXT CHECK (sex IN ('female', 'male')), height_m REAL, leg_length_m REAL) STRICT""",
    """CREATE TABLE session (
        id INTEGER PRIMARY KEY, name TEXT NOT NULL, date TEXT NOT NULL, folder TEXT NOT NULL DEFAULT '',
        UNIQUE (name, date)) STRICT""",
    """CREATE TABLE clip (
        id INTEGER PRIMARY KEY, sha256 TEXT NOT NULL, run INTEGER NOT NULL DEFAULT 1, file TEXT NOT NULL,
        athlete_id INTEGER REFERENCES athlete, session_id INTEGER REFERENCES session,
        kind TEXT NOT NULL DEFAULT '', approach_strides INTEGER, takeoff_foot TEXT, direction TEXT NOT NULL,
        has_takeoff INTEGER NOT NULL, official_distance_m REAL, note TEXT NOT NULL DEFAULT '',
        frames INTEGER NOT NULL, capture_rate_hz REAL NOT NULL, capture_rate_from TEXT NOT NULL,
        first_frame_s REAL NOT NULL, penult TEXT NOT NULL DEFAULT '', pose_model_sha256 TEXT NOT NULL DEFAULT '',
        calibration TEXT NOT NULL DEFAULT '', calibration_sha256 TEXT NOT NULL DEFAULT '',
        method TEXT NOT NULL DEFAULT '{}', folder TEXT NOT NULL DEFAULT '', UNIQUE (sha256, run)) STRICT""",
    "CREATE INDEX clip_of_athlete ON clip (athlete_id, session_id)",
    """CREATE TABLE mat (
        clip_id INTEGER NOT NULL REFERENCES clip ON DELETE CASCADE, number INTEGER NOT NULL,
        thickness_m REAL NOT NULL, PRIMARY KEY (clip_id, number)) STRICT, WITHOUT ROWID""",
    """CREATE TABLE contact (
        clip_id INTEGER NOT NULL REFERENCES clip ON DELETE CASCADE, number INTEGER NOT NULL, foot TEXT NOT NULL,
        strike TEXT NOT NULL, wholly_seen INTEGER NOT NULL, by_hand INTEGER NOT NULL, start_s REAL, end_s REAL,
        lowest_s REAL, PRIMARY KEY (clip_id, number)) STRICT, WITHOUT ROWID""",
    """CREATE TABLE warning (
        clip_id INTEGER NOT NULL REFERENCES clip ON DELETE CASCADE, place INTEGER NOT NULL, code TEXT NOT NULL,
        text TEXT NOT NULL, PRIMARY KEY (clip_id, place)) STRICT, WITHOUT ROWID""",
    "CREATE TABLE name (id INTEGER PRIMARY KEY, part TEXT NOT NULL, name TEXT NOT NULL, UNIQUE (part, name)) STRICT",
    "CREATE TABLE reason (id INTEGER PRIMARY KEY, text TEXT NOT NULL UNIQUE) STRICT",
    """CREATE TABLE measure (
        clip_id INTEGER NOT NULL REFERENCES clip ON DELETE CASCADE, name_id INTEGER NOT NULL REFERENCES name,
        number INTEGER NOT NULL, value REAL, u95 REAL, by_hand INTEGER NOT NULL DEFAULT 0,
        reason_id INTEGER REFERENCES reason, PRIMARY KEY (clip_id, name_id, number),
        CHECK ((value IS NULL) = (u95 IS NULL) AND (value IS NULL) = (reason_id IS NOT NULL))) STRICT, WITHOUT ROWID""",
    """CREATE TABLE correction (
        clip_id INTEGER NOT NULL REFERENCES clip ON DELETE CASCADE, content TEXT NOT NULL,
        PRIMARY KEY (clip_id)) STRICT, WITHOUT ROWID""",
    """CREATE TABLE note (
        id INTEGER PRIMARY KEY, athlete_id INTEGER NOT NULL REFERENCES athlete, date TEXT NOT NULL,
        text TEXT NOT NULL, UNIQUE (athlete_id, date, text)) STRICT""",
    """CREATE TABLE tape (
        id INTEGER PRIMARY KEY, athlete_id INTEGER NOT NULL REFERENCES athlete, date TEXT NOT NULL,
        event TEXT NOT NULL, distance_m REAL NOT NULL, note TEXT NOT NULL DEFAULT '',
        UNIQUE (athlete_id, date, event, distance_m, note)) STRICT""",
)

_VERSION_2 = (
    # the hip's path, so that curves can be drawn where the result folders are not at hand
    """CREATE TABLE hip_path (
        clip_id INTEGER PRIMARY KEY REFERENCES clip ON DELETE CASCADE, points BLOB NOT NULL) STRICT""",
    "CREATE INDEX clip_of_session ON clip (session_id)",
)

_VERSION_3 = (
    # a forgetting that is under way: the label as a salted hash, so that it can be finished without being kept
    """CREATE TABLE forgetting (
        id INTEGER PRIMARY KEY, salt BLOB NOT NULL, digest BLOB NOT NULL, begun TEXT NOT NULL,
        content TEXT NOT NULL) STRICT""",
    # what entries were before they were corrected or taken out
    """CREATE TABLE history (
        id INTEGER PRIMARY KEY, made_at TEXT NOT NULL, what TEXT NOT NULL, entry TEXT NOT NULL, before TEXT NOT NULL,
        undone INTEGER NOT NULL DEFAULT 0) STRICT""",
)

_VERSION_4 = (
    # what each contact takes off into, and whether it is certain which foot stands there
    "ALTER TABLE contact ADD COLUMN kind TEXT NOT NULL DEFAULT 'run'",
    "ALTER TABLE contact ADD COLUMN foot_sure INTEGER NOT NULL DEFAULT 1",
)

MIGRATIONS: tuple[tuple[str, ...], ...] = (_VERSION_1, _VERSION_2, _VERSION_3, _VERSION_4)
"""Statements that lead from version n to n + 1; a published one is never changed, only followed by another."""

VERSION = len(MIGRATIONS)
CONTENT = (
    "athlete",
    "session",
    "clip",
    "mat",
    "contact",
    "warning",
    "measure",
    "correction",
    "note",
    "tape",
    "hip_path",
)
"""Tables that hold what people put in, parents first; `name` and `reason` are word lists that serve them."""


def create(connection: sqlite3.Connection, version: int = VERSION) -> None:
    """Make the tables of a new logbook; inside the caller's transaction."""
    for statements in MIGRATIONS[:version]:
        for statement in statements:
            connection.execute(statement)
    connection.execute(f"PRAGMA application_id = {APPLICATION_ID}")
    connection.execute(f"PRAGMA user_version = {version}")


def version_of(connection: sqlite3.Connection, path: Path | str) -> int:
    """Return the schema version, after a check that this is a logbook and nothing was added to it.

    Raises
    ------
    LogbookError
        If it is another program's file, a newer version, or its tables are not ours.
    """
    application = int(connection.execute("PRAGMA application_id").fetchone()[0])
    version = int(connection.execute("PRAGMA user_version").fetchone()[0])
    if application != APPLICATION_ID:
        raise LogbookError(
            f"{path} is an SQLite file, but not a logbook of penult",
            "it was left as it is",
            next_step="name the logbook with --logbook FILE",
        )
    if version > VERSION:
        raise LogbookError(
            f"{path} was written by a newer penult",
            f"its tables have version {version}; this penult knows up to {VERSION}",
            next_step="update penult on this machine",
        )
    _refuse_strange_tables(connection, version, path)
    return version


def migrate(connection: sqlite3.Connection, path: Path) -> Path | None:
    """Bring a logbook up to date; a copy of it as it was is written beside it first.

    Parameters
    ----------
    connection : sqlite3.Connection
        Open for writing, in autocommit mode.
    path : Path
        Of the logbook.

    Returns
    -------
    Path or None
        The backup; None where nothing had to be done.
    """
    connection.execute("BEGIN IMMEDIATE")  # first, so that two programs cannot both bring it up to date
    try:
        version = version_of(connection, path)
        backup = _back_up(path, version) if version < VERSION else None
        for number in range(version, VERSION):
            for statement in MIGRATIONS[number]:
                connection.execute(statement)
            connection.execute(f"PRAGMA user_version = {number + 1}")
        connection.execute("COMMIT")
    except BaseException:
        connection.execute("ROLLBACK")
        raise
    return backup


def backups_of(path: Path) -> list[Path]:
    """Return the copies that migrations left beside a logbook."""
    pattern = f"{path.stem}.before-v"
    return sorted(p for p in path.parent.iterdir() if p.name.startswith(pattern) and p.suffix == path.suffix)


def half_backups_of(path: Path) -> list[Path]:
    """Return copies that were being written when a migration was killed, with what SQLite keeps beside them."""
    pattern = f"{path.stem}.before-v"
    return sorted(p for p in path.parent.iterdir() if p.name.startswith(pattern) and ".partial" in p.name)


def _back_up(path: Path, version: int) -> Path:
    stamp = datetime.now(tz=UTC).strftime("%Y%m%dT%H%M%S%f")
    target = path.with_name(f"{path.stem}.before-v{version + 1}.{stamp}{path.suffix}")
    aside = target.with_suffix(".partial")
    # a connection of its own: it sees the last state that was committed, whoever is about to write
    with (
        closing(sqlite3.connect(f"{path.resolve().as_uri()}?mode=ro", uri=True)) as source,
        closing(sqlite3.connect(_own(aside))) as copy,
    ):
        source.backup(copy)
        copy.execute("PRAGMA journal_mode = DELETE")
    aside.replace(target)
    return target


def _own(path: Path) -> Path:
    """Make an empty file that its owner alone may read."""
    os.close(os.open(path, os.O_CREAT | os.O_WRONLY, 0o600))
    return path


def _objects(connection: sqlite3.Connection) -> set[tuple[str, str, str]]:
    rows = connection.execute("SELECT type, name, coalesce(sql, '') FROM sqlite_schema WHERE name NOT LIKE 'sqlite_%'")
    return {(str(kind), str(name), str(sql)) for kind, name, sql in rows}


def _refuse_strange_tables(connection: sqlite3.Connection, version: int, path: Path | str) -> None:
    """A trigger or view that somebody added to a logbook would run with it: only our own tables are accepted."""
    with closing(sqlite3.connect(":memory:")) as model:
        create(model, version)
        ours = _objects(model)
    found = _objects(connection)
    if found != ours:
        names = sorted({name for _, name, _ in found ^ ours})
        raise LogbookError(
            f"{path} does not hold the tables of a logbook of version {version}",
            f"missing, added or changed: {', '.join(names[:8])[:300]}",
            next_step="go back to a backup (the files beside it named .before-v), or start a new logbook",
        )
