"""One athlete's season from the logbook, as a page and a table."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

from penult.adapters.files import written_places
from penult.adapters.files.matters_file import matters_beside
from penult.adapters.logbook.place import default_place
from penult.app.again import again_notices
from penult.app.groups import logbook_at
from penult.core.clips.matters import Matters
from penult.core.clips.season import names, season
from penult.model.comparison import Season
from penult.model.logbook import Choice
from penult.outputs.pages.page_files import write_files
from penult.outputs.pages.season import season_csv, season_html
from penult.outputs.texts.clip_sheets import clips_sheet
from penult.outputs.texts.workbook import workbook

PAGE = "season.html"


@dataclass(frozen=True, slots=True, kw_only=True)
class Written:
    """A season, where its files are, and where the clips came from."""

    season: Season
    folder: Path
    files: tuple[str, ...]
    source: str


def write_season(choice: Choice, *, since: str, logbook: Path, out: Path, matters: Matters | None = None) -> Written:
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
    matters : mapping, optional
        The change from which on a measure matters; before it counts what lies beside the logbook.

    Raises
    ------
    InputError
        An unknown athlete, no clips, a damaged or foreign logbook.
    OutputError
        The place cannot be written.
    """
    with logbook_at(logbook) as log:
        athlete = log.athlete(choice.athlete)
        trials = log.trials(choice, names=names())
        tape, notes = log.tape(athlete.label), log.notes(athlete.label)
    found = season(athlete.label, trials, since=since, matters={**matters_beside(logbook), **(matters or {})})
    beside = logbook if logbook.is_dir() else logbook.parent
    found = replace(found, notices=(*found.notices, *again_notices(trials, beside)))
    source = f"the logbook {logbook}"
    page = season_html(found, athlete, tape, notes, source="the logbook")  # it may be sent: not where it lies
    files = {PAGE: page.encode("utf-8", errors="replace"), **season_csv(found)}
    files["season.xlsx"] = workbook([clips_sheet(found.trials)])
    write_files(out, files)
    written_places.record(out, default_place())
    return Written(season=found, folder=out, files=tuple(files), source=source)
