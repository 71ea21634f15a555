"""Many run-ups of one athlete, from a folder of results or from the logbook, as a page and tables."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from penult.adapters.files import written_places
from penult.adapters.files.gates_csv import read_gates
from penult.adapters.logbook.place import default_place
from penult.app.groups import WHOLE_RUN_UP, Wanted, from_folders, from_logbook, logbook_at
from penult.core.clips.run_ups import Gates, run_names, run_ups
from penult.core.measures.zones import DEFAULT_ZONES_M
from penult.errors import InputError
from penult.model.run_ups import RunUps
from penult.model.trial import Trial
from penult.outputs.pages.page_files import write_files
from penult.outputs.pages.run_ups import run_ups_csv, run_ups_html

PAGE = "run_ups.html"


@dataclass(frozen=True, slots=True, kw_only=True)
class Written:
    """The run-ups, where their files are, and where they came from."""

    runs: RunUps
    folder: Path
    files: tuple[str, ...]
    source: str


def write_run_ups(
    wanted: Wanted,
    *,
    logbook: Path,
    out: Path,
    zones_m: Sequence[tuple[float, float]] = DEFAULT_ZONES_M,
    gates: Path | None = None,
) -> Written:
    """Write what several run-ups of one athlete show.

    Parameters
    ----------
    wanted : Wanted
        Result folders, or a choice from the logbook.
    logbook : Path
        Used where a choice is wanted.
    out : Path
        Folder of the page and tables.
    zones_m : sequence of (float, float)
        Zones whose mean speed is wanted.
    gates : Path, optional
        Timing-gate splits.

    Raises
    ------
    InputError
        No run-ups, several athletes, gates of an unknown run, a damaged result or logbook.
    OutputError
        The place cannot be written.
    """
    if wanted.choice is None:
        trials, source = from_folders(wanted.places), ", ".join(map(str, wanted.places))
        name = trials[0].analysis.run.athlete or wanted.words
    else:
        with logbook_at(logbook) as log:
            trials = from_logbook(log, wanted.choice, first=WHOLE_RUN_UP)
        source, name = f"the logbook {logbook}", wanted.choice.athlete
    trials.sort(key=lambda t: (t.said.date, t.said.session))
    found = run_ups(name, trials, zones_m=zones_m, gates=_gates(gates, trials))
    told = "the logbook" if wanted.choice else ", ".join(p.resolve().name for p in wanted.places)
    page = run_ups_html(found, source=told)  # it may be sent: not where things lie
    files = {PAGE: page.encode("utf-8", errors="replace"), **run_ups_csv(found)}
    write_files(out, files)
    written_places.record(out, default_place())
    return Written(runs=found, folder=out, files=tuple(files), source=source)


def _gates(path: Path | None, trials: Sequence[Trial]) -> Gates:
    if path is None:
        return {}
    found, names = read_gates(path), run_names(trials)
    if set(found) == {""} and len(names) == 1:
        return {names[0]: found[""]}
    if unknown := [g or "(no run named)" for g in found if g not in names]:
        raise InputError(
            f"{path} has gates of runs that are not among these",
            *unknown[:8],
            f"runs: {', '.join(names[:12])}",
            next_step="name the run in the column run",
        )
    return found
