"""Entries of a logbook one by one: listed, corrected, taken out, and every change taken back.

An entry is named by its table and number: 'tape-12', 'note-3', 'clip-45', 'athlete-2'. The history keeps what it was before
and after; a change is only taken back where the entry still is what the change made of it.
"""

from __future__ import annotations

import json
import re
import sqlite3
from collections.abc import Iterable, Mapping, Sequence
from datetime import UTC, datetime
from typing import Any

from penult.adapters.logbook.book import Logbook
from penult.errors import LogbookError
from penult.model.logbook import Athlete, Changed, CoachNote, Entry, TapeResult

KINDS = ("athlete", "clip", "tape", "note")
MOST_CHANGES = 500
"""Changes that are kept; the oldest go first."""

FIELDS: dict[str, tuple[str, ...]] = {
    "athlete": ("label",),
    "clip": ("athlete", "date", "session", "kind", "approach_strides", "official_distance_m", "note"),
    "tape": ("athlete", "date", "event", "distance_m", "note"),
    "note": ("athlete", "date", "text"),
}
"""What can be corrected in an entry of each kind."""

_LIST = {
    "athlete": "SELECT id, label, '', coalesce(sex, ''), height_m, leg_length_m FROM athlete ORDER BY label",
    "clip": "SELECT clip.id, coalesce(label, ''), coalesce(date, ''), file, kind, session.name, clip.note, official_distance_m"
    " FROM clip LEFT JOIN athlete ON athlete.id = athlete_id LEFT JOIN session ON session.id = session_id"
    " ORDER BY date, session.name, file, run",
    "tape": "SELECT tape.id, label, date, event, distance_m, note FROM tape JOIN athlete ON athlete.id = athlete_id"
    " ORDER BY date, tape.id",
    "note": "SELECT note.id, label, date, text FROM note JOIN athlete ON athlete.id = athlete_id ORDER BY date, note.id",
}
_PARTS = {
    "mat": "SELECT number, thickness_m FROM mat WHERE clip_id = ?",
    "contact": "SELECT number, foot, strike, wholly_seen, by_hand, start_s, end_s, lowest_s, kind, foot_sure FROM contact"
    " WHERE clip_id = ?",
    "warning": "SELECT place, code, text FROM warning WHERE clip_id = ?",
    "correction": "SELECT content FROM correction WHERE clip_id = ?",
    "hip_path": "SELECT hex(points) FROM hip_path WHERE clip_id = ?",
    "measure": "SELECT part, name, number, value, u95, by_hand, reason.text FROM measure JOIN name ON name.id = name_id"
    " LEFT JOIN reason ON reason.id = reason_id WHERE clip_id = ?",
}
"""What depends on a clip, with words in the place of their numbers."""


def entries(log: Logbook, *, athlete: str = "", kinds: Iterable[str] = KINDS) -> list[Entry]:
    """Return the entries of some kinds, of everybody or of one athlete."""
    label = log.athlete(athlete).label if athlete else ""
    found = []
    for kind in kinds:
        for i, whose, date, *facts in log.connection.execute(_LIST[kind]):
            if not label or whose == label:
                words = ", ".join(_fact(f) for f in facts if f not in (None, ""))
                found.append(Entry(name=f"{kind}-{i}", athlete=whose, date=date, words=words))
    return found


def correct(log: Logbook, name: str, changes: Mapping[str, Any]) -> None:
    """Change fields of an entry; in the history stands what it was.

    Parameters
    ----------
    log : Logbook
        Open for writing.
    name : str
        Of the entry.
    changes : mapping
        New values by the names of FIELDS.

    Raises
    ------
    LogbookError
        If there is no such entry, it has no such field, or another entry says the same already.
    """
    kind, number = _parsed(name)
    wrong = [field for field in changes if field not in FIELDS[kind]]
    if wrong or not changes:
        raise LogbookError(
            f"{name} has nothing to be corrected" if not changes else f"{name} has no {', '.join(wrong)}",
            f"a {kind} has: {', '.join(f.replace('_m', '').replace('_', ' ') for f in FIELDS[kind])}",
        )
    with log.writing():
        before = _state(log, kind, number)
        try:
            _write(log, kind, number, changes)
        except sqlite3.IntegrityError as error:
            raise LogbookError(
                f"{name} cannot be corrected so: the logbook has such an entry already",
                next_step=f"take one of the two out: penult log remove {name}",
            ) from error
        _drop_empty(log, before)
        _remember(log, f"{name} corrected", name, before, _state(log, kind, number))


def take_out(log: Logbook, name: str) -> None:
    """Take an entry out; in the history stands what it was.

    Raises
    ------
    LogbookError
        If there is no such entry, or it is an athlete on whom others hang.
    """
    kind, number = _parsed(name)
    with log.writing():
        before = _state(log, kind, number)
        if kind == "athlete":
            _refuse_used(log, name, number)
        log.connection.execute(f"DELETE FROM {kind} WHERE id = ?", (number,))
        _drop_empty(log, before)
        _remember(log, f"{name} taken out", name, before, None)


def add_tape(log: Logbook, result: TapeResult) -> str:
    """Add a tape-measured result and return its name; '' where it was there already."""
    return _add(log, "tape", result.athlete, {"date": result.date, "event": result.event,
                                              "distance_m": result.distance_m, "note": result.note})  # fmt: skip


def add_note(log: Logbook, note: CoachNote) -> str:
    """Add a note and return its name; '' where it was there already."""
    return _add(log, "note", note.athlete, {"date": note.date, "text": note.text})


def put_profile(log: Logbook, athlete: Athlete) -> None:
    """Add an athlete, or change what is known of one, None staying as it was; in the history stands what it was."""
    with log.writing():
        known = {int(row[0]) for row in log.connection.execute("SELECT id FROM athlete")}
        number = log.athlete_id(athlete.label)  # of the same label in another form, too
        before = _state(log, "athlete", number) if number in known else None
        log.put_profile(athlete)
        after, name = _state(log, "athlete", number), f"athlete-{number}"
        if after != before:
            _remember(log, f"{name} {'added' if before is None else 'corrected'}", name, before, after)


def _add(log: Logbook, kind: str, athlete: str, values: Mapping[str, Any]) -> str:
    with log.writing():
        row = {"athlete_id": log.athlete_id(athlete), **values}
        sql = f"INSERT INTO {kind} ({', '.join(row)}) VALUES ({', '.join('?' * len(row))}) ON CONFLICT DO NOTHING"
        cursor = log.connection.execute(sql, [*row.values()])
        if cursor.rowcount < 1:
            return ""
        name = f"{kind}-{cursor.lastrowid}"
        _remember(log, f"{name} added", name, None, _state(log, *_parsed(name)))
    return name


def undo(log: Logbook) -> Changed:
    """Take the latest change back that has not been taken back.

    Raises
    ------
    LogbookError
        If there is none, or the entry has been changed since in another way.
    """
    sql = "SELECT id, made_at, what, entry, before FROM history WHERE undone = 0 ORDER BY id DESC LIMIT 1"
    with log.writing():
        row = log.connection.execute(sql).fetchone()
        if row is None:
            raise LogbookError("there is no change to take back", f"logbook: {log.path}")
        number, made_at, what, name, content = row
        states = json.loads(content)
        kind, entry = _parsed(name)
        now = _state_or_none(log, kind, entry)
        if now != states["after"] or (now is None and _is_there_again(log, states["before"])):
            raise LogbookError(
                f"{what} on {made_at[:10]} cannot be taken back",
                "the entry has been changed since, or is gone",
                next_step="look at it with 'penult log entries', and correct it",
            )
        _put_back(log, kind, entry, states["before"])
        log.connection.execute("UPDATE history SET undone = 1 WHERE id = ?", (number,))
    return Changed(number=number, made_at=made_at, what=what, is_undone=True)


def history(log: Logbook) -> list[Changed]:
    """Return the changes, the latest first."""
    rows = log.connection.execute("SELECT id, made_at, what, undone FROM history ORDER BY id DESC")
    return [Changed(number=r[0], made_at=r[1], what=r[2], is_undone=bool(r[3])) for r in rows]


def _fact(value: Any) -> str:
    return f"{value:.2f} m" if isinstance(value, float) else str(value)


def _parsed(name: str) -> tuple[str, int]:
    found = re.fullmatch(rf"({'|'.join(KINDS)})-(\d{{1,12}})", name.strip().lower())
    if found is None:
        raise LogbookError(
            f"{name[:40]!r} names no entry", "wanted: such as tape-12, note-3, clip-45, athlete-2",
            next_step="'penult log entries' lists them",
        )  # fmt: skip
    return found[1], int(found[2])


def _state(log: Logbook, kind: str, number: int) -> dict[str, Any]:
    found = _state_or_none(log, kind, number)
    if found is None:
        raise LogbookError(f"there is no entry {kind}-{number}", next_step="'penult log entries' lists them")
    return found


def _state_or_none(log: Logbook, kind: str, number: int) -> dict[str, Any] | None:
    """Return an entry with everything that depends on it, with words in the place of the numbers of other rows."""
    cursor = log.connection.execute(f"SELECT * FROM {kind} WHERE id = ?", (number,))
    found = cursor.fetchone()
    if found is None:
        return None
    row = dict(zip((c[0] for c in cursor.description), found, strict=True))
    out: dict[str, Any] = {"row": {k: v for k, v in row.items() if k not in ("id", "athlete_id", "session_id")}}
    if row.get("athlete_id") is not None:
        sql = "SELECT label FROM athlete WHERE id = ?"
        out["athlete"] = log.connection.execute(sql, (row["athlete_id"],)).fetchone()[0]
    if row.get("session_id") is not None:
        sql = "SELECT name, date, folder FROM session WHERE id = ?"
        session = log.connection.execute(sql, (row["session_id"],)).fetchone()
        out["session"] = dict(zip(("name", "date", "folder"), session, strict=True))
    if kind == "clip":
        out["parts"] = {t: [list(r) for r in log.connection.execute(sql, (number,))] for t, sql in _PARTS.items()}
    return out


def _write(log: Logbook, kind: str, number: int, changes: Mapping[str, Any]) -> None:
    values = dict(changes)
    if kind != "athlete" and "athlete" in values:
        values["athlete_id"] = log.athlete_id(values.pop("athlete"))
    if kind == "clip" and {"date", "session"} & values.keys():
        sql = "SELECT name, date, session.folder FROM session JOIN clip ON session.id = session_id WHERE clip.id = ?"
        name, date, folder = log.connection.execute(sql, (number,)).fetchone() or ("", "", "")
        wanted = (values.pop("session", name), values.pop("date", date))
        values["session_id"] = log.session_id(*wanted, folder)
    columns = ", ".join(f"{c} = ?" for c in values)
    log.connection.execute(f"UPDATE {kind} SET {columns} WHERE id = ?", (*values.values(), number))


def _refuse_used(log: Logbook, name: str, number: int) -> None:
    counts = {
        t: log.connection.execute(f"SELECT count(*) FROM {t} WHERE athlete_id = ?", (number,)).fetchone()[0]
        for t in ("clip", "tape", "note")
    }
    if any(counts.values()):
        raise LogbookError(
            f"{name} has entries, so it cannot be taken out alone",
            ", ".join(f"{n} {t}" for t, n in counts.items() if n),
            next_step="correct or remove those, or forget the person: penult log forget LABEL",
        )


def _drop_empty(log: Logbook, before: Mapping[str, Any]) -> None:
    """Take out the athlete of whom nothing is left and nothing known, and sessions without clips: a typo makes nobody."""
    c = log.connection
    if "athlete" in before:
        c.execute(
            "DELETE FROM athlete WHERE label = ? AND sex IS NULL AND height_m IS NULL AND leg_length_m IS NULL AND id NOT IN"
            " (SELECT athlete_id FROM clip WHERE athlete_id IS NOT NULL UNION SELECT athlete_id FROM tape"
            " UNION SELECT athlete_id FROM note)",
            (before["athlete"],),
        )
    if "session" in before:
        c.execute(
            "DELETE FROM session WHERE name = ? AND date = ? AND id NOT IN"
            " (SELECT session_id FROM clip WHERE session_id IS NOT NULL)",
            (before["session"]["name"], before["session"]["date"]),
        )


def _remember(log: Logbook, what: str, name: str, before: Any, after: Any) -> None:
    content = json.dumps({"before": before, "after": after}, ensure_ascii=False)
    now = datetime.now(tz=UTC).isoformat(timespec="seconds")
    sql = "INSERT INTO history (made_at, what, entry, before) VALUES (?, ?, ?, ?)"
    log.connection.execute(sql, (now, what, name, content))
    log.connection.execute("DELETE FROM history WHERE id <= (SELECT max(id) FROM history) - ?", (MOST_CHANGES,))


def _is_there_again(log: Logbook, before: Mapping[str, Any]) -> bool:
    """Tell whether a clip was analysed and added again since: then it is not replaced by what it was."""
    row = before["row"]
    sql = "SELECT count(*) FROM clip WHERE sha256 = ? AND run = ?"
    return "sha256" in row and bool(log.connection.execute(sql, (row["sha256"], row["run"])).fetchone()[0])


def _put_back(log: Logbook, kind: str, number: int, before: Mapping[str, Any] | None) -> None:
    """Make an entry what it was."""
    now = _state_or_none(log, kind, number)
    if before is None:
        if kind == "athlete":
            _refuse_used(log, f"athlete-{number}", number)
        log.connection.execute(f"DELETE FROM {kind} WHERE id = ?", (number,))
    else:
        values = dict(before["row"])
        if "athlete" in before:
            values["athlete_id"] = log.athlete_id(before["athlete"])
        if "session" in before:
            values["session_id"] = log.session_id(*(before["session"][k] for k in ("name", "date", "folder")))
        if now is None:
            columns = ", ".join(["id", *values])
            marks = ", ".join("?" * (1 + len(values)))
            log.connection.execute(f"INSERT INTO {kind} ({columns}) VALUES ({marks})", (number, *values.values()))
            _put_parts_back(log, number, before.get("parts", {}))
        else:
            columns = ", ".join(f"{c} = ?" for c in values)
            log.connection.execute(f"UPDATE {kind} SET {columns} WHERE id = ?", (*values.values(), number))
    if now is not None:
        _drop_empty(log, now)


def _put_parts_back(log: Logbook, number: int, parts: Mapping[str, Sequence[Sequence[Any]]]) -> None:
    c = log.connection
    for table, rows in parts.items():
        for row in rows:
            values = list(row)
            if table == "hip_path":
                values = [bytes.fromhex(values[0])]
            if table == "measure":
                part, name, at, value, u95, by_hand, reason = values
                values = [log.word_id("name", part=part, name=name), at, value, u95, by_hand,
                          None if reason is None else log.word_id("reason", text=reason)]  # fmt: skip
            marks = ", ".join("?" * (1 + len(values)))
            c.execute(f"INSERT INTO {table} VALUES ({marks})", (number, *values))
