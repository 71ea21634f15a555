"""A phone's lens from pictures of a chessboard (OpenCV's calibrateCamera)."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from penult.errors import CalibrationError
from penult.model.arrays import Floats, Image
from penult.model.calibration import Lens

LEAST_VIEWS = 5
MOST_VIEWS = 40
_SQUARE_SHARE = 0.02
_LEAST_COVER = 0.35
_FAR_RMS_PX = 1.5
_SEARCH = cv2.CALIB_CB_ADAPTIVE_THRESH | cv2.CALIB_CB_NORMALIZE_IMAGE | cv2.CALIB_CB_FAST_CHECK
_STOP = (cv2.TERM_CRITERIA_COUNT | cv2.TERM_CRITERIA_EPS, 40, 0.001)
_TALLEST_SEARCHED_PX = 1200


@dataclass(frozen=True, slots=True, kw_only=True)
class LensFit:
    """A lens and how well it is known.

    Parameters
    ----------
    lens : Lens
    image_size_px : (int, int)
        Of the pictures: the lens holds for no other size.
    rms_px : float
        Reprojection error over all corners.
    focal_sd_px : float
        SD of the focal length.
    bend_px : float
        By how much the lens moves a point in the farthest corner of the picture.
    views : int
        Pictures in which the board was found.
    cover_share : float
        Share of the picture's width and height that the boards reached over (the smaller of the two).
    """

    lens: Lens
    image_size_px: tuple[int, int]
    rms_px: float
    focal_sd_px: float
    bend_px: float
    views: int
    cover_share: float


def find_board(image: Image, inner: tuple[int, int]) -> Floats | None:
    """Return the inner corners (n, 2) of a chessboard in a picture, or None.

    Parameters
    ----------
    image : (h, w, 3) or (h, w) uint8
        RGB or grey.
    inner : (int, int)
        Inner corners in a row and in a column: a board of 10 by 7 squares has (9, 6).
    """
    grey = image if image.ndim == 2 else cv2.cvtColor(np.ascontiguousarray(image), cv2.COLOR_RGB2GRAY)
    factor = min(1.0, _TALLEST_SEARCHED_PX / max(grey.shape))
    small = grey if factor == 1.0 else cv2.resize(grey, None, fx=factor, fy=factor, interpolation=cv2.INTER_AREA)
    found, corners = cv2.findChessboardCorners(small, inner, flags=_SEARCH)
    if not found:
        return None
    full = ((corners.reshape(-1, 2) + 0.5) / factor - 0.5).astype(np.float32)
    nearest_px = float(np.linalg.norm(np.diff(full[: inner[0]], axis=0), axis=1).min())
    half = int(np.clip(nearest_px / 3.0, 2, 11))
    refined = cv2.cornerSubPix(grey, full.reshape(-1, 1, 2), (half, half), (-1, -1), _STOP)
    return np.asarray(refined.reshape(-1, 2), dtype=np.float64)


def lens_of(boards_px: Sequence[Floats], inner: tuple[int, int], image_size_px: tuple[int, int]) -> LensFit:
    """Return the lens that shows the boards so.

    Focal lengths in x and y are found apart from each other: that they agree is a check of the pictures. Radial
    distortion has two terms (OpenCV's k1, k2), no tangential ones: phones centre their lenses.

    Raises
    ------
    CalibrationError
        If there are too few views, they cover too little of the picture, or do not fit one lens of square pixels.
    """
    if len(boards_px) < LEAST_VIEWS:
        raise CalibrationError(
            f"the chessboard is whole in {len(boards_px)} pictures; at least {LEAST_VIEWS} are needed, 12 are good",
            f"looked for {inner[0]} x {inner[1]} inner corners (a board of {inner[0] + 1} x {inner[1] + 1} squares)",
            next_step="say the number of inner corners with --board, and show the whole flat board, tilted, in good light",
        )
    plane = np.zeros((inner[0] * inner[1], 3), np.float32)
    plane[:, :2] = np.mgrid[: inner[0], : inner[1]].T.reshape(-1, 2)
    flags = cv2.CALIB_ZERO_TANGENT_DIST | cv2.CALIB_FIX_K3
    views = [np.asarray(b, dtype=np.float32).reshape(-1, 1, 2) for b in boards_px]
    rms_px, matrix, bend, _, _, spread, _, _ = cv2.calibrateCameraExtended(
        [plane] * len(views), views, image_size_px, None, None, flags=flags
    )
    k1, k2 = (float(v) for v in np.ravel(bend)[:2])
    fx_px, fy_px, cx_px, cy_px = (float(v) for v in (matrix[0, 0], matrix[1, 1], matrix[0, 2], matrix[1, 2]))
    lens = Lens(fx_px=fx_px, fy_px=fy_px, cx_px=cx_px, cy_px=cy_px, k1=k1, k2=k2)
    fit = LensFit(
        lens=lens,
        image_size_px=image_size_px,
        rms_px=float(rms_px),
        focal_sd_px=float(np.ravel(spread)[0]),
        bend_px=_bend_px(lens, image_size_px),
        views=len(views),
        cover_share=_cover(boards_px, image_size_px),
    )
    _refuse(fit)
    return fit


def _bend_px(lens: Lens, image_size_px: tuple[int, int]) -> float:
    corners = np.array([(x, y) for x in (0.0, image_size_px[0] - 1.0) for y in (0.0, image_size_px[1] - 1.0)])
    flat = (corners - (lens.cx_px, lens.cy_px)) / (lens.fx_px, lens.fy_px)
    radius2 = float((flat**2).sum(axis=1).max())
    return float(np.sqrt(radius2) * (radius2 * lens.k1 + radius2**2 * lens.k2) * lens.fx_px)


def _cover(boards_px: Sequence[Floats], image_size_px: tuple[int, int]) -> float:
    every = np.concatenate(list(boards_px))
    return float((np.ptp(every, axis=0) / np.asarray(image_size_px)).min())


def _refuse(fit: LensFit) -> None:
    faults = []
    if abs(fit.lens.fx_px / fit.lens.fy_px - 1.0) > _SQUARE_SHARE:
        faults.append(
            f"focal lengths of {fit.lens.fx_px:.0f} and {fit.lens.fy_px:.0f} px differ by more than 2 %: "
            "the board is bent, or seen from one direction only"
        )
    if fit.rms_px > _FAR_RMS_PX:
        faults.append(f"corners miss by {fit.rms_px:.1f} px: the board is not flat, or the pictures are blurred")
    if fit.cover_share < _LEAST_COVER:
        faults.append(f"the boards reach over {100 * fit.cover_share:.0f} % of the picture only")
    if fit.focal_sd_px > _SQUARE_SHARE * fit.lens.fx_px:
        faults.append(f"the focal length stays uncertain by {fit.focal_sd_px:.0f} px: the board was not tilted")
    if fit.lens.k1 < -2.0 or fit.lens.k1 > 2.0 or abs(fit.lens.k2) > 2.0:
        faults.append(f"distortion k1 {fit.lens.k1:.2f}, k2 {fit.lens.k2:.2f} is no lens of a phone")
    if faults:
        raise CalibrationError(
            "these pictures do not give a lens",
            *faults,
            next_step="take 12 pictures of a flat board: large, tilted to all sides, also in the corners of the picture",
        )


def different_views(boards: Iterable[tuple[int, Floats]], least_px: float) -> list[Floats]:
    """Return boards of a clip that moved on by `least_px` since the last one kept; at most `MOST_VIEWS`, spread evenly."""
    kept: list[Floats] = []
    for _, corners in boards:
        if not kept or float(np.abs(corners - kept[-1]).mean()) >= least_px:
            kept.append(corners)
    if len(kept) <= MOST_VIEWS:
        return kept
    rows: NDArray[np.int64] = np.linspace(0, len(kept) - 1, MOST_VIEWS).astype(np.int64)
    return [kept[i] for i in rows]
