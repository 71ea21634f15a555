"""What a coach does with the logbook: add results, take out and put back, forget a person."""

from __future__ import annotations

import shutil
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from pathlib import Path

from penult.adapters.caches import keypoint_cache
from penult.adapters.files.result_file import read_analysis
from penult.adapters.files.result_folder import find_results, read_corrections, read_trial
from penult.adapters.logbook.book import opened
from penult.adapters.logbook.csv_folder import Imported, export, import_folder
from penult.adapters.logbook.forget import forget
from penult.errors import PenultError
from penult.model.logbook import Athlete, CoachNote, Contents, Erased, TapeResult
from penult.model.trial import Said, Trial


@dataclass(frozen=True, slots=True, kw_only=True)
class Added:
    """Results that were added, and how many of them replaced an earlier one."""

    trials: tuple[Trial, ...]
    replaced: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Forgotten:
    """What became of a person: the logbook's part, result folders removed or left, and the cache.

    Parameters
    ----------
    erased : Erased
        Rows removed and the proof.
    removed : tuple of Path
        Result folders and pages that were deleted.
    left : tuple of (Path, str)
        Folders that were not, and why.
    cache_bytes : int
        Freed in the cache of joints, whose entries do not say whose they are.
    """

    erased: Erased
    removed: tuple[Path, ...]
    left: tuple[tuple[Path, str], ...]
    cache_bytes: int


def add_results(places: Sequence[Path], said: Said, *, athlete: str, kind: str, logbook: Path) -> Added:
    """Add result folders to the logbook.

    Parameters
    ----------
    places : sequence of Path
        Result folders, or folders with results in them.
    said : Said
        What holds for all of them; what is not said here stays as the session wrote it beside the result.
    athlete, kind : str
        Instead of what stands in the result; '' keeps that.
    logbook : Path
        Made where there is none.

    Raises
    ------
    ResultError, LogbookError
        A folder without a sound result; a damaged or foreign logbook.
    """
    folders = list(dict.fromkeys(f.resolve() for place in places for f in find_results(place)))
    trials = [_said_over(read_trial(folder), said, athlete, kind) for folder in folders]
    with opened(logbook, create=True) as log:
        replaced = log.put_trials(trials, corrections=[read_corrections(f) for f in folders])
    return Added(trials=tuple(trials), replaced=replaced)


def _said_over(trial: Trial, said: Said, athlete: str, kind: str) -> Trial:
    known = trial.said
    merged = Said(
        date=said.date or known.date,
        session=said.session or known.session,
        approach_strides=said.approach_strides or known.approach_strides,
        official_distance_m=said.official_distance_m or known.official_distance_m,
        note=said.note or known.note,
    )
    run = trial.analysis.run
    run = replace(run, athlete=athlete or run.athlete, kind=kind or run.kind)
    return replace(trial, said=merged, analysis=replace(trial.analysis, run=run))


def put_athlete(athlete: Athlete, *, logbook: Path) -> None:
    """Add an athlete, or change what is known of one."""
    with opened(logbook, create=True) as log:
        log.put_athlete(athlete)


def put_tape(result: TapeResult, *, logbook: Path) -> None:
    """Add a tape-measured result."""
    with opened(logbook, create=True) as log:
        log.put_tape([result])


def put_note(note: CoachNote, *, logbook: Path) -> None:
    """Add a note."""
    with opened(logbook, create=True) as log:
        log.put_note(note)


def contents(logbook: Path) -> Contents:
    """Return how much a logbook holds."""
    with opened(logbook) as log:
        return log.contents()


def check(logbook: Path) -> Contents:
    """Read the whole file for damage, and return how much it holds."""
    with opened(logbook) as log:
        log.check()
        return log.contents()


def export_logbook(folder: Path, *, logbook: Path) -> dict[str, int]:
    """Write a logbook as CSV files."""
    with opened(logbook) as log:
        return export(log, folder)


def import_logbook(folder: Path, *, logbook: Path) -> Imported:
    """Read CSV files that an export wrote into a logbook, made where there is none."""
    with opened(logbook, create=True) as log:
        return import_folder(log, folder)


def forget_athlete(label: str, *, logbook: Path, results: Sequence[Path] = (), keep_results: bool = False) -> Forgotten:
    """Remove a person: from the logbook and its backups, their result folders, session pages that name them, the cache.

    Parameters
    ----------
    label : str
        As recorded.
    logbook : Path
        Its file.
    results : sequence of Path
        More result folders, or folders with results in them, beside those recorded in the logbook.
    keep_results : bool
        Leave all result folders where they are.

    Raises
    ------
    LogbookError
        If there is no such athlete, or something of the label is left in the logbook's files.
    """
    with opened(logbook) as log:
        label = log.athlete(label).label
        recorded = [Path(f) for f in log.folders_of(label)]
        sessions = [Path(f) for f in log.session_folders()]
        given = [folder for place in results for folder in find_results(place)]
        erased = forget(log, label)
    removed, left = ([], []) if keep_results else _remove_results(label, [*recorded, *given])
    places = {*sessions, *(f.parent for f in removed)}
    pages = [] if keep_results else _remove_pages(label, places)
    left += [(path, "your own file; it names them") for path in _own_files(label, places)]
    return Forgotten(erased=erased, removed=(*removed, *pages), left=tuple(left), cache_bytes=keypoint_cache.clear())


def _remove_results(label: str, folders: Sequence[Path]) -> tuple[list[Path], list[tuple[Path, str]]]:
    """Delete result folders, each only if it is a result of that person."""
    removed, left = [], []
    for folder in dict.fromkeys(f.resolve() for f in folders):
        if not folder.exists():
            continue
        try:
            whose = read_analysis(folder).run.athlete
        except PenultError:
            left.append((folder, "it holds no result that can be read"))
            continue
        if whose.casefold() != label.casefold():
            left.append((folder, "it is a result of somebody else" if whose else "it does not say whose it is"))
            continue
        try:
            shutil.rmtree(folder)
            removed.append(folder)
        except OSError as error:
            left.append((folder, error.strerror or str(error)))
    return removed, left


def _remove_pages(label: str, folders: set[Path]) -> list[Path]:
    """Delete session pages in which the label stands; the next session run writes them anew."""
    removed = []
    for page in (folder / "session.html" for folder in sorted(folders)):
        if _names(page, label):
            with suppress(OSError):
                page.unlink()
                removed.append(page)
    return removed


def _own_files(label: str, folders: set[Path]) -> list[Path]:
    """Return what the coach typed beside the clips and still names the person."""
    return [table for folder in sorted(folders) if _names(table := folder / "session.csv", label)]


def _names(path: Path, label: str) -> bool:
    try:
        return path.is_file() and label.casefold() in path.read_text(encoding="utf-8", errors="replace").casefold()
    except OSError:
        return False
