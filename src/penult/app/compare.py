"""Compare two groups of clips and write the page and the tables."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

from penult.adapters.files import written_places
from penult.adapters.files.matters_file import matters_beside
from penult.adapters.files.result_folder import read_stills
from penult.adapters.logbook.place import default_place
from penult.app.again import again_notices
from penult.app.groups import Wanted, from_folders, from_logbook, logbook_at, named, of_weeks, split
from penult.core.clips.compare import compare
from penult.core.clips.groups import condition_of
from penult.core.clips.matters import Matters
from penult.core.clips.several import several
from penult.model.comparison import Comparison, Group, Several
from penult.model.logbook import Choice
from penult.model.trial import Trial
from penult.outputs.charts.comparison_pictures import INSTANTS, Stills, by_middle
from penult.outputs.pages.comparison import comparison_csv, comparison_html
from penult.outputs.pages.page_files import write_files
from penult.outputs.pages.several import several_csv, several_html
from penult.outputs.texts.clip_sheets import clips_sheet, differences_sheet
from penult.outputs.texts.workbook import Sheet, workbook

if TYPE_CHECKING:
    from penult.adapters.logbook.book import Logbook

PAGE = "comparison.html"
SEVERAL_PAGE = "side_by_side.html"
FILM = "pair.mp4"
"""Two runs on one clock, where `penult film A B -o FOLDER/pair.mp4` has made it: the page links to it."""
_MOST_LOOKED_AT = 500


@dataclass(frozen=True, slots=True, kw_only=True)
class Compared:
    """A comparison, where its files are, and where the results came from."""

    comparison: Comparison
    folder: Path
    files: tuple[str, ...]
    source: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ComparedSeveral:
    """Three groups and more side by side, where the files are, and where the results came from."""

    several: Several
    folder: Path
    files: tuple[str, ...]
    source: str


def compare_two(
    first: Wanted,
    second: Wanted,
    *,
    logbook: Path,
    out: Path,
    across_lanes: bool = False,
    matters: Matters | None = None,
) -> Compared:
    """Compare two groups that were asked for by name, folder or choice.

    Parameters
    ----------
    first, second : Wanted
        Differences are second minus first.
    logbook : Path
        Used where a group is a choice.
    out : Path
        Folder of the page and tables.
    across_lanes : bool
        Let each lane file's mean count as one value where groups share none.
    matters : mapping, optional
        The change from which on a measure matters; before it counts what lies beside the logbook.

    Raises
    ------
    InputError
        An empty group, an unknown athlete, a damaged or foreign logbook or result, a clip in both groups.
    OutputError
        The place cannot be written.
    """
    names, settings = named(first, second), _Settings(across_lanes, {**matters_beside(logbook), **(matters or {})})
    wanted = (first, second)
    if all(w.choice is None for w in wanted):
        groups = [Group(name=n, trials=tuple(from_folders(w.places))) for n, w in zip(names, wanted, strict=True)]
        return _written(groups, (), out, _places(wanted), settings, Path())
    with logbook_at(logbook) as log:
        groups = [
            Group(name=n, trials=tuple(from_folders(w.places) if w.choice is None else from_logbook(log, w.choice)))
            for n, w in zip(names, wanted, strict=True)
        ]
        repeats = _repeats(log, groups)
    return _written(groups, repeats, out, [logbook], settings, _beside(logbook))


def compare_split(
    wanted: Wanted,
    by: str,
    *,
    logbook: Path,
    out: Path,
    across_lanes: bool = False,
    matters: Matters | None = None,
    weeks: tuple[int, int] | None = None,
) -> Compared | ComparedSeveral:
    """Compare the groups into which one set of clips falls, by kind, athlete, date, session, strides, mats, month or year.

    `weeks` keeps the clips of some ISO weeks of any year. Two groups are compared in full, more stand side by side.
    """
    settings = _Settings(across_lanes, {**matters_beside(logbook), **(matters or {})})
    if wanted.choice is None:
        groups = split(of_weeks(from_folders(wanted.places), weeks), by)
        return _written_split(groups, (), out, _places((wanted,)), settings, Path())
    with logbook_at(logbook) as log:
        groups = split(of_weeks(from_logbook(log, wanted.choice), weeks), by)
        repeats = _repeats(log, groups)
    return _written_split(groups, repeats, out, [logbook], settings, _beside(logbook))


def _written_split(
    groups: Sequence[Group],
    repeats: Sequence[Trial],
    out: Path,
    source: Sequence[Path],
    settings: _Settings,
    beside: Path,
) -> Compared | ComparedSeveral:
    if len(groups) == 2:
        return _written(groups, repeats, out, source, settings, beside)
    found = several(groups, repeats=repeats, across_lanes=settings.across_lanes, matters=settings.matters)
    told, shown_source = _source(source, beside)
    page = several_html(found, source=shown_source)
    files = {SEVERAL_PAGE: page.encode("utf-8", errors="replace"), **several_csv(found)}
    files["side_by_side.xlsx"] = workbook([_clips_sheet(found.groups)])
    write_files(out, files)
    written_places.record(out, default_place())
    return ComparedSeveral(several=found, folder=out, files=tuple(files), source=told)


@dataclass(frozen=True, slots=True)
class _Settings:
    across_lanes: bool
    matters: Matters


def stills_of(group: Group, beside: Path) -> tuple[str, Stills]:
    """Return the stills of the clip nearest the middle of its group whose result folder is still there, and its file."""
    wanted = [(contact, instant) for contact, instant, _ in INSTANTS]
    for place in by_middle(group)[:_MOST_LOOKED_AT]:
        trial = group.trials[place]
        stills = read_stills(beside / trial.folder, wanted) if trial.folder else {}
        if stills:
            return trial.analysis.clip.file, stills
    return "", {}


def _written(
    groups: Sequence[Group],
    repeats: Sequence[Trial],
    out: Path,
    source: Sequence[Path],
    settings: _Settings,
    beside: Path,
) -> Compared:
    told, shown_source = _source(source, beside)
    comparison = compare(
        groups[0], groups[1], repeats=repeats, across_lanes=settings.across_lanes, matters=settings.matters
    )
    offers = again_notices((t for g in groups for t in g.trials), beside)
    comparison = replace(comparison, notices=(*comparison.notices, *offers))
    pictures = (stills_of(groups[0], beside), stills_of(groups[1], beside))
    film = FILM if (out / FILM).is_file() else ""
    page = comparison_html(comparison, pictures, source=shown_source, film=film)
    files = {PAGE: page.encode("utf-8", errors="replace"), **comparison_csv(comparison)}
    shown_groups = (comparison.first, comparison.second)
    files["comparison.xlsx"] = workbook([differences_sheet(comparison), _clips_sheet(shown_groups)])
    write_files(out, files)
    written_places.record(out, default_place())
    return Compared(comparison=comparison, folder=out, files=tuple(files), source=told)


def _clips_sheet(groups: Sequence[Group]) -> Sheet:
    return clips_sheet([t for g in groups for t in g.trials], [g.name for g in groups for _ in g.trials])


def _source(source: Sequence[Path], beside: Path) -> tuple[str, str]:
    """Return where the clips came from, for the terminal and for a page that may be sent."""
    if beside != Path():
        return f"the logbook {source[0]}", "the logbook"
    return ", ".join(map(str, source)), ", ".join(p.resolve().name for p in source)


def _repeats(log: Logbook, groups: Sequence[Group]) -> list[Trial]:
    """Return further clips of the logbook that are repeats of one in the groups: of its athlete, kind, strides, mats, method."""
    trials = [t for g in groups for t in g.trials]
    alike = {(t.analysis.run.athlete, condition_of(t)) for t in trials}
    labels = set(log.labels())
    named = sorted({(a, c.kind) for a, c in alike if a in labels})
    found = [t for a, kind in named for t in log.trials(Choice(athlete=a, kind=kind), without=trials)]
    return [t for t in found if (t.analysis.run.athlete, condition_of(t)) in alike]


def _places(wanted: Iterable[Wanted]) -> list[Path]:
    return [p for w in wanted for p in w.places]


def _beside(logbook: Path) -> Path:
    return logbook.resolve() if logbook.is_dir() else logbook.resolve().parent
