"""One athlete's season from the logbook, as a page and a table."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from penult.app.groups import logbook_at
from penult.core.clips.season import NAMES, season
from penult.model.comparison import Season
from penult.model.logbook import Choice
from penult.outputs.pages.page_files import write_files
from penult.outputs.pages.season import season_csv, season_html

PAGE = "season.html"


@dataclass(frozen=True, slots=True, kw_only=True)
class Written:
    """A season, where its files are, and where the clips came from."""

    season: Season
    folder: Path
    files: tuple[str, ...]
    source: str


def write_season(choice: Choice, *, since: str, logbook: Path, out: Path) -> Written:
    """Write an athlete's season.

    Parameters
    ----------
    choice : Choice
        With an athlete; dates narrow the season down.
    since : str
        ISO date from which changes are counted; '' means from the first session.
    logbook : Path
        Its file, or a folder exported from one.
    out : Path
        Folder of the page and the table.

    Raises
    ------
    InputError
        An unknown athlete, no clips, a damaged or foreign logbook.
    OutputError
        The place cannot be written.
    """
    with logbook_at(logbook) as log:
        athlete = log.athlete(choice.athlete)
        trials = log.trials(choice, names=NAMES)
        tape, notes = log.tape(athlete.label), log.notes(athlete.label)
    found = season(athlete.label, trials, since=since)
    source = f"the logbook {logbook}"
    page = season_html(found, athlete, tape, notes, source=source)
    files = {PAGE: page.encode("utf-8", errors="replace"), **season_csv(found)}
    write_files(out, files)
    return Written(season=found, folder=out, files=tuple(files), source=source)
