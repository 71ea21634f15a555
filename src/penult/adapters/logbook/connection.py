"""Open a logbook's file: checked, brought up to date, safe against two programs at once and against foreign files."""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from penult.adapters.logbook import schema
from penult.errors import LogbookError

WAIT_S = 30.0
"""How long a writer waits for another one."""

DAMAGED_NEXT = "go back to a copy of it, such as a .before-v file beside it, or an export ('penult log import')"
_OLDEST_SQLITE = (3, 37, 0)  # STRICT tables
_HEADER = b"SQLite format 3\x00"


@contextmanager
def errors_named(path: Path | str) -> Iterator[None]:
    """Turn what SQLite says of a file into our own error."""
    try:
        yield
    except sqlite3.OperationalError as error:
        raise _plain_words(error, path) from error
    except sqlite3.IntegrityError as error:
        raise LogbookError(f"an entry does not fit into {path}", str(error), "nothing was written") from error
    except UnicodeEncodeError as error:
        raise LogbookError(
            f"a text for {path} cannot be written", f"it is no Unicode text: {error.object!r}"[:200]
        ) from error
    except sqlite3.DatabaseError as error:
        raise LogbookError(f"{path} is damaged", str(error), next_step=DAMAGED_NEXT) from error
    except UnicodeDecodeError as error:  # a text, or SQLite's own complaint with a piece of one in it
        raise LogbookError(f"{path} is damaged", "a text in it is not UTF-8", next_step=DAMAGED_NEXT) from error


def connect(path: Path, *, create: bool) -> sqlite3.Connection:
    """Return a connection to a sound logbook in autocommit mode; without `create` it has to be there."""
    if sqlite3.sqlite_version_info < _OLDEST_SQLITE:
        raise LogbookError(
            f"this Python's SQLite {sqlite3.sqlite_version} is too old for a logbook", "wanted: 3.37 or newer"
        )
    _check_file(path, create)
    _make_private(path)
    connection = sqlite3.connect(f"{path.resolve().as_uri()}?mode=rwc", uri=True, timeout=WAIT_S, isolation_level=None)
    try:
        return _prepared(connection, path)
    except sqlite3.OperationalError as error:
        connection.close()
        if "readonly" not in str(error) and "unable to open" not in str(error):
            raise
        return read_only(path)
    except BaseException:
        connection.close()
        raise


def _check_file(path: Path, create: bool) -> None:
    try:
        if path.is_dir():
            raise LogbookError(f"{path} is a folder, not a logbook", next_step="name the file with --logbook FILE")
        if path.exists() and not path.is_file():
            raise LogbookError(
                f"{path} is no ordinary file, so it cannot be a logbook", next_step="name the file with --logbook FILE"
            )
        if path.exists() and path.stat().st_size > 0:
            with path.open("rb") as stream:
                if stream.read(16) != _HEADER:
                    raise LogbookError(
                        f"{path} is not a logbook", "it is no SQLite file, and was left as it is",
                        next_step="name the logbook with --logbook FILE",
                    )  # fmt: skip
        elif not create:
            raise LogbookError(f"there is no logbook at {path}", next_step="'penult log add RESULT' makes one")
        else:
            path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
    except OSError as error:
        raise LogbookError(f"the logbook {path} cannot be used", error.strerror or str(error)) from error


def _make_private(path: Path) -> None:
    """Let its owner alone read a logbook; SQLite gives the files beside it the same rights."""
    with suppress(OSError):  # on a disk without rights, or somebody else's file: as it is
        os.close(os.open(path, os.O_CREAT | os.O_RDWR, 0o600))
        for file in (path, *(path.with_name(path.name + ending) for ending in ("-wal", "-shm", "-journal"))):
            if file.exists() and file.stat().st_mode & 0o077:
                file.chmod(0o600)


def _prepared(connection: sqlite3.Connection, path: Path) -> sqlite3.Connection:
    _guard(connection)
    connection.execute("PRAGMA foreign_keys = ON")
    if not connection.execute("SELECT count(*) FROM sqlite_schema").fetchone()[0] and path.stat().st_size == 0:
        _first_tables(connection)
    if schema.version_of(connection, path) < schema.VERSION:
        schema.migrate(connection, path)
    connection.execute("PRAGMA journal_mode = WAL")  # readers and one writer at the same time
    connection.execute("PRAGMA synchronous = FULL")  # on the disk before a command says 'written'
    return connection


def _first_tables(connection: sqlite3.Connection) -> None:
    connection.execute("BEGIN IMMEDIATE")
    if not connection.execute("SELECT count(*) FROM sqlite_schema").fetchone()[
        0
    ]:  # another program may have been first
        schema.create(connection)
    connection.execute("COMMIT")


def read_only(path: Path) -> sqlite3.Connection:
    """Open a logbook on a place that cannot be written."""
    uri = path.resolve().as_uri()
    try:
        return _looked_at(sqlite3.connect(f"{uri}?mode=ro", uri=True, timeout=WAIT_S, isolation_level=None), path)
    except sqlite3.OperationalError:  # WAL needs a second file beside it even to read, unless nobody can write at all
        return _looked_at(sqlite3.connect(f"{uri}?mode=ro&immutable=1", uri=True, isolation_level=None), path)


def _looked_at(connection: sqlite3.Connection, path: Path) -> sqlite3.Connection:
    try:
        _guard(connection)
        _refuse_older(connection, path)
    except BaseException:
        connection.close()
        raise
    return connection


def _refuse_older(connection: sqlite3.Connection, path: Path) -> None:
    if schema.version_of(connection, path) < schema.VERSION:
        raise LogbookError(
            f"{path} is of an older version and cannot be brought up to date where it lies",
            next_step="copy it to a place that can be written",
        )


def _guard(connection: sqlite3.Connection) -> None:
    """A logbook may come from somebody else: nothing in its tables may run code, and no page is taken on trust."""
    connection.execute("PRAGMA trusted_schema = OFF")
    connection.execute("PRAGMA cell_size_check = ON")
    connection.execute("PRAGMA temp_store = MEMORY")


def _plain_words(error: sqlite3.OperationalError, path: Path | str) -> LogbookError:
    text = str(error)
    if "locked" in text or "busy" in text:
        return LogbookError(
            f"{path} is in use by another program", f"waited {WAIT_S:.0f} s for it", next_step="try again"
        )
    if "readonly" in text:
        return LogbookError(f"{path} cannot be written", next_step="choose another place with --logbook FILE")
    if "full" in text:
        return LogbookError(
            f"{path} cannot be written: the disk is full", "nothing in it was changed", next_step="make room"
        )
    if "disk i/o" in text.lower():  # what SQLite says where it cannot make the files beside a logbook: mostly no room
        next_step = "make room, or see that the disk is connected; only then go back to a copy"
        return LogbookError(f"the disk of {path} reports an error, or is full", text, next_step=next_step)
    return LogbookError(f"{path} cannot be used", text, next_step=DAMAGED_NEXT)
