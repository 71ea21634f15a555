"""A phone's lens from pictures or a clip of a chessboard, into a lens file or straight into a lane file."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from pathlib import Path

from penult.adapters.files.lane_file import read_lane, write_lane
from penult.adapters.files.lens_file import lens_text
from penult.adapters.film import video
from penult.adapters.pictures.chessboard import MOST_VIEWS, LensFit, different_views, find_board, lens_of
from penult.adapters.pictures.still_source import frames_at, is_picture, read_picture
from penult.core.lane.fit import fit_lane
from penult.errors import CalibrationError
from penult.model.arrays import Floats
from penult.model.calibration import LaneFit
from penult.outputs.pages.page_files import write_files

_LOOKED_AT = 90
"""Frames of a clip that are searched for the board."""
_MOVED_SHARE = 0.015


def lens_from(sources: Sequence[Path], inner: tuple[int, int]) -> LensFit:
    """Return the lens that took pictures of a chessboard, or a clip of one.

    Parameters
    ----------
    sources : sequence of Path
        Pictures of one size, or a single clip.
    inner : (int, int)
        Inner corners of the board in a row and in a column.

    Raises
    ------
    CalibrationError
        If pictures differ in size, or do not give a lens.
    """
    if len(sources) == 1 and not is_picture(sources[0]):
        return _from_clip(sources[0], inner)
    boards: list[Floats] = []
    sizes: dict[tuple[int, int], Path] = {}
    for source in sources:
        image = read_picture(source)
        sizes.setdefault((image.shape[1], image.shape[0]), source)
        found = find_board(image, inner)
        if found is not None:
            boards.append(found)
    if len(sizes) > 1:
        raise CalibrationError(
            "the pictures are not of one size",
            *(f"{source.name}: {size[0]} x {size[1]} px" for size, source in sizes.items()),
            next_step="take them all with one setting of one phone, held the same way up",
        )
    return lens_of(boards[:MOST_VIEWS], inner, next(iter(sizes)))


def _from_clip(source: Path, inner: tuple[int, int]) -> LensFit:
    clip = video.open_clip(source)
    every = max(len(clip.time_s) // _LOOKED_AT, 1)

    def boards() -> Iterator[tuple[int, Floats]]:
        for frame in frames_at(source, clip, list(range(0, len(clip.time_s), every))):
            found = find_board(frame.image, inner)
            if found is not None:
                yield frame.index, found

    return lens_of(different_views(boards(), _MOVED_SHARE * max(clip.size_px)), inner, clip.size_px)


def write_lens(fit: LensFit, out: Path) -> None:
    """Write a lens file.

    Raises
    ------
    OutputError
        If the place cannot be written.
    """
    write_files(out.parent, {out.name: lens_text(fit.lens, fit.image_size_px).encode()}, is_private=False)


def into_lane(fit: LensFit, lane_path: Path) -> LaneFit:
    """Put a lens into a lane file and return its new fit; a lens with which the marks do not fit is refused first.

    Raises
    ------
    CalibrationError
        If the lane file was made for another picture size, or its marks do not fit the lens.
    """
    lane = read_lane(lane_path)
    if lane.image_size_px != fit.image_size_px:
        raise CalibrationError(
            f"the lens does not fit {lane_path}",
            f"the chessboard was {fit.image_size_px[0]} x {fit.image_size_px[1]} px; the lane file is for "
            f"{lane.image_size_px[0]} x {lane.image_size_px[1]} px",
            next_step="film the chessboard with the setting that you film jumps with",
        )
    new = fit_lane(replace(lane, lens=fit.lens))
    write_lane(lane_path, new.lane)
    return new
