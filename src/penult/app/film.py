"""Films of results that are there already: of one run in another shape or language, or of two put on one clock."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from penult.adapters.files.result_file import read_analysis, read_motion
from penult.adapters.files.sighting_file import read_sighting
from penult.adapters.film import video
from penult.adapters.film.writer import write_film
from penult.app.footage import Shot
from penult.app.pictures import paced, picture_of
from penult.app.progress import Progress
from penult.app.review import film_of
from penult.errors import InputError
from penult.model.analysis import Analysis
from penult.model.clip import Clip
from penult.model.showing import Showing
from penult.model.track import Motion
from penult.outputs.pictures.film import Painter, held_rows, playback_hz
from penult.outputs.pictures.ink import Picture
from penult.outputs.pictures.moments import instant_s
from penult.outputs.pictures.pair import Side, pair_frames, pair_size_px, panes
from penult.outputs.texts.captions import INSTANTS
from penult.outputs.texts.tongue import tongue_of

PAIR = "pair.mp4"


@dataclass(frozen=True, slots=True, kw_only=True)
class Run:
    """A result and its film."""

    analysis: Analysis
    motion: Motion
    clip: Clip
    film: Path


Cut = Callable[[Painter], Iterator[tuple[int, Picture]]]
"""From a painter to the run's pictures in order, each with its frame's index, cut out for it and not drawn on yet."""


def opened(result: Path, clip: Path | None = None) -> Run:
    """Return a result with its film.

    Raises
    ------
    ResultError
        If it is no result, or its film is not at hand.
    """
    sighting = read_sighting(result)
    film = film_of(result, sighting.clip, clip)
    return Run(analysis=read_analysis(result), motion=read_motion(result), clip=sighting.clip, film=film)


def film_of_one(result: Path, out: Path | None, showing: Showing, *, clip: Path | None, progress: Progress) -> Path:
    """Write the film of a result anew and return where it is: `film_<shape>.mp4` in the result, unless another place is said.

    Raises
    ------
    InputError
        The result, its film or the place is at fault.
    """
    run = opened(result, clip)
    painter = Painter(run.analysis, run.motion, showing)
    place = out or result / f"film_{showing.film}.mp4"

    def drawn() -> Iterator[tuple[Picture, int]]:
        times_s = run.clip.time_s
        for index, picture in cut_from(run, progress)(painter):
            painter.draw_on(picture, index, float(times_s[index]))
            yield picture, painter.times(index)

    rate_hz = playback_hz(run.analysis.clip.capture_rate_hz)
    write_film(place, painter.path.size_px, paced(drawn(), rate_hz), playback_rate_hz=rate_hz)
    return place


def film_of_two(results: Sequence[Path], out: Path, showing: Showing, *, align: str | None, progress: Progress) -> Path:
    """Write the film of two results on one clock.

    Parameters
    ----------
    results : sequence of Path
        Two.
    out : Path
        The film's file.
    showing : Showing
        Landscape puts them side by side, portrait one above the other.
    align : str, optional
        The instant at which they meet; None: the touchdown of the take-off, of series the first landing.
    progress : callable
        Told what is being done.

    Raises
    ------
    InputError
        A result, a film, the place or the instant is at fault.
    """
    runs = [opened(result) for result in results]
    write_pair(out, runs, [cut_from(run, progress) for run in runs], showing, align)
    return out


def write_pair(
    out: Path, runs: Sequence[Run], cuts: Sequence[Cut], showing: Showing, align: str | None, names: str = ""
) -> None:
    """Write the film of two runs whose pictures come from `cuts`; `names` stands before the numbers 1 and 2."""
    if showing.film == "whole":
        raise InputError(
            "two runs cannot be shown with the whole picture",
            next_step="--film landscape puts them side by side, --film portrait one above the other",
        )
    first, second = runs
    zeros = [_zero_s(run, align, showing) for run in runs]
    sides: list[Side] = []
    for place, (run, path) in enumerate(zip(runs, panes(first.motion, second.motion, showing.film), strict=True)):
        name = f"{names} {place + 1}".strip()
        painter = Painter(run.analysis, run.motion, showing, path=path, name=name)
        taken = _Forward(cuts[place](painter)).at
        sides.append(Side(painter=painter, taken=taken, motion=run.motion, zero_s=zeros[place]))
    rates = (first.analysis.clip.capture_rate_hz, second.analysis.clip.capture_rate_hz)
    frames = pair_frames((sides[0], sides[1]), showing.film, rates)
    rate_hz = playback_hz(max(rates))
    write_film(out, pair_size_px(showing.film), paced(frames, rate_hz), playback_rate_hz=rate_hz)


class _Forward:
    """Pictures that pass by once: the one asked for, or the next after it, to be drawn on more than once."""

    def __init__(self, passing: Iterator[tuple[int, Picture]]) -> None:
        self._passing, self._now = passing, next(passing)

    def at(self, index: int) -> Picture:
        while self._now[0] < index:
            self._now = next(self._passing, (index, self._now[1]))
        return self._now[1].copy()


def cut_from(run: Run, progress: Progress) -> Cut:
    """Return what gives the pictures of a run's film."""

    def cut(painter: Painter) -> Iterator[tuple[int, Picture]]:
        frames = run.motion.pixels.frame
        first, last = int(frames[0]), int(frames[-1])
        whole = (
            painter.path.size_px
            if (painter.path.scale * run.clip.size_px[0] <= painter.path.size_px[0]).all()
            else None
        )
        for raw in video.raw_frames(run.film, run.clip, first=first, last=last):
            progress("drawing", (raw.index - first) / max(1, last - first))
            shot = Shot(index=raw.index, raw=raw, film_size_px=whole)
            yield raw.index, picture_of(shot, painter, run.clip.size_px)

    return cut


def _zero_s(run: Run, align: str | None, showing: Showing) -> float:
    """Return the capture time of the instant at which the runs meet.

    Raises
    ------
    InputError
        If the run does not show it, with those that it shows.
    """
    held = held_rows(run.analysis, run.motion, tongue_of(showing))
    wanted = align or ("landing 1" if run.analysis.run.is_series else INSTANTS[2])
    found = next((h for h in held if h.hold.name == wanted), None)
    if found is None:
        there = ", ".join(f"'{h.hold.name}'" for h in held) or "none"
        raise InputError(
            f"{run.analysis.clip.file} does not show the instant '{wanted}'",
            f"it shows {there}",
            next_step="say one that both runs show with --align",
        )
    time_s = instant_s(found.hold.contact, found.hold.instant)  # type: ignore[arg-type]
    return float(run.motion.pixels.time_s[found.row]) if time_s is None else time_s
