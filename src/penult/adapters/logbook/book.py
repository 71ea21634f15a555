"""The logbook: one SQLite file that a coach can copy. Athletes, sessions, clips, measures, notes, tape results.

Safe against two programs at once (WAL, writers wait for one another) and against being killed: everything that is
written is one transaction, on the disk before the command says so.
"""

from __future__ import annotations

import difflib
import sqlite3
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import Any

from penult.adapters.logbook import schema
from penult.adapters.logbook.connection import DAMAGED_NEXT, connect, errors_named
from penult.adapters.logbook.rows import (
    CLIP_COLUMNS,
    Reader,
    clip_row,
    contact_rows,
    measure_rows,
    path_blob,
    path_of,
    run_number,
)
from penult.core.label import Label
from penult.errors import LogbookError
from penult.model.logbook import Athlete, Choice, CoachNote, Contents, TapeResult
from penult.model.measured import NotMeasured
from penult.model.trial import HipPath, Trial, measures_of

UNREADABLE = (ValueError, TypeError, KeyError, OverflowError, RecursionError)
"""What rows that no penult wrote do to their reader."""


@contextmanager
def opened(path: Path, *, create: bool = False) -> Iterator[Logbook]:
    """Open a logbook, bring it up to date, close it at the end.

    Parameters
    ----------
    path : Path
        Of the file.
    create : bool
        Make a new one where there is none.

    Yields
    ------
    Logbook

    Raises
    ------
    LogbookError
        If there is none, it is damaged, another program's file, or newer than this penult.
    """
    with errors_named(path):
        connection = connect(path, create=create)
        try:
            yield Logbook(connection, path)
        finally:
            connection.close()


class Logbook:
    """An open logbook.

    Parameters
    ----------
    connection : sqlite3.Connection
        In autocommit mode, up to date.
    path : Path
        Of its file; shown by every command that uses it.
    """

    def __init__(self, connection: sqlite3.Connection, path: Path) -> None:
        self.connection, self.path = connection, path

    @contextmanager
    def writing(self) -> Iterator[None]:
        """All of the block is written, or nothing of it; other writers wait."""
        self.connection.execute("BEGIN IMMEDIATE")
        try:
            yield
            self.connection.execute("COMMIT")
        except BaseException:
            if self.connection.in_transaction:
                self.connection.execute("ROLLBACK")
            raise

    def put_athlete(self, athlete: Athlete) -> None:
        """Add an athlete, or change what is known of one; what is None stays as it was."""
        with self.writing():
            self.put_profile(athlete)

    def put_profile(self, athlete: Athlete) -> None:
        """Do that inside the caller's transaction."""
        athlete_id = self.athlete_id(athlete.label)
        self.connection.execute(
            "UPDATE athlete SET sex = coalesce(?, sex), height_m = coalesce(?, height_m),"
            " leg_length_m = coalesce(?, leg_length_m) WHERE id = ?",
            (athlete.sex, athlete.height_m, athlete.leg_length_m, athlete_id),
        )

    def put_trials(self, trials: Sequence[Trial], *, session_folder: str = "", corrections: Sequence[str] = ()) -> int:
        """Add results, or replace earlier results of the same run of the same clip, all in one go.

        Parameters
        ----------
        trials : sequence of Trial
            With all their measures.
        session_folder : str
            Where the clips lie.
        corrections : sequence of str
            Content of each clip's `corrections.json`, '' where it has none; as long as `trials`, or empty.

        Returns
        -------
        int
            How many of them replaced an earlier result.
        """
        with self.writing():
            replaced = 0
            for i, trial in enumerate(trials):
                replaced += self._put_trial(trial, session_folder, corrections[i] if corrections else "")
        return replaced

    def put_tape(self, results: Iterable[TapeResult]) -> None:
        """Add tape-measured results."""
        with self.writing():
            rows = [(self.athlete_id(r.athlete), r.date, r.event, r.distance_m, r.note) for r in results]
            self.connection.executemany(
                "INSERT INTO tape (athlete_id, date, event, distance_m, note) VALUES (?, ?, ?, ?, ?) ON CONFLICT DO NOTHING",
                rows,
            )

    def put_note(self, note: CoachNote) -> None:
        """Add a note on an athlete."""
        with self.writing():
            row = (self.athlete_id(note.athlete), note.date, note.text)
            self.connection.execute(
                "INSERT INTO note (athlete_id, date, text) VALUES (?, ?, ?) ON CONFLICT DO NOTHING", row
            )

    def trials(
        self, choice: Choice, *, last: int = -3, names: Sequence[str] | None = None, without: Iterable[Trial] = ()
    ) -> list[Trial]:
        """Return the chosen clips by date, session and file.

        Parameters
        ----------
        choice : Choice
            Which clips.
        last : int
            Contacts and steps before this number are left out.
        names : sequence of str, optional
            Only these measures.
        without : iterable of Trial
            Clips that are at hand already.

        Returns
        -------
        list of Trial
            Without hip paths; `hip_paths` reads those.
        """
        if choice.athlete:
            choice = replace(choice, athlete=self.athlete(choice.athlete).label)
        known = {(t.analysis.clip.sha256, run_number(t.analysis)) for t in without}
        ids = [i for i, sha256, run in self._chosen(choice) if (sha256, run) not in known]
        return self._read(ids, last, names)

    def hip_path(self, trial: Trial) -> HipPath | None:
        """Return the stored hip path of a clip, or None."""
        row = self.connection.execute(
            "SELECT points FROM hip_path JOIN clip ON clip.id = clip_id WHERE sha256 = ? AND run = ?",
            (trial.analysis.clip.sha256, run_number(trial.analysis)),
        ).fetchone()
        with self._sound():
            return path_of(row[0]) if row else None

    def athlete(self, label: str) -> Athlete:
        """Return what is known of an athlete.

        Raises
        ------
        LogbookError
            If there is none of that label; the nearest ones are named.
        """
        sql = "SELECT label, sex, height_m, leg_length_m FROM athlete WHERE label = ?"
        row = self.connection.execute(sql, (self._recorded(label),)).fetchone()
        if row:
            return Athlete(label=row[0], sex=row[1], height_m=row[2], leg_length_m=row[3])
        known = self.labels()
        near = difflib.get_close_matches(label, known, n=3) or known[:10]
        raise LogbookError(
            f"there is no athlete {label!r} in the logbook",
            f"logbook: {self.path}",
            f"known: {', '.join(near) if near else 'nobody yet'}",
            next_step="'penult log show' lists the athletes",
        )

    def labels(self) -> list[str]:
        """Return the labels of all athletes."""
        return [str(r[0]) for r in self.connection.execute("SELECT label FROM athlete ORDER BY label")]

    def tape(self, label: str) -> list[TapeResult]:
        """Return an athlete's tape-measured results by date."""
        rows = self.connection.execute(
            "SELECT label, date, event, distance_m, note FROM tape JOIN athlete ON athlete.id = athlete_id"
            " WHERE label = ? ORDER BY date, event, distance_m",
            (label,),
        )
        return [TapeResult(athlete=r[0], date=r[1], event=r[2], distance_m=r[3], note=r[4]) for r in rows]

    def notes(self, label: str) -> list[CoachNote]:
        """Return the notes on an athlete by date."""
        rows = self.connection.execute(
            "SELECT label, date, text FROM note JOIN athlete ON athlete.id = athlete_id WHERE label = ? ORDER BY date",
            (label,),
        )
        return [CoachNote(athlete=r[0], date=r[1], text=r[2]) for r in rows]

    def contents(self) -> Contents:
        """Return how much there is of what."""
        counts = {t: int(self.connection.execute(f"SELECT count(*) FROM {t}").fetchone()[0]) for t in schema.CONTENT}
        first, last = self.connection.execute("SELECT min(date), max(date) FROM session WHERE date <> ''").fetchone()
        rows = self.connection.execute(
            "SELECT label, sex, height_m, leg_length_m, count(clip.id) FROM athlete"
            " LEFT JOIN clip ON athlete_id = athlete.id GROUP BY athlete.id ORDER BY label"
        )
        athletes = tuple((Athlete(label=r[0], sex=r[1], height_m=r[2], leg_length_m=r[3]), int(r[4])) for r in rows)
        return Contents(counts=counts, first_date=first or "", last_date=last or "", athletes=athletes)

    def check(self) -> None:
        """Raise LogbookError unless the whole file is sound."""
        problems = [str(r[0]) for r in self.connection.execute("PRAGMA integrity_check(20)")]
        problems = [] if problems == ["ok"] else problems
        problems += [
            f"a row of {r[0]} points to no {r[2]}" for r in self.connection.execute("PRAGMA foreign_key_check")
        ][:20]
        if problems:
            raise LogbookError(f"{self.path} is damaged", *problems, next_step=DAMAGED_NEXT)

    def folders_of(self, label: str) -> list[str]:
        """Return the result folders that are recorded for an athlete."""
        rows = self.connection.execute(
            "SELECT DISTINCT folder FROM clip JOIN athlete ON athlete.id = athlete_id WHERE label = ? AND folder <> ''",
            (label,),
        )
        return [str(r[0]) for r in rows]

    def result_folders(self) -> list[str]:
        """Return the result folders of all clips."""
        return [str(r[0]) for r in self.connection.execute("SELECT DISTINCT folder FROM clip WHERE folder <> ''")]

    def session_folders(self) -> list[str]:
        """Return the folders of all sessions."""
        return [str(r[0]) for r in self.connection.execute("SELECT DISTINCT folder FROM session WHERE folder <> ''")]

    def _read(self, ids: Sequence[int], last: int, names: Sequence[str] | None) -> list[Trial]:
        with self._sound():
            return Reader(self.connection, ids, last).trials(names)

    @contextmanager
    def _sound(self) -> Iterator[None]:
        """Values that no penult wrote are damage, whatever they do to the reader."""
        try:
            yield
        except UNREADABLE as error:
            raise LogbookError(
                f"{self.path} is damaged", f"a row cannot be read: {error}", next_step=DAMAGED_NEXT
            ) from error

    def _chosen(self, choice: Choice) -> list[tuple[int, str, int]]:
        tests: list[tuple[str, Any]] = [
            ("label = ? COLLATE NOCASE", choice.athlete or None),
            ("kind = ? COLLATE NOCASE", choice.kind or None),
            ("session.name = ? COLLATE NOCASE", choice.session or None),
            ("date >= ?", choice.date_from or None),
            ("date <= ? AND date <> ''", choice.date_to or None),
            ("approach_strides >= ?", choice.strides_from),
            ("approach_strides <= ?", choice.strides_to),
            ("EXISTS (SELECT 1 FROM mat WHERE clip_id = clip.id AND thickness_m > 0) = ?", choice.has_mats),
        ]
        used = [(sql, value) for sql, value in tests if value is not None]
        where = " AND ".join(sql for sql, _ in used) or "1"
        rows = self.connection.execute(
            "SELECT clip.id, sha256, run FROM clip LEFT JOIN athlete ON athlete.id = athlete_id"
            f" LEFT JOIN session ON session.id = session_id WHERE {where} ORDER BY date, session.name, file, run",
            [value for _, value in used],
        )
        return [(int(r[0]), str(r[1]), int(r[2])) for r in rows]

    def _recorded(self, label: str) -> str:
        """Return a label as it is recorded, whatever its capitals and its Unicode form; as it is where it is new."""
        known = [str(r[0]) for r in self.connection.execute("SELECT label FROM athlete")]
        wanted = Label(label)
        return label if label in known else next((one for one in known if wanted.is_of(one)), label)

    def athlete_id(self, label: str) -> int:
        """Return the number of an athlete, adding one that is new; inside the caller's transaction."""
        label = self._recorded(label)
        self.connection.execute("INSERT INTO athlete (label) VALUES (?) ON CONFLICT DO NOTHING", (label,))
        return int(self.connection.execute("SELECT id FROM athlete WHERE label = ?", (label,)).fetchone()[0])

    def session_id(self, name: str, date: str, folder: str) -> int:
        """Return the number of a session, adding one that is new; inside the caller's transaction."""
        key = (name, date)
        self.connection.execute("INSERT INTO session (name, date) VALUES (?, ?) ON CONFLICT DO NOTHING", key)
        if folder:
            self.connection.execute("UPDATE session SET folder = ? WHERE name = ? AND date = ?", (folder, *key))
        return int(self.connection.execute("SELECT id FROM session WHERE name = ? AND date = ?", key).fetchone()[0])

    def _put_trial(self, trial: Trial, session_folder: str, correction: str) -> bool:
        """Write one clip with everything that depends on it; True if an earlier result gave way."""
        label, c = trial.analysis.run.athlete, self.connection
        key = (trial.analysis.clip.sha256, run_number(trial.analysis))
        earlier = c.execute("SELECT id FROM clip WHERE sha256 = ? AND run = ?", key).fetchone()
        if earlier:
            c.execute("DELETE FROM clip WHERE id = ?", earlier)
        row = clip_row(
            trial,
            self.athlete_id(label) if label else None,
            self.session_id(trial.said.session, trial.said.date, session_folder),
        )
        marks = ", ".join("?" * len(CLIP_COLUMNS))
        clip_id = c.execute(f"INSERT INTO clip ({', '.join(CLIP_COLUMNS)}) VALUES ({marks})", row).lastrowid or 0
        self._put_parts(clip_id, trial)
        if correction:
            c.execute("INSERT INTO correction VALUES (?, ?)", (clip_id, correction))
        return earlier is not None

    def _put_parts(self, clip_id: int, trial: Trial) -> None:
        a, c = trial.analysis, self.connection
        measures = measures_of(a)
        names = self._words("name", "part, name", dict.fromkeys((k.part, k.name) for k in measures))
        why = dict.fromkeys((m.reason,) for m in measures.values() if isinstance(m, NotMeasured))
        reasons = {str(k[0]): i for k, i in self._words("reason", "text", why).items()}
        mats = {m.number: m.thickness_m for m in a.run.mats}
        c.executemany("INSERT INTO mat VALUES (?, ?, ?)", [(clip_id, n, t) for n, t in mats.items()])
        c.executemany("INSERT INTO contact VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)", contact_rows(clip_id, a))
        c.executemany(
            "INSERT INTO warning VALUES (?, ?, ?, ?)", [(clip_id, i, w.code, w.text) for i, w in enumerate(a.warnings)]
        )
        pairs = {(str(k[0]), str(k[1])): i for k, i in names.items()}
        c.executemany("INSERT INTO measure VALUES (?, ?, ?, ?, ?, ?, ?)", measure_rows(clip_id, a, pairs, reasons))
        if trial.hip_path is not None and len(trial.hip_path.time_s):
            c.execute("INSERT INTO hip_path VALUES (?, ?)", (clip_id, path_blob(trial.hip_path)))

    def word_id(self, table: str, **words: str) -> int:
        """Return the number of a row of a word list, adding one that is new; inside the caller's transaction."""
        columns = ", ".join(words)
        return self._words(table, columns, [tuple(words.values())])[tuple(words.values())]

    def _words(self, table: str, columns: str, wanted: Iterable[tuple[str, ...]]) -> dict[tuple[str, ...], int]:
        """Return the id of each row of a word list, adding those that are new."""
        wanted = list(wanted)
        marks = ", ".join("?" * len(columns.split(",")))
        self.connection.executemany(f"INSERT INTO {table} ({columns}) VALUES ({marks}) ON CONFLICT DO NOTHING", wanted)
        rows = self.connection.execute(f"SELECT id, {columns} FROM {table}")
        return {tuple(str(w) for w in words): int(i) for i, *words in rows}
