"""What is left of a person in the folders that penult has written to: results, pages, exports, copies, and files that name them.

Goes in: a label, hashes of the person's clips, folders. Comes out: every trace with what it is, and the places that could
not be looked at. Nothing is changed here.
"""

from __future__ import annotations

import csv
import hashlib
import html
import io
import os
import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Literal

from penult.adapters.files.result_file import read_analysis
from penult.adapters.files.result_folder import SAID
from penult.adapters.files.session_state import STATE, read_state
from penult.adapters.logbook.csv_folder import MARK as EXPORT_MARK
from penult.adapters.logbook.csv_folder import is_export
from penult.adapters.logbook.schema import APPLICATION_ID
from penult.app.workbook_text import ZIP, texts_of_workbook
from penult.core.label import Label, is_plain
from penult.errors import PenultError
from penult.model.analysis import Analysis
from penult.outputs.folder.aside import is_stale
from penult.outputs.pages.page_files import MARK as PAGE_MARK
from penult.whole_file import ASIDE, read_whole

Kind = Literal["result", "half a result", "page", "export", "state", "words", "half a file"]

PAGES = {
    "session.html": ("session.html", "session.xlsx"),
    "sheet.html": ("sheet.html",),
    "season.html": ("season.html", "season.csv", "season.xlsx"),
    "side_by_side.html": ("side_by_side.html", "side_by_side.csv", "side_by_side_clips.csv", "side_by_side.xlsx"),
    "run_ups.html": ("run_ups.html", "run_ups.csv", "scatter.csv"),
    "comparison.html": ("comparison.html", "comparison.csv", "comparison_clips.csv", "comparison.xlsx"),
}
"""Pages, each with the tables that are written with it."""

TEXT_ENDINGS = frozenset({".csv", ".tsv", ".txt", ".md", ".json", ".html", ".htm", ".xml", ".log", ".xlsx"})
LARGEST_TEXT_BYTES = 20_000_000
DEEPEST = 6
MOST_FILES = 200_000
"""Files that are looked at in one search: a whole disk is not gone through."""

_SQLITE = b"SQLite format 3\x00"
_HALF = re.compile(r"\..+\.(partial|previous)-\d+-[0-9a-f]{8}-[0-9a-f]{8}\Z")
_BDI = re.compile(r"<bdi>(.*?)</bdi>", re.DOTALL)
_TITLE = re.compile(r"<title>(.*?): (?:season from|\d+ run-ups)", re.DOTALL)


@dataclass(frozen=True, slots=True, kw_only=True)
class Person:
    """Whom a search is for.

    Parameters
    ----------
    label : Label
    clips : frozenset of (str, int)
        Hash and run of clips known to be theirs.
    """

    label: Label
    clips: frozenset[tuple[str, int]]

    @property
    def shared(self) -> frozenset[str]:
        """Hashes that stand for these clips in shared copies."""
        return frozenset(shared_digest(sha256) for sha256, _ in self.clips)


@dataclass(frozen=True, slots=True, kw_only=True)
class Trace:
    """One thing found: where, what it is, and why it is taken for theirs."""

    path: Path
    kind: Kind
    why: str


@dataclass(slots=True, kw_only=True)
class Found:
    """What a search came to: traces to be removed, files that name the person but stay, and places not looked at."""

    traces: list[Trace] = field(default_factory=list)
    left: list[tuple[Path, str]] = field(default_factory=list)
    not_looked_at: list[tuple[Path, str]] = field(default_factory=list)
    looked_at: list[Path] = field(default_factory=list)
    others: int = 0
    """Results of somebody else, or that do not say whose they are."""


def shared_digest(sha256: str) -> str:
    """Return the hash that stands in a shared copy for that of its clip."""
    return hashlib.sha256(f"shared {sha256}".encode()).hexdigest()


def search(person: Person, roots: Iterable[Path], *, logbook: Path) -> Found:
    """Look through folders and what lies in them.

    Parameters
    ----------
    person : Person
    roots : iterable of Path
        Each is looked through once, however often it is named or lies within another.
    logbook : Path
        Which is looked at by itself; the folder it lies in is searched without the folders below.
    """
    found, seen = Found(), set[Path]()
    results = _Results(person, found, logbook)
    for root in _outermost(roots, found):
        found.looked_at.append(root)
        for folder, names in _folders(root, found, seen):
            results.look(folder, names)
    beside = logbook.resolve().parent
    if beside.is_dir() and beside not in seen:
        found.looked_at.append(beside)
        results.look(beside, sorted(p.name for p in beside.iterdir() if p.is_file() and not p.is_symlink()))
    results.end()
    return found


def is_half_folder(folder: Path) -> bool:
    """Tell whether a folder is a result under construction whose program is gone; the next run would remove it as well."""
    return bool(_HALF.match(folder.name)) and is_stale(folder)


def run_of(analysis: Analysis) -> int:
    """Return which run of its clip a result is about."""
    settings = analysis.method.get("settings")
    run = settings.get("run", 1) if isinstance(settings, dict) else 1
    return run if isinstance(run, int) else 1


class _Results:
    """One search under way. Results are judged at the end: a clip found under its label tells of others without one."""

    def __init__(self, person: Person, found: Found, logbook: Path) -> None:
        self.person, self.found, self.logbook = person, found, logbook.resolve()
        self.name, self.is_plain = person.label, is_plain(person.label.text)
        self.clips = set(person.clips)
        self.analyses: list[tuple[Path, Analysis]] = []
        self.folders: list[tuple[Path, list[str]]] = []

    def look(self, folder: Path, names: Sequence[str]) -> None:
        """Take note of a folder; what is in it is judged at the end."""
        self.folders.append((folder, list(names)))
        if "analysis.json" not in names:
            return
        try:
            analysis = read_analysis(folder / "analysis.json")
        except PenultError as error:
            self.found.not_looked_at.append((folder / "analysis.json", error.what))
            return
        self.analyses.append((folder, analysis))
        if self.name.is_of(analysis.run.athlete) and not analysis.method.get("shared"):
            self.clips.add((analysis.clip.sha256, run_of(analysis)))

    def end(self) -> None:
        """Judge everything that was noted."""
        person = Person(label=self.name, clips=frozenset(self.clips))
        theirs = {folder for folder, analysis in self.analyses if _is_theirs(analysis, person)}
        results = {folder for folder, _ in self.analyses}
        around = {folder.parent for folder in theirs}
        self.found.others = len(results - theirs)
        for folder in sorted(f for f in theirs if not is_half_folder(f)):
            self.found.traces.append(Trace(path=folder, kind="result", why="a result of theirs"))
        for folder, names in self.folders:
            if is_half_folder(folder):
                self.found.traces.append(
                    Trace(path=folder, kind="half a result", why="left by a program that was killed")
                )
                continue
            if folder in theirs:
                continue
            inside = max(
                (r for r in (folder, *folder.parents) if r in results), key=lambda r: len(r.parts), default=None
            )
            if inside is not None and inside not in theirs:
                self._others(folder, names)
            elif inside is None:
                self._plain_folder(folder, names, has_theirs=folder in around)

    def _plain_folder(self, folder: Path, names: Sequence[str], *, has_theirs: bool) -> None:
        taken = set()
        for page, files in PAGES.items():
            if page in names and self._is_page_of(folder, page, files, has_theirs=has_theirs):
                self.found.traces += [
                    Trace(path=folder / f, kind="page", why="it shows them") for f in files if f in names
                ]
                taken |= set(files)
        if EXPORT_MARK in names and is_export(folder):
            taken |= {n for n in names if n.endswith(".csv")} | {EXPORT_MARK}
            if _is_in_export(folder, self.name):
                self.found.traces.append(Trace(path=folder, kind="export", why="an export that holds them"))
        if STATE in names:
            taken.add(STATE)
            hashes = {sha256 for sha256, _ in self.clips}
            if any(v.get("sha256") in hashes for v in read_state(folder).values()):
                self.found.traces.append(Trace(path=folder / STATE, kind="state", why="what a session has done"))
        for name in names:
            if name not in taken:
                self._file(folder / name)

    def _file(self, path: Path) -> None:
        """A file of somebody else: named if the label stands in it or in its name; half a file of ours goes."""
        if path.suffix.lower() == ".xlsx" and self._is_workbook_of(path):
            self.found.traces.append(Trace(path=path, kind="page", why="it shows them"))
            return
        is_half = any(part.startswith(".") and ASIDE in part for part in path.parts[-2:])
        if path.suffix.lower() in TEXT_ENDINGS or is_half:
            if self._names(path):
                if is_half:
                    self.found.traces.append(
                        Trace(path=path, kind="half a file", why="left by a program that was killed")
                    )
                else:
                    self.found.left.append((path, "your own file; it names them"))
        elif self._is_other_logbook(path):
            self.found.left.append((path, f"another logbook: say it for that one too, with --logbook {path.name}"))
        if not self.is_plain and self.name.stands_in(path.name):
            self.found.left.append((path, "its name names them; the file is yours to rename or delete"))

    def _others(self, folder: Path, names: Sequence[str]) -> None:
        """A result of somebody else: never touched, but said where it names them."""
        for name in names:
            path = folder / name
            if name == SAID and self._names(path):
                self.found.traces.append(
                    Trace(path=path, kind="words", why="your words about somebody else, which name them")
                )
            elif not self.is_plain and path.suffix.lower() in TEXT_ENDINGS and self._names(path):
                self.found.left.append((path, "a result of somebody else that names them"))

    def _names(self, path: Path) -> bool:
        text = _text(path, self.found)
        return text is not None and not self.is_plain and self.name.stands_in_file(text)

    def _is_page_of(self, folder: Path, page: str, files: Sequence[str], *, has_theirs: bool) -> bool:
        text = _text(folder / page, self.found)
        if text is None or PAGE_MARK not in text[:2000]:
            return False
        cells = [html.unescape(c) for pattern in (_TITLE, _BDI) for c in pattern.findall(text)]
        if any(self.name.is_of(c) for c in cells) or (has_theirs and page == "session.html"):
            return True
        if not self.is_plain and self.name.stands_in_file(text):
            return True
        tables = (_text(folder / f, self.found) for f in files if f.endswith(".csv") and (folder / f).is_file())
        return any(self._table_is_of(text) for text in tables if text)

    def _is_workbook_of(self, path: Path) -> bool:
        """Tell whether a workbook of ours, moved away from its page, has the label in one of its cells."""
        text = _text(path, self.found)
        return text is not None and PAGE_MARK in text and any(self.name.is_of(line) for line in text.split("\n"))

    def _table_is_of(self, text: str) -> bool:
        hashes = {sha256 for sha256, _ in self.clips}
        try:
            rows = list(csv.DictReader(io.StringIO(text.removeprefix("\ufeff"), newline="")))
        except csv.Error:
            return False
        return any(self.name.is_of(r.get("athlete") or "") or r.get("sha256") in hashes for r in rows)

    def _is_other_logbook(self, path: Path) -> bool:
        if path.suffix.lower() not in {".sqlite", ".db", ".sqlite3", ".bak", ".old", ""} and ".sqlite" not in path.name:
            return False
        try:
            with path.open("rb") as stream:
                head = stream.read(100)
        except OSError:
            return False
        return (
            head[:16] == _SQLITE
            and int.from_bytes(head[68:72], "big") == APPLICATION_ID
            and not self._is_the_logbook(path)
        )

    def _is_the_logbook(self, path: Path) -> bool:
        """Tell whether it is the logbook being cleaned, or a backup of it; those are looked at by themselves."""
        beside = path.parent == self.logbook.parent and path.name.startswith(f"{self.logbook.stem}.before-v")
        return path == self.logbook or beside


def _is_theirs(analysis: Analysis, person: Person) -> bool:
    """Tell whether a result is theirs: by its label, else by its clip; a copy by its clip alone."""
    sha256, whose = analysis.clip.sha256, analysis.run.athlete
    if analysis.method.get("shared"):
        return sha256 in person.shared
    return person.label.is_of(whose) if whose else (sha256, run_of(analysis)) in person.clips


def _is_in_export(folder: Path, name: Label) -> bool:
    try:
        text = read_whole(folder / "athlete.csv", LARGEST_TEXT_BYTES).decode("utf-8-sig", errors="replace")
        rows = list(csv.DictReader(io.StringIO(text, newline="")))
    except (OSError, csv.Error):
        return False
    others = [read for t in ("clip", "note", "tape", "session") if (read := _quiet(folder / f"{t}.csv"))]
    is_named = not is_plain(name.text) and any(name.stands_in_file(t) for t in others)
    return is_named or any(name.is_of((r.get("label") or "").removeprefix("'")) for r in rows)


def _quiet(path: Path) -> str:
    try:
        return read_whole(path, LARGEST_TEXT_BYTES).decode("utf-8", errors="replace")
    except OSError:
        return ""


def _text(path: Path, found: Found) -> str | None:
    try:
        data = read_whole(path, LARGEST_TEXT_BYTES)
    except OSError as error:
        found.not_looked_at.append((path, error.strerror or str(error)))
        return None
    if data[:4] == ZIP:
        try:
            return texts_of_workbook(data)
        except ValueError as error:
            found.not_looked_at.append((path, str(error)))
            return None
    if data[:2] in (b"\xff\xfe", b"\xfe\xff"):
        return data.decode("utf-16", errors="replace")
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError:
        return data.decode("cp1252", errors="replace")


def _outermost(roots: Iterable[Path], found: Found) -> list[Path]:
    """Return the folders that are there and lie in no other one of them."""
    real = []
    for root in dict.fromkeys(roots):
        try:
            place = root.expanduser().resolve()
            is_there = place.is_dir()
        except (OSError, RuntimeError, ValueError) as error:
            found.not_looked_at.append((root, str(error)))
            continue
        if is_there:
            real.append(place)
        else:
            found.not_looked_at.append((root, "it is not there (moved, renamed, or on a disk that is not connected)"))
    return [p for p in dict.fromkeys(real) if not any(q in p.parents for q in real)]


def _folders(root: Path, found: Found, seen: set[Path]) -> Iterator[tuple[Path, list[str]]]:
    """Yield every folder with the ordinary files in it; links to folders are said, not followed."""
    todo, count = [(root, 0)], 0
    while todo:
        folder, depth = todo.pop()
        if folder in seen:
            continue
        seen.add(folder)
        try:
            entries = sorted(os.scandir(folder), key=lambda e: e.name)
        except OSError as error:
            found.not_looked_at.append((folder, error.strerror or str(error)))
            continue
        names = []
        for entry in entries:
            path = folder / entry.name
            if entry.is_symlink() and path.is_dir():
                found.not_looked_at.append((path, "a link to another folder"))
            elif entry.is_dir(follow_symlinks=False):
                if not entry.name.startswith(".") or ASIDE in entry.name or ".previous-" in entry.name:
                    todo.append((path, depth + 1))
            elif entry.is_file(follow_symlinks=False):
                names.append(entry.name)
        count += len(names)
        if depth > DEEPEST or count > MOST_FILES:
            found.not_looked_at.append((folder, "too deep, or too many files: name it with --results"))
            todo = [t for t in todo if t[1] <= DEEPEST] if count <= MOST_FILES else []
        yield folder, names
