"""Clips that were measured by another method: which of them can be analysed again here and now."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

from penult.adapters.film import video
from penult.errors import ClipError
from penult.model.analysis import Notice
from penult.model.method import METHOD
from penult.model.trial import Trial

MOST_LOOKED_FOR = 200
MOST_NAMED = 8


def again_notices(trials: Iterable[Trial], beside: Path) -> tuple[Notice, ...]:
    """Return the offer to analyse clips again, where methods are mixed; `beside` is what result folders are relative to."""
    trials = list(trials)
    if len({trial.method for trial in trials}) < 2:
        return ()
    old = [trial for trial in trials if trial.analysis.method.get("method") != METHOD]
    films = [film for trial in old[:MOST_LOOKED_FOR] if (film := film_at_hand(trial, beside)) is not None]
    count = f"{len(old)} {'clip was' if len(old) == 1 else 'clips were'} measured by another method than this version's ({METHOD})"
    if not films:
        return (
            Notice(code="analyse-again", text=f"{count}. Put the films beside their results and analyse them again."),
        )
    names = ", ".join(str(film) for film in films[:MOST_NAMED])
    more = f" and {len(films) - MOST_NAMED} more" if len(films) > MOST_NAMED else ""
    text = (
        f"{count}. The films of {len(films)} of them are at hand: analyse them again with 'penult analyse FILM --calib LANE' "
        f"(corrections are kept), then ask again: {names}{more}"
    )
    return (Notice(code="analyse-again", text=text),)


def film_at_hand(trial: Trial, beside: Path) -> Path | None:
    """Return the film beside or in a result's folder, where its content is the one that was measured."""
    if not trial.folder:
        return None
    folder, name = beside / trial.folder, Path(trial.analysis.clip.file).name
    for place in (folder.parent / name, folder / name):
        try:
            if place.is_file() and video.sha256_of(place) == trial.analysis.clip.sha256:
                return place
        except (ClipError, OSError, ValueError):
            continue
    return None
