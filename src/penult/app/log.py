"""What a coach does with the logbook: add results, look at it, take it out and put it back."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from penult.adapters.files import written_places
from penult.adapters.files.result_folder import find_results, read_corrections, read_trial
from penult.adapters.logbook import entries, forget
from penult.adapters.logbook.book import opened
from penult.adapters.logbook.csv_folder import Imported, export, import_folder
from penult.model.logbook import Athlete, Changed, CoachNote, Contents, Entry, TapeResult
from penult.model.trial import Said, Trial


@dataclass(frozen=True, slots=True, kw_only=True)
class Added:
    """Results that were added, and how many of them replaced an earlier one."""

    trials: tuple[Trial, ...]
    replaced: int


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
        official_distance_m=said.official_distance_m or known.official_distance_m or trial.analysis.run.official_m,
        note=said.note or known.note,
    )
    run = trial.analysis.run
    run = replace(run, athlete=athlete or run.athlete, kind=kind or run.kind)
    return replace(trial, said=merged, analysis=replace(trial.analysis, run=run))


def put_athlete(athlete: Athlete, *, logbook: Path) -> None:
    """Add an athlete, or change what is known of one."""
    with opened(logbook, create=True) as log:
        entries.put_profile(log, athlete)


def put_tape(result: TapeResult, *, logbook: Path) -> str:
    """Add a tape-measured result and return its entry's name; '' where it was there already."""
    with opened(logbook, create=True) as log:
        return entries.add_tape(log, result)


def put_note(note: CoachNote, *, logbook: Path) -> str:
    """Add a note and return its entry's name; '' where it was there already."""
    with opened(logbook, create=True) as log:
        return entries.add_note(log, note)


def listed(*, logbook: Path, athlete: str = "", kinds: Iterable[str] = entries.KINDS) -> list[Entry]:
    """Return the entries of a logbook, of everybody or of one athlete."""
    with opened(logbook) as log:
        return entries.entries(log, athlete=athlete, kinds=kinds)


def corrected(name: str, changes: Mapping[str, Any], *, logbook: Path) -> Entry:
    """Correct an entry and return what it says now."""
    with opened(logbook) as log:
        entries.correct(log, name, changes)
        return next(
            e for e in entries.entries(log, kinds=[name.strip().lower().split("-")[0]]) if e.name == name.lower()
        )


def taken_out(names: Sequence[str], *, logbook: Path) -> None:
    """Take entries out; the first that cannot be ends it, and says so."""
    with opened(logbook) as log:
        for name in names:
            entries.take_out(log, name)


def undone(logbook: Path) -> Changed:
    """Take the latest change of an entry back."""
    with opened(logbook) as log:
        return entries.undo(log)


def changes_of(logbook: Path) -> list[Changed]:
    """Return the history of a logbook's entries, the latest first."""
    with opened(logbook) as log:
        return entries.history(log)


def unfinished(logbook: Path) -> list[str]:
    """Return when forgettings were begun that are not finished."""
    with opened(logbook) as log:
        return forget.unfinished(log)


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
        counts = export(log, folder)
    written_places.record(folder, logbook)
    return counts


def import_logbook(folder: Path, *, logbook: Path) -> Imported:
    """Read CSV files that an export wrote into a logbook, made where there is none."""
    with opened(logbook, create=True) as log:
        return import_folder(log, folder)
