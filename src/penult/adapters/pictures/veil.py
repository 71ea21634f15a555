"""Pictures in which nobody can be known: everything is made coarse but the athlete's body and the runway under it (OpenCV).

Faces are not looked for, because a face that is not found would be shown. What stays sharp is what must: limbs and trunk
of the athlete where they differ from the empty scene, and a strip of the runway.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from penult.core.lane.camera import project
from penult.model.arrays import Bools, Floats, Image
from penult.model.calibration import Camera
from penult.model.skeleton import INDEX

CELL_M = 0.07
"""Size of the coarse cells on the lane: a face is three of them tall, and 30 are the least by which people are told apart
(common practice, no source)."""

HEAD_M = 0.27
"""Round the middle of the ears: a head is 0.23 m tall, and joints are off by up to 0.05 m."""

LIMBS: tuple[tuple[str, str, float], ...] = (
    ("shoulder", "elbow", 0.06),
    ("elbow", "wrist", 0.06),
    ("hip", "knee", 0.10),
    ("knee", "ankle", 0.08),
    ("ankle", "toe", 0.08),
    ("heel", "toe", 0.08),
)
"""Half-widths in metres, a little more than a limb's."""

TRUNK_M = 0.17
STRIP_M = (-0.35, 0.25)
"""The runway that stays sharp: from the near edge of a lane, seen from a usual height, to above a mat."""

LEAST_CHANGE = 14
"""Grey levels by which the athlete differs from the empty scene; what does not is somebody who stands before them, or wall."""

Mask = NDArray[np.uint8]


@dataclass(frozen=True, slots=True, kw_only=True)
class Body:
    """Where the athlete is in one picture: joints (k, 2) in pixels, NaN where unknown, and pixels per metre."""

    joints_px: Floats
    metre_px: float
    alone: bool = True


def empty_scene(pictures: Iterable[Image]) -> Image:
    """Return the scene without whoever moves: the median of some pictures over the whole clip."""
    return np.asarray(np.median(np.stack(list(pictures)), axis=0), dtype=np.uint8)


_MOST_AWAY = 3.0  # picture widths


def runway_strip(camera: Camera, x_m: Floats) -> Mask:
    """Return the part (h, w) of the picture that shows the runway and what stands on it, up to a mat's height."""
    low, high = STRIP_M
    below = project(camera, np.stack([x_m, np.full_like(x_m, low), 0.0 * x_m], axis=-1))
    above = project(camera, np.stack([x_m, np.full_like(x_m, high), 0.0 * x_m], axis=-1))
    # a camera that turns has places of the runway behind it, or so far out that a clipped outline would show something else
    near = (np.abs(np.concatenate([below, above], axis=1)) < _MOST_AWAY * max(camera.image_size_px)).all(axis=1)
    outline = np.concatenate([below[near], above[near][::-1]])
    mask = np.zeros((camera.image_size_px[1], camera.image_size_px[0]), np.uint8)
    if not len(outline):
        return mask
    cv2.fillPoly(mask, [np.clip(outline, -20_000, 20_000).round().astype(np.int32)], 255)
    return mask


def veiled(image: Image, empty: Image, strip: Mask, body: Body, head_px: Floats) -> Image:
    """Return the picture with everything coarse but the athlete's body without the head, and the runway.

    Parameters
    ----------
    image, empty : (h, w, 3) uint8
        The picture, and the scene without movers as the same camera sees it.
    strip : (h, w) uint8
        From `runway_strip`.
    body : Body
        `alone` False leaves nothing of the body sharp: somebody else's face may lie before or beside it.
    head_px : (n, 2) float64
        Everywhere that the athlete's head may be: coarse whatever else is there.
    """
    sharp = np.maximum(strip, _figure(image, empty, body)) if body.alone else strip.copy()
    radius = max(round(HEAD_M * body.metre_px), 3)
    for x, y in head_px[np.isfinite(head_px).all(axis=1)]:
        cv2.circle(sharp, (int(x), int(y)), radius, 0, -1)
    cell = max(CELL_M * body.metre_px, 4.0)
    share = (cv2.GaussianBlur(sharp, (0, 0), max(cell / 4.0, 0.8)).astype(np.float32) / 255.0)[..., None]
    share = np.where(sharp[..., None] > 0, share, 0.0)  # the soft edge lies inside what may be sharp
    return np.asarray(image * share + _coarse(image, cell) * (1.0 - share), dtype=np.uint8)


def _coarse(image: Image, cell_px: float) -> Image:
    """Average over cells, drawn smoothly: no detail below the cell's size is left in the numbers."""
    height, width = image.shape[:2]
    size = (max(round(width / cell_px), 2), max(round(height / cell_px), 2))
    return np.asarray(
        cv2.resize(
            cv2.resize(image, size, interpolation=cv2.INTER_AREA), (width, height), interpolation=cv2.INTER_LINEAR
        ),
        dtype=np.uint8,
    )


def _figure(image: Image, empty: Image, body: Body) -> Mask:
    """Limbs and trunk where the picture differs from the empty scene."""
    mask = np.zeros(image.shape[:2], np.uint8)
    for side in ("left", "right"):
        for near, far, half_m in LIMBS:
            _line(mask, body, f"{side}_{near}", f"{side}_{far}", half_m)
        _line(mask, body, f"{side}_shoulder", f"{side}_hip", TRUNK_M)
    changed: Bools = np.asarray(np.abs(image.astype(np.int16) - empty).max(axis=2) > LEAST_CHANGE)
    reach = max(int(0.04 * body.metre_px), 1)
    grown = cv2.dilate(changed.astype(np.uint8), np.ones((2 * reach + 1, 2 * reach + 1), np.uint8))
    return np.asarray(mask * grown, dtype=np.uint8)


def _line(mask: Mask, body: Body, start: str, end: str, half_m: float) -> None:
    ends = body.joints_px[[INDEX[start], INDEX[end]]]
    if np.isfinite(ends).all() and np.abs(ends).max() < 20_000:
        (x0, y0), (x1, y1) = ends.round().astype(int).tolist()
        cv2.line(mask, (x0, y0), (x1, y1), 255, max(round(2.0 * half_m * body.metre_px), 2))
