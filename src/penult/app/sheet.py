"""Write the sheet for the athlete: pictures from the film, numbers from the result, last time from the logbook."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from penult.adapters.files.result_folder import read_said
from penult.adapters.film import video
from penult.app.film import Run, opened
from penult.app.groups import logbook_at
from penult.app.progress import Progress
from penult.errors import InputError
from penult.model.arrays import Image
from penult.model.logbook import Choice
from penult.model.showing import Showing
from penult.model.trial import Said, Trial
from penult.outputs.pages.page_files import write_files
from penult.outputs.pages.sheet import PICTURE_PX, SENTENCE_MOST, Before, sheet_html, wanted
from penult.outputs.pictures.film import Held, Painter
from penult.outputs.pictures.follow import follow
from penult.outputs.texts.tongue import tongue_of

SHEET = "sheet.html"


def write_sheet(
    result: Path,
    out: Path | None,
    showing: Showing,
    *,
    sentence: str,
    logbook: Path,
    clip: Path | None,
    progress: Progress,
) -> Path:
    """Write the sheet of a result and return where it is: `sheet.html` in the result, unless another place is said.

    Parameters
    ----------
    result : Path
        A result folder; its film must be at hand.
    out : Path, optional
        The sheet's file.
    showing : Showing
        Language and units.
    sentence : str
        The coach's, '' for none.
    logbook : Path
        Where last time is looked up.
    clip : Path, optional
        The film, where it does not lie beside the result.
    progress : callable
        Told what is being done.

    Raises
    ------
    InputError
        The result, its film, the sentence or the place is at fault, or the run shows none of the instants.
    """
    said = " ".join(sentence.split())
    if len(said) > SENTENCE_MOST:
        raise InputError(
            "the coach's sentence is too long for one page",
            f"it has {len(said)} letters; {SENTENCE_MOST} are the most",
            next_step="shorten it",
        )
    run = opened(result, clip)
    tongue = tongue_of(showing)
    path = follow(run.motion, "landscape", size_px=PICTURE_PX)
    painter = Painter(run.analysis, run.motion, showing, path=path)
    held = wanted(painter.held, run.analysis)
    if not held:
        raise InputError(
            f"{run.analysis.clip.file} shows none of the instants of the sheet",
            next_step="look at the result with 'penult review'",
        )
    date = read_said(result).date or _date(run)
    before = last_time(run, date, logbook)
    page = sheet_html(run.analysis, _pictures(run, painter, held, progress), before, said, tongue, date)
    place = out or result / SHEET
    write_files(place.parent, {place.name: page.encode("utf-8", errors="replace")})
    return place


def last_time(run: Run, date: str, logbook: Path) -> Before | None:
    """Return the athlete's run before this one in the logbook: of the same kind, measured by the same method."""
    analysis = run.analysis
    if not analysis.run.athlete or not logbook.exists():
        return None
    own = Trial(analysis=analysis, said=Said(date=date))
    try:
        with logbook_at(logbook) as log:
            trials = log.trials(Choice(athlete=analysis.run.athlete, kind=analysis.run.kind))
    except InputError:  # nobody of that label is in it
        return None
    before = [
        t
        for t in trials
        if t.analysis.clip.sha256 != analysis.clip.sha256
        and t.method == own.method
        and t.analysis.run.kind == analysis.run.kind
        and (not date or not t.said.date or t.said.date <= date)
    ]
    return Before(analysis=before[-1].analysis, date=before[-1].said.date) if before else None


def _date(run: Run) -> str:
    settings = run.analysis.method.get("settings")
    return str(settings.get("date", "")) if isinstance(settings, dict) else ""


def _pictures(run: Run, painter: Painter, held: Sequence[Held], progress: Progress) -> list[tuple[Held, Image]]:
    found = []
    for place, one in enumerate(held):
        progress("drawing", place / len(held))
        index = int(run.motion.pixels.frame[one.row])
        frame = next(video.frames(run.film, run.clip, first=index, last=index))
        found.append((one, painter.still(frame, one.hold)))
    return found
