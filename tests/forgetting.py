"""Logbooks and folders to forget somebody in, and what a stranger's eye sees of them: every row, every byte."""

from __future__ import annotations

import json
import os
import random
import signal
import sqlite3
import time
import unicodedata
from collections.abc import Callable
from contextlib import closing
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

from penult.adapters.files.result_folder import said_bytes
from penult.adapters.logbook.book import opened
from penult.app.forget import forget_athlete
from penult.core.synthetic.invented import Form, trial
from penult.errors import PenultError
from penult.model.logbook import CoachNote, TapeResult
from penult.model.trial import Said, Trial
from penult.outputs.folder.result import analysis_to_json

TYPED = {
    "session": {"name", "folder"},
    "clip": {"file", "kind", "note", "calibration", "folder"},
    "note": {"text"},
    "tape": {"event", "note"},
}
"""Columns of what people type, by hand from the tables' definitions; nothing else may ever change for others."""


def some(
    label: str, n: int, seed: int, *, kind: str = "full approach", note: str = "", file: str = "clip"
) -> list[Trial]:
    """Return a few invented clips."""
    rng = np.random.default_rng(seed)
    said = Said(date="2026-10-03", session="hall", approach_strides=18, note=note)
    return [trial(rng, Form(athlete=label, kind=kind), said, file=f"{file}_{seed}_{i}.mp4") for i in range(n)]


def put_result(folder: Path, one: Trial) -> Path:
    """Write a result folder as `analyse` and a session leave it."""
    (folder / "stills").mkdir(parents=True)
    (folder / "analysis.json").write_text(analysis_to_json(one.analysis), encoding="utf-8")
    (folder / "said.json").write_bytes(said_bytes(one.said))
    (folder / "summary.html").write_text("<!-- made with penult -->", encoding="utf-8")
    (folder / "stills" / "index.json").write_text("{}", encoding="utf-8")
    return folder


def rows_of(path: Path) -> dict[str, list[dict[str, Any]]]:
    """Return every row of every table, read by SQLite alone."""
    with closing(sqlite3.connect(path)) as connection:
        connection.row_factory = sqlite3.Row
        names = [r[0] for r in connection.execute("SELECT name FROM sqlite_schema WHERE type = 'table'")]
        return {t: [dict(r) for r in connection.execute(f"SELECT * FROM {t}")] for t in names}


def without(rows: dict[str, list[dict[str, Any]]], label: str) -> dict[str, list[dict[str, Any]]]:
    """Return the rows that are not about a person; sessions and reasons that only they used are not either."""
    same = lambda a: plainly(a) == plainly(label)  # noqa: E731
    ids = {r["id"] for r in rows["athlete"] if same(r["label"])}
    clips = {r["id"] for r in rows["clip"] if r["athlete_id"] in ids}
    kept = {
        t: [
            r
            for r in found
            if r.get("athlete_id") not in (ids or {-1})
            and r.get("clip_id") not in (clips or {-1})
            and not (t == "athlete" and r["id"] in ids)
        ]
        for t, found in rows.items()
    }
    used = {r["reason_id"] for r in kept["measure"]}
    kept["reason"] = [r for r in kept["reason"] if r["id"] in used]
    sessions = {r["session_id"] for r in kept["clip"]}
    had = {r["session_id"] for r in rows["clip"] if r["athlete_id"] in ids}
    kept["session"] = [r for r in kept["session"] if r["id"] in sessions or r["id"] not in had]
    return {t: found for t, found in kept.items() if t not in ("forgetting", "history")}


def plainly(text: str) -> str:
    """Return a text without its capitals and its Unicode form, by the standard's own recipe."""
    return unicodedata.normalize("NFC", unicodedata.normalize("NFC", text).casefold()).strip()


@dataclass
class Accidents:
    """What came of interrupting a forgetting many times."""

    done: int = 0
    interrupted: int = 0
    finished_at_once: int = 0
    broken: list[str] = field(default_factory=list)


@dataclass(frozen=True)
class Place:
    """A logbook and films with results of two people."""

    root: Path

    @property
    def logbook(self) -> Path:
        return self.root / "book" / "log.sqlite"

    @property
    def films(self) -> Path:
        return self.root / "films"


LABEL = "Zora-Beispiel"


def made(root: Path, seed: int, clips: int = 4) -> Place:
    """Make a logbook of three people, with results of two of them and a note that names one beside another."""
    place = Place(root)
    with opened(place.logbook, create=True) as log:
        for i, label in enumerate((LABEL, "A2", "A3")):
            found = some(label, clips, seed=10 * seed + i, file=label)
            if label != "A3":
                found = [
                    type(t)(
                        analysis=t.analysis,
                        said=t.said,
                        hip_path=t.hip_path,
                        folder=str(put_result(place.films / f"{t.analysis.clip.file[:-4]}_analysis", t)),
                    )
                    for t in found
                ]
            log.put_trials(found, session_folder=str(place.films))
        log.put_tape([TapeResult(athlete=LABEL, date="2026-10-04", event="long jump", distance_m=5.5)])
        log.put_note(CoachNote(athlete="A2", date="2026-10-04", text="ran behind a friend"))
    return place


def whole(place: Place, before: dict[str, list[dict[str, Any]]]) -> str:
    """Return what is wrong after an interruption: the logbook unsound, somebody else's row or file changed; '' if nothing."""
    try:
        with opened(place.logbook) as log:
            log.check()
    except PenultError as error:
        return f"the logbook: {error}"
    if without(rows_of(place.logbook), LABEL) != before:
        return "rows of others have changed"
    others = [p for p in place.films.glob("A2_*_analysis") if (p / "analysis.json").is_file()]
    return "" if len(others) == 4 else "results of others have changed"


def gone(place: Place) -> str:
    """Return where the person still is, byte by byte; '' if nowhere."""
    for path in (p for p in place.root.rglob("*") if p.is_file() and p.name != "ballast"):
        data = path.read_bytes()
        if any(LABEL.encode(code) in data or LABEL.lower().encode(code) in data for code in ("utf-8", "utf-16-le")):
            return f"{path.name} holds the label"
    left = [p for p in place.films.glob(f"{LABEL}*") if p.is_dir()]
    rows = rows_of(place.logbook)
    if left or rows["forgetting"] or any(plainly(r["label"]) == plainly(LABEL) for r in rows["athlete"]):
        return f"left: {left}, {len(rows['forgetting'])} hashes"
    return ""


def in_child(work: Callable[[], None]) -> int:
    """Run something in a process of its own; returns its number."""
    child = os.fork()
    if child == 0:
        status = 1
        try:
            work()
            status = 0
        except PenultError as error:
            os.write(2, f"{error}\n".encode()) if os.environ.get("SAY") else None
            status = error.exit_status
        finally:
            os._exit(status)
    return child


def ended(child: int) -> int:
    """Wait for a process and return how it ended, as a shell would say it."""
    return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])


def forgotten(place: Place) -> None:
    """Forget the person of `made`."""
    forget_athlete(LABEL, logbook=place.logbook, results=[place.films])


def killed(root: Path, count: int, seed: int = 1) -> Accidents:
    """Kill a forgetting `count` times at random moments; then say it again, and look."""
    out, draw, span_s = Accidents(), random.Random(seed), 0.0
    for i in range(count):
        place = made(root / f"kill{i}", seed=i)
        before = without(rows_of(place.logbook), LABEL)
        began = time.monotonic()
        child = in_child(lambda place=place: forgotten(place))
        if span_s:
            time.sleep(draw.uniform(0.0, 1.0) * span_s)
            os.kill(child, signal.SIGKILL)
        status = ended(child)
        span_s = time.monotonic() - began if status == 0 and not span_s else span_s
        _judge(out, place, before, status, f"kill {i}")
    return out


def with_full_disks(mount: Callable[[Path], None], root: Path, count: int, seed: int = 1) -> Accidents:
    """Fill the disk before forgetting, so that a little or nothing is free; then make room and say it again.

    Parameters
    ----------
    mount : callable
        Puts a small disk at a folder.
    """
    out, draw = Accidents(), random.Random(seed)
    for i in range(count):
        (root / f"full{i}").mkdir()
        mount(root / f"full{i}")
        place = made(root / f"full{i}", seed=i)
        before = without(rows_of(place.logbook), LABEL)
        ballast = place.root / "ballast"
        free = os.statvfs(place.root)
        with ballast.open("wb") as stream:
            stream.write(b"x" * max(0, free.f_bavail * free.f_bsize - 4096 * draw.randrange(0, 70)))
        status = ended(in_child(lambda place=place: forgotten(place)))
        ballast.unlink()
        _judge(out, place, before, status, f"disk {i}")
    return out


def _judge(out: Accidents, place: Place, before: dict[str, list[dict[str, Any]]], status: int, name: str) -> None:
    out.done += 1
    out.interrupted += status != 0
    out.finished_at_once += status == 0
    fault = whole(place, before)
    if not fault:
        again = ended(in_child(lambda: _again(place)))
        fault = f"said again: status {again}" if again else whole(place, before) or gone(place)
    if fault:
        out.broken.append(f"{name} (status {status}): {fault}")


def _again(place: Place) -> None:
    """Say it again; that there is no such person any more is what is wanted where it had been finished."""
    try:
        forgotten(place)
    except PenultError as error:
        if "there is no athlete" not in error.what:
            raise


def shown(found: Accidents) -> str:
    """Return the figures as one line."""
    return json.dumps({"done": found.done, "interrupted": found.interrupted, "at once": found.finished_at_once,
                       "broken": found.broken[:5]})  # fmt: skip
