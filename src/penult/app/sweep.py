"""From a slow turn over the empty runway to the lane file of a panned place: lane file, still and panorama."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from penult.adapters.files.panorama_file import write_panorama
from penult.adapters.files.sweep_csv import Click, read_clicks, read_named_places
from penult.adapters.film import video
from penult.adapters.pictures.sweep import (
    Grey,
    all_matches,
    carried,
    chosen_keys,
    evened,
    factor_of,
    features,
    full,
    jpeg_of,
    matched_homography,
    reduced,
    refined,
)
from penult.app.calibrate import CLICKED_SD_PX, Calibrated
from penult.app.lanes import LaneFacts, write_both
from penult.app.progress import Progress
from penult.core.lane.camera import project
from penult.core.moving_camera.panorama import camera_of_picture, lane_fit, solved_panorama
from penult.errors import CalibrationError
from penult.model.arrays import Image
from penult.model.calibration import LaneFile, Mark
from penult.model.clip import Clip
from penult.model.panorama import Panorama, Sighted
from penult.model.sweep_picture import Key
from penult.outputs.pages.clicks import clicks_html
from penult.outputs.pages.page_files import write_files

Place = tuple[float, float, float]


@dataclass(slots=True, kw_only=True)
class _Turn:
    """What one pass through a sweep gives: its pictures, and those in which marks were clicked."""

    keys: list[Key]
    clicked: dict[int, Grey]
    factor: int


def calibrate_from_sweep(
    source: Path, places: Path, clicks: Path, out: Path, said: LaneFacts, progress: Progress
) -> Calibrated:
    """Write lane file, still and panorama of a place from which the phone is turned after the athlete.

    Parameters
    ----------
    source : Path
        The sweep: the phone on its tripod, turned slowly over the empty runway.
    places : Path
        Where the marks stand: name, x_m, z_m (y_m).
    clicks : Path
        Where they are seen: name, frame (or time_s), pixel_x, pixel_y.
    out : Path
        Of the lane file; still and panorama go beside it.
    said : LaneFacts
    progress : callable

    Raises
    ------
    CalibrationError
        Faults of the tables; pictures that do not hang together; marks that no camera on one tripod sees so.
    """
    known = read_named_places(places)
    clicked = read_clicks(clicks, known)
    clip = video.open_clip(source)
    frames = [_frame_of(c, clip) for c in clicked]
    turn = _passed(source, clip, set(frames), progress)
    matches = all_matches(turn.keys, turn.factor)
    marks = _sighted(clicked, frames, known, turn)
    panorama = solved_panorama(matches, marks, len(turn.keys), clip.size_px, CLICKED_SD_PX)
    key = turn.keys[panorama.reference]
    image = next(video.frames(source, clip, first=key.frame, last=key.frame)).image
    lane = _lane(panorama, marks, out, said, image)
    still = write_both(out, lane, image, source)
    write_panorama(out.with_name(lane.panorama or ""), panorama, turn.keys, turn.factor)
    return Calibrated(fit=lane_fit(panorama, lane), path=out, still=still, notes=_notes(panorama, marks, known))


def _frame_of(click: Click, clip: Clip) -> int:
    frame = click.frame if click.frame is not None else int(np.abs(clip.time_s - click.time_s).argmin())
    if frame >= len(clip.time_s):
        raise CalibrationError(
            f"{click.name!r} was clicked in frame {frame}, which is not in the sweep",
            f"it has {len(clip.time_s)} frames",
            next_step="count frames from 0, or give time_s in seconds",
        )
    return frame


def _passed(source: Path, clip: Clip, wanted: set[int], progress: Progress) -> _Turn:
    """Go through the sweep once."""
    factor = factor_of(clip.size_px[0])
    clicked: dict[int, Grey] = {}

    def pictures() -> Iterator[tuple[int, Grey]]:
        for index, _, grey in video.grey_frames(source, clip):
            progress("looking through the sweep", index / len(clip.time_s))
            small = evened(grey, factor)
            if index in wanted:
                clicked[index] = small
            yield index, small

    keys = chosen_keys(pictures())
    if len(keys) < 2:
        raise CalibrationError(
            f"the camera hardly turns in {source.name}",
            "a lane file of a panned place needs the whole run-up in one slow turn",
            next_step="turn the phone from where the run-up begins to the pit; for a phone that stands use --marks or --pick",
        )
    return _Turn(keys=keys, clicked=clicked, factor=factor)


def _sighted(clicks: Sequence[Click], frames: Sequence[int], known: dict[str, Place], turn: _Turn) -> Sighted:
    """Return the clicks as pixels of the sweep's chosen pictures, onto which their frames are laid."""
    laid = {frame: _laid(turn.clicked[frame], turn) for frame in set(frames)}
    names, pictures, pixels, places = [], [], [], []
    for click, frame in zip(clicks, frames, strict=True):
        found = laid[frame]
        if found is None:
            continue
        picture, homography = found
        small = reduced(np.array([click.pixel_px]), turn.factor)
        pixel = full(carried(small, np.linalg.inv(homography)), turn.factor)[0]
        if not np.isfinite(pixel).all():
            continue
        names.append(click.name)
        pictures.append(picture)
        pixels.append(pixel)
        places.append(known[click.name])
    return Sighted(
        names=tuple(names),
        picture=np.array(pictures, dtype=np.int64),
        pixel_px=np.array(pixels).reshape(-1, 2),
        runway_m=np.array(places).reshape(-1, 3),
    )


def _laid(small: Grey, turn: _Turn) -> tuple[int, np.ndarray] | None:
    """Return the chosen picture nearest to one in which marks were clicked, and the homography from it to that one."""
    points, words = features(small)
    best: tuple[int, int, np.ndarray] | None = None
    for i, key in enumerate(turn.keys):
        rough = matched_homography(key, points, words)
        if rough is not None and (best is None or rough[1] > best[0]):
            best = (rough[1], i, rough[0])
    if best is None:
        return None
    return best[1], refined(turn.keys[best[1]], small, best[2])


def _lane(panorama: Panorama, marks: Sighted, out: Path, said: LaneFacts, image: Image) -> LaneFile:
    """Return the lane file: marks where the still should show them, as clicked where they were clicked in it."""
    width, height = panorama.image_size_px
    camera = camera_of_picture(panorama, panorama.reference)
    found: dict[str, Mark] = {}
    for i, name in enumerate(marks.names):
        clicked = marks.picture[i] == panorama.reference
        pixel = marks.pixel_px[i] if clicked else project(camera, marks.runway_m[i])
        if np.isfinite(pixel).all() and 0.0 <= pixel[0] < width and 0.0 <= pixel[1] < height:
            place = tuple(float(v) for v in marks.runway_m[i])
            found[name] = Mark(
                name=name, pixel_px=(float(pixel[0]), float(pixel[1])), runway_m=(place[0], place[1], place[2])
            )
    if not found:
        raise CalibrationError(
            "no mark lies where the sweep looks square at the runway",
            next_step="click marks there too: the board's corners, cones and tape before it",
        )
    return LaneFile(
        image_size_px=(image.shape[1], image.shape[0]),
        marks=tuple(found.values()),
        pixel_sd_px=CLICKED_SD_PX,
        board=said.board,
        still=f"{out.stem}.jpg",
        note=said.note,
        panorama=f"{out.stem}_panorama.npz",
    )


def _notes(panorama: Panorama, marks: Sighted, known: dict[str, Place]) -> tuple[str, ...]:
    x, y, z = panorama.centre_m
    sd = 100.0 * 2.0 * np.sqrt(np.diag(panorama.covariance)[:3])
    stands = f"the lens stands at x {x:.2f}, y {y:.2f}, z {z:.2f} m (to {sd[0]:.0f}, {sd[1]:.0f} and {sd[2]:.0f} cm)"
    notes = [
        f"{len(panorama.turns)} pictures on one centre; {stands}.",
        f"{len(set(marks.names))} of {len(known)} marks were clicked.",
    ]
    if panorama.left_out:
        notes.append(f"Left out, because they disagree with all others: {', '.join(panorama.left_out)}.")
    return tuple(notes)


def write_clicks_page(source: Path, places: Path, out: Path, progress: Progress) -> Path:
    """Write the page on which the marks of a sweep are clicked, beside where the lane file will be, and return its place.

    Raises
    ------
    CalibrationError
        Faults of the table of places; a camera that hardly turns.
    OutputError
        If the place cannot be written.
    """
    known = read_named_places(places)
    clip = video.open_clip(source)
    keys = _passed(source, clip, set(), progress).keys
    pictures = []
    for key in keys:
        image = next(video.frames(source, clip, first=key.frame, last=key.frame)).image
        pictures.append((key.frame, jpeg_of(image)))
    page, table = f"{out.stem}_clicks.html", f"{out.stem}_clicks.csv"
    command = f"penult calibrate {source.name} --places {places.name} --clicks {table} -o {out.name}"
    html = clicks_html(pictures, list(known), source=source.name, table=table, next_step=command)
    write_files(out.parent, {page: html.encode("utf-8", errors="replace")})
    return out.with_name(page)
