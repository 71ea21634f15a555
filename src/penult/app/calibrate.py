"""From an empty runway to a trusted lane file: markers or a table of marks in, lane file, still and residuals out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from penult.adapters.files.marks_csv import read_marks, read_places
from penult.adapters.film import video
from penult.adapters.pictures.markers import find_markers, marker_cells
from penult.adapters.pictures.still_source import is_picture, median_picture, read_picture
from penult.app.lanes import LaneFacts, write_both
from penult.core.lane.fit import fit_lane
from penult.core.lane.marker_size import side_seen_m
from penult.core.lane.markers import MarkerFit, fit_markers, marks_of, pixel_sd_px
from penult.errors import CalibrationError, HorizonError
from penult.model.arrays import Image
from penult.model.calibration import LaneFile, LaneFit, Mark
from penult.model.marker import MarkerPlace, SeenMarker
from penult.outputs.pages.page_files import write_files
from penult.outputs.pictures.marker_sheet import marker_sheet

SIDE_M = 0.15
"""Of the black square on our own sheets of A4 and US letter."""
CLICKED_SD_PX = 1.0
_OTHER_SIDE_SHARE = 0.05


@dataclass(frozen=True, slots=True, kw_only=True)
class Calibrated:
    """A lane file that was written: the fit of exactly its content, and what to know of it."""

    fit: LaneFit
    path: Path
    still: Path
    notes: tuple[str, ...] = ()


def write_markers(out: Path, numbers: Sequence[int], paper: str) -> Path:
    """Write the sheets of printed markers (PDF).

    Raises
    ------
    OutputError
        If the place cannot be written.
    """
    cells = {number: marker_cells(number) for number in numbers}
    write_files(out.parent, {out.name: marker_sheet(cells, paper)}, is_private=False)
    return out


def picture_of(source: Path) -> Image:
    """Return the picture of a still, or the median of a clip.

    Raises
    ------
    ClipError
        If it cannot be read.
    """
    if is_picture(source):
        return read_picture(source)
    return median_picture(source, video.open_clip(source))


def calibrate_from_markers(
    source: Path, places: Path | Sequence[MarkerPlace], out: Path, said: LaneFacts, *, side_m: float = SIDE_M
) -> Calibrated:
    """Find printed markers in a still or clip and write the lane file.

    Parameters
    ----------
    source : Path
        Still or clip of the empty runway.
    places : Path or sequence of MarkerPlace
        Where the markers stand; a table has the columns marker, x_m, y_m, z_m (side_m, lies).
    out : Path
        Of the lane file; the still goes beside it.
    said : LaneFacts
    side_m : float
        Side of the black square where the table does not say.

    Raises
    ------
    CalibrationError
        No markers, unknown places, places that do not fit together.
    """
    known = read_places(places, side_m) if isinstance(places, Path) else tuple(places)
    image = picture_of(source)
    seen = find_markers(image)
    if not seen:
        raise _none_found(image)
    lane = _lane(image, marks_of(seen, known), out, said)
    found = _fitted(lane, known)
    found = fit_markers(replace(lane, pixel_sd_px=round(2.0 * pixel_sd_px(found.fit), 2)))
    notes = _marker_notes(seen, known)
    if found.sizes_doubted:
        notes += (_size_doubt(found, known),)
    return _written(found.fit, image, source, out, notes)


def _fitted(lane: LaneFile, known: Sequence[MarkerPlace]) -> MarkerFit:
    """Return the fit; where there is none because squares and places are of different scales, say both."""
    try:
        return fit_markers(lane)
    except CalibrationError as refused:
        typed_m = _one_side_m(known)
        try:
            seen_m = side_seen_m(lane)
        except (CalibrationError, HorizonError):
            raise refused from None
        if np.isnan(typed_m) or not abs(seen_m / typed_m - 1.0) > _OTHER_SIDE_SHARE:
            raise
        raise CalibrationError(
            f"the markers look {100.0 * seen_m:.1f} cm large from where they stand, but {100.0 * typed_m:g} cm was given",
            "the side of the black square and the places of the markers do not fit together",
            next_step=f"measure a black square with a rule and add --side {seen_m:.2f}, or correct the places (metres)",
        ) from refused


def _one_side_m(known: Sequence[MarkerPlace]) -> float:
    sides_m = {place.side_m for place in known}
    return sides_m.pop() if len(sides_m) == 1 else float("nan")


def _size_doubt(found: MarkerFit, known: Sequence[MarkerPlace]) -> str:
    times = 1.0 / (1.0 - found.larger_share)  # the share is of the side as it is seen
    typed_m = _one_side_m(known)
    if np.isnan(typed_m):
        said = f"The markers look {100.0 * abs(times - 1.0):.0f} % {'larger' if times > 1.0 else 'smaller'} than given"
    else:
        said = f"The markers look {100.0 * typed_m * times:.1f} cm large, but {100.0 * typed_m:g} cm was given"
    return (
        f"{said}: measure a black square with a rule (--side). The scale comes from the distances between the markers, "
        "so the lane file is sound."
    )


def _none_found(image: Image) -> CalibrationError:
    return CalibrationError(
        "no marker is found in the picture",
        f"looked in {image.shape[1]} x {image.shape[0]} px; a marker must be 15 pixels large or more, its white edge whole",
        next_step="print larger or film closer, evenly lit and flat ('penult markers'); or give a table: --marks",
    )


def _marker_notes(seen: dict[int, SeenMarker], known: Sequence[MarkerPlace]) -> tuple[str, ...]:
    placed = {place.number for place in known}
    unseen, unknown = sorted(placed - set(seen)), sorted(set(seen) - placed)
    notes = []
    if unseen:
        notes.append(f"Not found in the picture: marker {', '.join(map(str, unseen))}.")
    if unknown:
        notes.append(f"In the picture, but without a place: marker {', '.join(map(str, unknown))}.")
    return tuple(notes)


def found_numbers(source: Path) -> tuple[int, ...]:
    """Return the numbers of the markers that are found in a still or clip.

    Raises
    ------
    CalibrationError
        If there is none.
    """
    image = picture_of(source)
    seen = find_markers(image)
    if not seen:
        raise _none_found(image)
    return tuple(seen)


def calibrate_from_csv(source: Path, marks: Path, out: Path, said: LaneFacts) -> Calibrated:
    """Write the lane file of a table of marks (columns name, pixel_x, pixel_y, x_m, y_m, z_m).

    Raises
    ------
    CalibrationError
        Faults of the table, each with its line; marks that cannot give a camera.
    """
    listed = read_marks(marks)
    image = picture_of(source)
    fit = fit_lane(_lane(image, listed, out, said))
    return _written(fit, image, source, out, ())


def _lane(image: Image, marks: tuple[Mark, ...], out: Path, said: LaneFacts) -> LaneFile:
    size_px = (image.shape[1], image.shape[0])
    return LaneFile(
        image_size_px=size_px,
        marks=marks,
        pixel_sd_px=CLICKED_SD_PX,
        camera_distance_m=said.camera_distance_m,
        lens=said.lens(size_px),
        board=said.board,
        still=f"{out.stem}.jpg",
        note=said.note,
    )


def _written(fit: LaneFit, image: Image, source: Path, out: Path, notes: tuple[str, ...]) -> Calibrated:
    still = write_both(out, fit.lane, image, source)
    return Calibrated(fit=fit, path=out, still=still, notes=(*notes, *_size_notes(image, source)))


def _size_notes(image: Image, source: Path) -> tuple[str, ...]:
    """Say so where a picture has the shape of a photograph: phones film another part of what they photograph."""
    shape = max(image.shape[:2]) / min(image.shape[:2])
    if not is_picture(source) or np.isclose(shape, 16.0 / 9.0, rtol=0.02):
        return ()
    said = f"The picture ({image.shape[1]} x {image.shape[0]} px) has not the shape of a film."
    wanted = "calibrate from a short clip of the empty runway, filmed with the setting for the jumps."
    return (f"{said} A lane file fits clips of its own size only: {wanted}",)
