"""A copy of a result that is fit to send: nobody can be known in it, and nothing tells who, where or with which phone."""

from __future__ import annotations

import dataclasses
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from penult.adapters.files import written_places
from penult.adapters.files.result_file import read_analysis, read_motion
from penult.adapters.files.result_folder import read_said
from penult.adapters.files.sighting_file import read_sighting
from penult.adapters.film import video
from penult.adapters.film.writer import write_film
from penult.adapters.logbook.place import default_place
from penult.adapters.pictures.veil import Body, empty_scene, runway_strip, veiled
from penult.app.athlete import find_athlete
from penult.app.film import PAIR, Cut, opened, write_pair
from penult.app.pictures import paced
from penult.app.progress import Progress
from penult.app.review import film_of
from penult.app.unnamed import names_in, without_names
from penult.core.joints.crossing import Crossing, crossings
from penult.core.label import Label
from penult.core.lane.camera import metres_per_px, position_m
from penult.errors import InputError, PenultError
from penult.model.analysis import Analysis
from penult.model.arrays import Floats, Image
from penult.model.clip import Clip, Frame
from penult.model.showing import Showing, showing_of
from penult.model.sighting import Sighting
from penult.model.skeleton import INDEX
from penult.model.track import Motion
from penult.model.trial import Said
from penult.outputs.folder.contents import FILM, result_files, wanted_frames
from penult.outputs.folder.save import Building, building, check_place
from penult.outputs.pictures.film import Painter, cut_image, playback_hz
from penult.outputs.pictures.ink import Picture

LABEL = "A"
DROPPED = frozenset({"motion.npz", "tables.xlsx"})
EMPTY_PICTURES = 25

AROUND_S = 0.1
"""Before and after a crossing the athlete's body is made coarse too."""

HEAD_REACH_S = 0.05
"""A head is hidden wherever it is seen this near in time: a misplaced head in one frame shows nothing."""

_STYLE = re.compile(r"<style>.*?</style>", re.DOTALL)
_PLAIN_LABEL = re.compile(r"[A-Za-z0-9][A-Za-z0-9_-]{0,19}\Z")


@dataclass(frozen=True, slots=True, kw_only=True)
class Shared:
    """Where the copy is, and what it holds."""

    folder: Path
    files: tuple[str, ...]


def share(
    result: Path,
    out: Path,
    *,
    label: str = LABEL,
    clip: Path | None = None,
    showing: Showing | None = None,
    progress: Progress,
) -> Shared:
    """Write a copy of a result that is fit to send.

    Parameters
    ----------
    result : Path
        A result folder; its film must be at hand, because every picture is drawn anew from coarse frames.
    out : Path
        Folder of the copy.
    label : str
        Stands for the athlete: letters and digits.
    clip : Path, optional
        The film, where it does not lie beside the result.
    showing : Showing, optional
        Of the film; None: as in the result.
    progress : callable
        Told what is being done.

    Returns
    -------
    Shared

    Raises
    ------
    InputError
        The label is not plain, the film is missing, or the place cannot be written.
    PenultError
        A name is left in a file; then nothing is written.
    """
    _check_label(label)
    analysis, motion, sighting = read_analysis(result), read_motion(result), read_sighting(result)
    film = film_of(result, sighting.clip, clip)
    typed = _typed(sighting, read_said(result), result)
    plain = without_names(analysis, label, typed)
    check_place(out, plain.clip.sha256)
    scene = _Veil(film, sighting, motion, progress)
    with building(out, sha256=plain.clip.sha256, is_private=False) as new:
        files = _write(new, scene, plain, motion, showing or showing_of(analysis.method))
        _refuse_names(new, files, names_in(analysis, typed))
    written_places.record(out, default_place())
    return Shared(folder=out, files=tuple(files))


def share_pair(
    results: Sequence[Path], out: Path, *, label: str = LABEL, showing: Showing, align: str | None, progress: Progress
) -> Shared:
    """Write the film of two results on one clock, fit to send, into a folder.

    Parameters
    ----------
    results : sequence of Path
        Two; their films must be at hand beside them.
    out : Path
        Folder of the film.
    label : str
        Stands for the athletes, followed by 1 and 2: letters and digits.
    showing : Showing
        Landscape puts them side by side, portrait one above the other.
    align : str, optional
        The instant at which they meet.
    progress : callable
        Told what is being done.

    Raises
    ------
    InputError
        The label is not plain, a film is missing, or the place cannot be written.
    """
    _check_label(label)
    if out.is_dir() and any(entry.name != PAIR for entry in out.iterdir()):
        raise InputError(
            f"{out} holds other files and was left as it is", next_step="choose an empty folder with --out FOLDER"
        )
    runs = [opened(result) for result in results]
    cuts = [
        _cut_coarse(_Veil(run.film, read_sighting(result), run.motion, progress))
        for run, result in zip(runs, results, strict=True)
    ]
    try:
        out.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise InputError(f"{out} cannot be made", error.strerror or "", next_step="choose another --out") from error
    write_pair(out / PAIR, runs, cuts, showing, align, names=label)
    return Shared(folder=out, files=(PAIR,))


def _check_label(label: str) -> None:
    if not _PLAIN_LABEL.match(label):
        raise InputError(
            "the label cannot stand for a person", f"got {label[:40]!r}, wanted letters and digits, 20 at most"
        )


def _cut_coarse(scene: _Veil) -> Cut:
    def cut(painter: Painter) -> Iterator[tuple[int, Picture]]:
        for frame in scene.frames():
            yield frame.index, cut_image(frame.image, frame.corner_px, painter.view(frame.index))

    return cut


class _Veil:
    """Coarse frames of one film."""

    def __init__(self, film: Path, sighting: Sighting, motion: Motion, progress: Progress) -> None:
        self.film, self.clip, self._motion, self._progress = film, sighting.clip, motion, progress
        self._crossed = _crossings(sighting)
        rows = motion.pixels.frame
        x_m = sighting.profile.x_m
        self._moving = len(motion.cameras) > 1
        self._x_m = np.linspace(float(x_m.min()) - 3.0, float(x_m.max()) + 3.0, 40)
        self._strip = runway_strip(motion.cameras[0], self._x_m)
        self._empty = _empty(film, self.clip)
        self._heads = _heads(motion)
        self._row = {int(frame): i for i, frame in enumerate(rows)}

    def frames(self) -> Iterator[Frame]:
        """Yield the frames of the run, each coarse but for the athlete's body and the runway."""
        rows = self._motion.pixels.frame
        for frame in video.frames(self.film, self.clip, first=int(rows[0]), last=int(rows[-1])):
            row = self._row.get(frame.index)
            if row is None:
                continue
            self._progress("making coarse", row / len(rows))
            yield dataclasses.replace(frame, image=self._veiled(frame.image, row))

    def _veiled(self, image: Image, row: int) -> Image:
        camera = self._motion.camera_of(row)
        time_s = float(self._motion.pixels.time_s[row])
        hip = self._motion.hip_m[row]
        x_m = float(hip[0]) if np.isfinite(hip).all() else float(np.median(self._x_m))
        alone = not any(c.start_s - AROUND_S <= time_s <= c.end_s + AROUND_S for c in self._crossed)
        body = Body(
            joints_px=self._motion.pixels.xy_px[row],
            metre_px=1.0 / float(metres_per_px(camera, x_m, 1.0)),
            alone=alone
            and not self._moving,  # without a fixed scene nobody tells the athlete from who stands before them
        )
        strip = runway_strip(camera, self._x_m) if self._moving else self._strip
        near = np.abs(self._motion.pixels.time_s - time_s) <= HEAD_REACH_S
        return veiled(image, self._empty, strip, body, self._heads[near])


def _crossings(sighting: Sighting) -> tuple[Crossing, ...]:
    run = find_athlete(sighting.profile, sighting.clip, sighting.cameras, sighting.settings)
    return crossings(sighting.profile, run, float(position_m(sighting.cameras[0])[2]))


def _empty(film: Path, clip: Clip) -> Image:
    step = max(len(clip.time_s) // EMPTY_PICTURES, 1)
    return empty_scene(f.image for f in video.frames(film, clip) if f.index % step == 0)


def _heads(motion: Motion) -> Floats:
    """Where the head is in every row (t, 2), put between its neighbours where it is not seen, held at either end."""
    head = np.array(motion.pixels.xy_px[:, INDEX["head"]])
    seen = np.flatnonzero(np.isfinite(head).all(axis=1))
    if not len(seen):
        return head
    rows = np.arange(len(head))
    return np.stack([np.interp(rows, seen, head[seen, d]) for d in (0, 1)], axis=1)


def _write(new: Building, scene: _Veil, analysis: Analysis, motion: Motion, showing: Showing) -> list[str]:
    """Film, stills, tables and page; the names of all files."""
    need = set(wanted_frames(analysis, motion))
    kept: list[Frame] = []

    def passing() -> Iterator[Frame]:
        for frame in scene.frames():
            if frame.index in need:
                kept.append(frame)
            yield frame

    painter = Painter(analysis, motion, showing)
    painted = ((painter.paint(frame), painter.times(frame.index)) for frame in passing())
    rate_hz = playback_hz(analysis.clip.capture_rate_hz)
    write_film(new.path / FILM, painter.path.size_px, paced(painted, rate_hz), playback_rate_hz=rate_hz)
    files = [FILM]
    for name, content in result_files(analysis, motion, kept):
        if name not in DROPPED:
            new.write(name, content)
            files.append(name)
    return files


def _typed(sighting: Sighting, said: Said, result: Path) -> list[str]:
    """Return what the coach typed elsewhere: of the session, of the lane, and the folder that the result lies in."""
    marks = [mark.name for mark in sighting.fit.lane.marks]
    return [said.session, said.note, sighting.fit.lane.note or "", *marks, result.resolve().parent.name]


def _refuse_names(new: Building, files: Sequence[str], names: Sequence[str]) -> None:
    """Look for every name in every text file, as a check of our own work."""
    for file in files:
        if Path(file).suffix not in {".json", ".csv", ".html"}:
            continue
        text = _STYLE.sub("", (new.path / file).read_text(encoding="utf-8-sig"))
        for name in names:
            if Label(name).stands_in_file(text):
                raise PenultError(
                    "the copy would still hold a name and was not written",
                    f"a name stands in {file}",
                    next_step="tell us which kind of name it is (not the name itself)",
                )
