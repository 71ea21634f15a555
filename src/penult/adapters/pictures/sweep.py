"""A slow turn over the empty runway: its pictures, and background points seen in two of them (OpenCV)."""

from __future__ import annotations

from collections.abc import Iterable

import cv2
import numpy as np
from numpy.typing import NDArray

from penult.model.arrays import Floats, Image
from penult.model.panorama import Matches
from penult.model.sweep_picture import Key

Grey = NDArray[np.uint8]

WORK_WIDTH_PX = 1000
"""Points are followed in pictures of about this width: half of full HD (as in `background`)."""

STEP_SHARE = 0.22
"""Of the picture's width: how far the next picture of a panorama has moved on. Five pictures then show every place."""

LEAST_OVERLAP = 0.3
_FEATURES = 1500
_BLUR_PX = 41
_CONTRAST = 40.0
_CELLS = (16, 10)
_CORNERS_A_CELL = 4
_BORDER_PX = 9
_WINDOW_PX = (17, 17)
_STOP = (cv2.TERM_CRITERIA_COUNT | cv2.TERM_CRITERIA_EPS, 25, 0.01)
_LEAST_MATCHES = 15

MOST_PLACE_SD_PX = 0.2
"""Corners that flow would place worse, in small pixels, are noise on a plain wall (good ones: 0.01 to 0.1 px)."""

_BACK_PX = 0.3


def factor_of(width_px: int) -> int:
    """Return by how much pictures are reduced."""
    return max(1, round(width_px / WORK_WIDTH_PX))


def key_of(frame: int, small: Grey, at_px: Floats) -> Key:
    """Return a picture with what it is found again by."""
    points, words = features(small)
    return Key(frame=frame, small=small, at_px=at_px, corners_px=corners(small), key_points_px=points, words=words)


def features(small: Grey) -> tuple[Floats, NDArray[np.float32]]:
    """Return features (n, 2) and their descriptions (n, 128): scale-invariant ones (Lowe 2004)."""
    keys, words = cv2.SIFT.create(nfeatures=_FEATURES, contrastThreshold=0.02).detectAndCompute(small, None)
    points = np.array([k.pt for k in keys], dtype=np.float64).reshape(-1, 2)
    return points, np.zeros((0, 128), np.float32) if words is None else np.asarray(words, dtype=np.float32)


def matched_homography(key: Key, points: Floats, words: NDArray[np.float32]) -> tuple[Floats, int] | None:
    """Return the homography from a key's small picture to that of the features, and how many agree; None with too few."""
    if min(len(words), len(key.words)) < _LEAST_MATCHES:
        return None
    pairs = cv2.BFMatcher(cv2.NORM_L2).knnMatch(key.words, words, k=2)
    good = [p[0] for p in pairs if len(p) == 2 and p[0].distance < 0.8 * p[1].distance]
    if len(good) < _LEAST_MATCHES:
        return None
    here = key.key_points_px[[m.queryIdx for m in good]]
    there = points[[m.trainIdx for m in good]]
    found, inside = cv2.findHomography(here, there, cv2.RANSAC, 3.0)
    if found is None or inside is None or int(inside.sum()) < _LEAST_MATCHES:
        return None
    return np.asarray(found, dtype=np.float64), int(inside.sum())


def chosen_keys(pictures: Iterable[tuple[int, Grey]]) -> list[Key]:
    """Return the pictures of a sweep that show all of it, each moved on by a fifth of the picture (small evened pictures in)."""
    keys: list[Key] = []
    last: tuple[int, Grey] | None = None
    at = np.zeros(2)
    for frame, small in pictures:
        if last is not None:
            at = at + _shift(last[1], small)
        if not keys or abs(at[0] - keys[-1].at_px[0]) > STEP_SHARE * small.shape[1]:
            keys.append(key_of(frame, small, at))
        last = (frame, small)
    if last is not None and abs(at[0] - keys[-1].at_px[0]) > 0.05 * last[1].shape[1]:
        keys.append(key_of(*last, at))
    return keys


def all_matches(keys: list[Key], factor: int) -> list[Matches]:
    """Return the background points of all pairs of pictures that overlap, in full-size pixels."""
    found = []
    for i, first in enumerate(keys):
        for j in range(i + 1, len(keys)):
            if abs(keys[j].at_px[0] - first.at_px[0]) > (1.0 - LEAST_OVERLAP) * first.small.shape[1]:
                continue  # walls repeat themselves: what cannot overlap must not be matched
            rough = matched_homography(first, keys[j].key_points_px, keys[j].words)
            near = _from_shift(first, keys[j]) if rough is None else rough[0]
            if near is None:
                continue
            here, there = flowed(first, keys[j].small, near)
            if len(here) >= _LEAST_MATCHES:
                found.append(Matches(first=i, second=j, first_px=full(here, factor), second_px=full(there, factor)))
    return found


def _from_shift(first: Key, second: Key) -> Floats | None:
    """Return a rough homography where features fail (a plain wall, cones that are all alike): by how far the camera moved on."""
    moved = np.eye(3)
    moved[:2, 2] = first.at_px - second.at_px
    return grown(first, second.small, moved)


def grown(key: Key, small: Grey, moved: Floats) -> Floats | None:
    """Return the homography from a key to another small picture from a mere shift, by coarse flow; None if too few agree."""
    here, there = flowed(key, small, moved, levels=4)
    if len(here) < _LEAST_MATCHES:
        return None
    found, inside = cv2.findHomography(here, there, cv2.RANSAC, 2.0)
    if found is None or inside is None or int(inside.sum()) < _LEAST_MATCHES:
        return None
    return np.asarray(found, dtype=np.float64)


def shift_to(key: Key, small: Grey) -> tuple[Floats, float]:
    """Return the shift (3, 3) from a key to a small picture by phase correlation, and how clear it is."""
    few = [
        np.asarray(cv2.resize(p, None, fx=0.25, fy=0.25, interpolation=cv2.INTER_AREA), np.float32)
        for p in (key.small, small)
    ]
    moved, clear = cv2.phaseCorrelate(few[0], few[1], cv2.createHanningWindow(few[0].shape[::-1], cv2.CV_32F))
    shift = np.eye(3)
    shift[:2, 2] = 4.0 * np.asarray(moved)
    return shift, float(clear)


def flowed(key: Key, small: Grey, homography: Floats, every: int = 1, levels: int = 2) -> tuple[Floats, Floats]:
    """Return corners (n, 2) of a key and where they are in another small picture, from a homography near the truth.

    The picture is first laid over the key, so that flow finds only a remainder; what flow does not carry back is left out.
    Of the corners every so many-th is looked for.
    """
    height, width = small.shape
    some = key.corners_px[::every]
    guess = carried(some, homography)
    inside = within(guess, (width, height))
    here = some[inside]
    if len(here) < _LEAST_MATCHES:
        return np.empty((0, 2)), np.empty((0, 2))
    to_key = np.asarray(np.linalg.inv(homography))
    laid = cv2.warpPerspective(small, to_key, (width, height), flags=cv2.INTER_LINEAR)
    there = _flow(key.small, laid, here, levels)
    back = _flow(laid, key.small, there, levels)
    off = np.linalg.norm(back - here, axis=1)
    good = np.isfinite(off) & (off < _BACK_PX)
    found = carried(there, homography)
    good &= within(found, (width, height))
    return here[good], found[good]


def evened(grey: Grey, factor: int) -> Grey:
    """Return the picture reduced, without its slow shades and at one contrast, so that light is no motion."""
    small = grey
    if factor > 1:
        height, width = grey.shape[0] // factor, grey.shape[1] // factor
        small = np.asarray(
            cv2.resize(grey[: height * factor, : width * factor], (width, height), interpolation=cv2.INTER_AREA)
        )
    smooth = cv2.blur(small, (_BLUR_PX, _BLUR_PX))
    gain = _CONTRAST / max(float(np.std(small[::4, ::4].astype(np.float32) - smooth[::4, ::4])), 1.0)
    return np.asarray(cv2.addWeighted(small, gain, smooth, -gain, 128.0), dtype=np.uint8)


def full(points: Floats, factor: int) -> Floats:
    """Return full-size pixels of points in a small picture (pixel centres at whole numbers in both)."""
    return np.asarray(points * factor + (factor - 1) / 2.0)


def reduced(points: Floats, factor: int) -> Floats:
    """Return pixels of the small picture: `full` undone."""
    return np.asarray((points - (factor - 1) / 2.0) / factor)


def carried(points: Floats, homography: Floats) -> Floats:
    """Return points (n, 2) after a homography; NaN where they would lie behind the picture."""
    whole = np.column_stack([points, np.ones(len(points))]) @ homography.T
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.where(whole[:, 2:] > 1e-6, whole[:, :2] / whole[:, 2:], np.nan)


def within(points: Floats, size: tuple[int, int]) -> NDArray[np.bool_]:
    """Return which points (n, 2) lie inside a picture, off its border."""
    with np.errstate(invalid="ignore"):
        inner = (points >= _BORDER_PX) & (points < np.asarray(size) - _BORDER_PX)
    return np.asarray(inner.all(axis=1))


def corners(small: Grey) -> Floats:
    """Return corners (n, 2) spread over the whole picture, cell by cell: those alone that flow finds again despite the noise."""
    height, width = small.shape
    points: list[Floats] = []
    for row in range(_CELLS[1]):
        for column in range(_CELLS[0]):
            top, bottom = row * height // _CELLS[1], (row + 1) * height // _CELLS[1]
            left, right = column * width // _CELLS[0], (column + 1) * width // _CELLS[0]
            found = cv2.goodFeaturesToTrack(small[top:bottom, left:right], _CORNERS_A_CELL, 0.05, 8.0)
            if found is not None:
                points.append(found[:, 0].astype(np.float64) + np.array([left, top]))
    every = np.concatenate(points) if points else np.empty((0, 2))
    every = every[within(every, (width, height))]
    at = every.round().astype(int)
    sure = _place_sd_px(small)[at[:, 1], at[:, 0]] < MOST_PLACE_SD_PX
    return np.asarray(every[sure], dtype=np.float64)


def _place_sd_px(small: Grey) -> Floats:
    """Return how well flow can place each pixel's window: noise over the root of the window's smaller gradient eigenvalue.

    Least squares: the covariance of a window's place is noise^2 times the inverse of its summed gradient products (Foerstner
    and Guelch 1987). The noise is that of the plainest fifth of the picture.
    """
    grey = small.astype(np.float32)
    rough = grey - cv2.GaussianBlur(grey, (3, 3), 0.0)
    cells = [c for band in np.array_split(rough, _CELLS[1], axis=0) for c in np.array_split(band, _CELLS[0], axis=1)]
    noise = 1.4826 * float(np.percentile([np.median(np.abs(c)) for c in cells], 20.0)) / 0.8
    gx, gy = (cv2.Sobel(grey, cv2.CV_32F, dx, dy, ksize=3) / 8.0 for dx, dy in ((1, 0), (0, 1)))
    xx, xy, yy = (cv2.boxFilter(a * b, -1, _WINDOW_PX, normalize=False) for a, b in ((gx, gx), (gx, gy), (gy, gy)))
    least = 0.5 * (xx + yy - np.sqrt((xx - yy) ** 2 + 4.0 * xy**2))
    noise = max(noise, 0.5)
    of_noise = (
        12.0 / 64.0 * _WINDOW_PX[0] * _WINDOW_PX[1] * noise**2
    )  # what noise alone sums up to under this Sobel mask
    return np.asarray(noise / np.sqrt(np.maximum(least - of_noise, 1e-6)), dtype=np.float64)


def _flow(before: Grey, after: Grey, points: Floats, levels: int) -> Floats:
    """Return where points (n, 2) of one picture are in another that nearly agrees; NaN where lost."""
    moved, state, _ = cv2.calcOpticalFlowPyrLK(
        before,
        after,
        np.nan_to_num(points, nan=-1.0)[:, None].astype(np.float32),
        np.nan_to_num(points, nan=-1.0)[:, None].astype(np.float32),
        winSize=_WINDOW_PX,
        maxLevel=levels,
        criteria=_STOP,
        flags=cv2.OPTFLOW_USE_INITIAL_FLOW,
    )
    return np.where(state == 0, np.nan, np.asarray(moved[:, 0], dtype=np.float64))


def _shift(before: Grey, after: Grey) -> Floats:
    """Return by how much the camera has moved on from one small picture to the next, in their pixels (phase correlation)."""
    few = [
        np.asarray(cv2.resize(p, None, fx=0.25, fy=0.25, interpolation=cv2.INTER_AREA), np.float32)
        for p in (before, after)
    ]
    moved, _ = cv2.phaseCorrelate(few[0], few[1], cv2.createHanningWindow(few[0].shape[::-1], cv2.CV_32F))
    return -4.0 * np.asarray(moved)


def jpeg_of(image: Image) -> bytes:
    """Return an RGB picture as JPEG."""
    _, data = cv2.imencode(".jpg", image[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, 88])
    return bytes(data.tobytes())


def refined(key: Key, small: Grey, homography: Floats) -> Floats:
    """Return the homography from a key to another small picture by optical flow, from one near it."""
    here, there = flowed(key, small, homography)
    if len(here) < _LEAST_MATCHES:
        return homography
    found, _ = cv2.findHomography(here, there, cv2.RANSAC, 0.7)
    return homography if found is None else np.asarray(found, dtype=np.float64)
