"""What the ways to calibrate share: what is said of a lane besides its marks, and writing lane file and still safely."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from penult.adapters.files.lane_file import read_lane, still_path, write_lane, write_still
from penult.adapters.files.lens_file import read_lens
from penult.adapters.files.panorama_file import panorama_path, read_panorama
from penult.core.lane.fit import fit_lane
from penult.core.moving_camera.panorama import lane_fit
from penult.errors import CalibrationError, OutputError
from penult.model.arrays import Image
from penult.model.calibration import LaneFile, LaneFit, Lens
from penult.model.panorama import Panorama
from penult.model.sweep_picture import Key

Place = tuple[Panorama, list[Key], int]
"""A panorama, its pictures, and by how much these are reduced."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LaneFacts:
    """What is known of a lane besides its marks."""

    camera_distance_m: float | None = None
    lens_file: Path | None = None
    board: bool = True
    note: str = ""

    def lens(self, size_px: tuple[int, int]) -> Lens | None:
        """Return the lens of the lens file, if one was given.

        Raises
        ------
        CalibrationError
            If it was made for pictures of another size.
        """
        if self.lens_file is None:
            return None
        lens, made_for_px = read_lens(self.lens_file)
        if made_for_px != size_px:
            raise CalibrationError(
                f"{self.lens_file} does not fit the picture",
                f"it was made for {made_for_px[0]} x {made_for_px[1]} px; the picture is {size_px[0]} x {size_px[1]} px",
                next_step="film the chessboard with the setting that you film jumps with",
            )
        return lens


def place_of(lane_path: Path, lane: LaneFile) -> tuple[LaneFit, Place | None]:
    """Return a lane's fit, and its panorama where the place is a panned one.

    Raises
    ------
    CalibrationError
        Marks that give no camera; a panorama that is missing or damaged.
    """
    path = panorama_path(lane_path, lane)
    if path is None:
        return fit_lane(lane), None
    place = read_panorama(path)
    if place[0].image_size_px != lane.image_size_px:
        raise CalibrationError(
            f"{path} does not fit {lane_path}",
            f"it was made for {place[0].image_size_px[0]} x {place[0].image_size_px[1]} px",
            next_step="keep lane file and panorama of one sweep together",
        )
    return lane_fit(place[0], lane), place


def lane_at(out: Path) -> LaneFile | None:
    """Return the lane file that lies at a place already, or None where nothing does.

    Raises
    ------
    OutputError
        If something else lies there.
    """
    if not out.exists():
        return None
    try:
        return read_lane(out)
    except CalibrationError as error:
        raise OutputError(
            f"{out} is there and is no lane file; it was left as it is", next_step="choose another place with -o"
        ) from error


def check_place(out: Path, still: str, source: Path) -> None:
    """Refuse to replace anything but a lane file of ours and its own still.

    Raises
    ------
    OutputError
        If something else lies at either place.
    """
    old = lane_at(out)
    place = out.with_name(still)
    is_own = old is not None and old.still == still
    if place.exists() and not is_own and not _same(place, source):
        raise OutputError(
            f"{place} is there and belongs to no lane file of that name; it was left as it is",
            next_step="choose another name with -o: the still is written beside the lane file",
        )


def write_both(out: Path, lane: LaneFile, image: Image, source: Path) -> Path:
    """Write a lane file and its still; return the still's place. A still that is the source itself is not written again.

    Raises
    ------
    OutputError
        If a place cannot be written, or holds something that is not ours.
    """
    still = still_path(out, lane) or out.with_suffix(".jpg")
    check_place(out, still.name, source)
    try:
        out.parent.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise OutputError(f"{out.parent} cannot be made", error.strerror or str(error)) from error
    if not _same(still, source):
        write_still(out, lane, image)
    write_lane(out, lane)
    return still


def _same(still: Path, source: Path) -> bool:
    return still.exists() and source.exists() and still.samefile(source)
