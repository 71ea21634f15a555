"""Compare two groups of clips and write the page and the tables."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

from penult.adapters.files import written_places
from penult.adapters.files.result_folder import read_stills
from penult.adapters.logbook.place import default_place
from penult.app.again import again_notices
from penult.app.groups import Wanted, from_folders, from_logbook, logbook_at, named, split
from penult.core.clips.compare import compare
from penult.core.clips.groups import condition_of
from penult.model.comparison import Comparison, Group
from penult.model.logbook import Choice
from penult.model.trial import Trial
from penult.outputs.charts.comparison_pictures import INSTANTS, Stills, by_middle
from penult.outputs.pages.comparison import comparison_csv, comparison_html
from penult.outputs.pages.page_files import write_files

if TYPE_CHECKING:
    from penult.adapters.logbook.book import Logbook

PAGE = "comparison.html"
_MOST_LOOKED_AT = 500


@dataclass(frozen=True, slots=True, kw_only=True)
class Compared:
    """A comparison, where its files are, and where the results came from."""

    comparison: Comparison
    folder: Path
    files: tuple[str, ...]
    source: str


def compare_two(first: Wanted, second: Wanted, *, logbook: Path, out: Path, across_lanes: bool = False) -> Compared:
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

    Raises
    ------
    InputError
        An empty group, an unknown athlete, a damaged or foreign logbook or result, a clip in both groups.
    OutputError
        The place cannot be written.
    """
    names = named(first, second)
    wanted = (first, second)
    if all(w.choice is None for w in wanted):
        groups = [Group(name=n, trials=tuple(from_folders(w.places))) for n, w in zip(names, wanted, strict=True)]
        return _written(groups, (), out, _places(wanted), across_lanes, Path())
    with logbook_at(logbook) as log:
        groups = [
            Group(name=n, trials=tuple(from_folders(w.places) if w.choice is None else from_logbook(log, w.choice)))
            for n, w in zip(names, wanted, strict=True)
        ]
        repeats = _repeats(log, groups)
    return _written(groups, repeats, out, [logbook], across_lanes, _beside(logbook))


def compare_split(wanted: Wanted, by: str, *, logbook: Path, out: Path, across_lanes: bool = False) -> Compared:
    """Compare the two groups into which one set of clips falls, by kind, athlete, date, session, strides or mats."""
    if wanted.choice is None:
        groups = split(from_folders(wanted.places), by)
        return _written(groups, (), out, _places((wanted,)), across_lanes, Path())
    with logbook_at(logbook) as log:
        groups = split(from_logbook(log, wanted.choice), by)
        repeats = _repeats(log, groups)
    return _written(groups, repeats, out, [logbook], across_lanes, _beside(logbook))


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
    across_lanes: bool,
    beside: Path,
) -> Compared:
    is_logbook = beside != Path()
    told, shown_source = (
        f"the logbook {source[0]}" if is_logbook else ", ".join(map(str, source)),
        "the logbook" if is_logbook else ", ".join(p.resolve().name for p in source),  # a page may be sent
    )
    comparison = compare(groups[0], groups[1], repeats=repeats, across_lanes=across_lanes)
    offers = again_notices((t for g in groups for t in g.trials), beside)
    comparison = replace(comparison, notices=(*comparison.notices, *offers))
    pictures = (stills_of(groups[0], beside), stills_of(groups[1], beside))
    page = comparison_html(comparison, pictures, source=shown_source)
    files = {PAGE: page.encode("utf-8", errors="replace"), **comparison_csv(comparison)}
    write_files(out, files)
    written_places.record(out, default_place())
    return Compared(comparison=comparison, folder=out, files=tuple(files), source=told)


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
