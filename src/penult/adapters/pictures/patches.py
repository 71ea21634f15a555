"""Pictures of a foot's surroundings, made square in metres (OpenCV remap)."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from penult.core.lane.camera import project
from penult.model.arrays import Floats, Image
from penult.model.calibration import Camera
from penult.model.clip import Frame
from penult.model.shoe import RoughContact, ShoePatches

FINEST_M = 0.004
"""Finest pixel of a patch: finer than any phone sees a runway from the side at 1080 lines (5 to 9 mm)."""

BEHIND_M, AHEAD_M, BELOW_M, ABOVE_M = 0.50, 0.25, 0.08, 0.30
"""Reach of a patch about the rough toe: a shoe of 0.33 m, the rough place off by 4 cm, and what the shoe covers."""

AROUND_S = 0.09
"""Time before and after the rough contact: 25 ms that it may be off, 30 ms in which the shoe comes and goes, and
pictures without the shoe."""


Reach = tuple[float, float, float, float, float]
"""x0, x1, y0, y1 of an upright rectangle along the run, and its depth z; metres."""


def rectify(image: Image, camera: Camera, x_m: Floats, y_m: Floats, z_m: float) -> NDArray[np.uint8]:
    """Return the picture on the vertical plane z = `z_m`.

    Parameters
    ----------
    image : (height, width, 3) uint8
        RGB, upright.
    camera : Camera
        Of this very frame.
    x_m, y_m : (w,), (h,) float64
        Place of each column and height of each row of the patch.
    z_m : float
        Depth of the plane.

    Returns
    -------
    (h, w, 3) uint8
        Bilinear; the border pixel is repeated outside the picture.
    """
    return _remap(image, _map_px(camera, x_m, y_m, z_m))


class PatchCollector:
    """Gathers the small patches of every rough contact while frames pass by once; no frame is kept.

    Parameters
    ----------
    contacts : sequence of RoughContact
        In any order.
    """

    def __init__(self, contacts: Sequence[RoughContact]) -> None:
        self._open = [_Pile(contact=contact) for contact in contacts]

    def wants(self, time_s: float) -> bool:
        """Whether any contact needs the frame of this time (a reader may skip the others)."""
        return any(pile.wants(time_s) for pile in self._open)

    def places_m(self, time_s: float) -> Floats:
        """Return the rims (n, 3) of what is cut out of the frame of this time."""
        return rims_m([pile.reach_m() for pile in self._open if pile.wants(time_s)])

    def add(self, frame: Frame, camera: Camera) -> None:
        """Cut the patches that this frame contributes to."""
        for pile in self._open:
            if pile.wants(frame.time_s):
                pile.add(frame, camera)

    def patches(self) -> tuple[ShoePatches, ...]:
        """Return the patches of each contact, in the order in which the contacts were given."""
        return tuple(pile.patches() for pile in self._open)


@dataclass(slots=True)
class _Pile:
    """The patches of one contact, and the map of the camera last used (a still camera needs one only)."""

    contact: RoughContact
    times_s: list[float] = field(default_factory=list)
    images: list[NDArray[np.uint8]] = field(default_factory=list)
    x_m: Floats = field(default_factory=lambda: np.empty(0))
    y_m: Floats = field(default_factory=lambda: np.empty(0))
    slopes: tuple[float, float] = (0.0, 0.0)
    camera: Camera | None = None
    map_px: NDArray[np.float32] = field(default_factory=lambda: np.empty((0, 0, 2), dtype=np.float32))

    def wants(self, time_s: float) -> bool:
        return self.contact.start_s - AROUND_S <= time_s <= self.contact.end_s + AROUND_S

    def reach_m(self) -> Reach:
        at = self.contact
        low, high = min(at.y_m, 0.0) - BELOW_M, max(at.y_m, 0.0) + ABOVE_M
        return at.toe_x_m - BEHIND_M, at.toe_x_m + AHEAD_M, low, high, at.z_m

    def add(self, frame: Frame, camera: Camera) -> None:
        if not len(self.x_m):
            self.x_m, self.y_m, self.slopes = _grid(camera, self.contact, self.reach_m())
        if camera is not self.camera:
            self.camera = camera
            self.map_px = _map_px(camera, self.x_m, self.y_m, self.contact.z_m)
        self.times_s.append(frame.time_s)
        corner_px = np.array(frame.corner_px, dtype=np.float32)
        self.images.append(_remap(frame.image, self.map_px - corner_px if corner_px.any() else self.map_px))

    def patches(self) -> ShoePatches:
        size = (0, len(self.y_m), len(self.x_m), 3)
        return ShoePatches(
            time_s=np.array(self.times_s),
            images=np.stack(self.images) if self.images else np.empty(size, dtype=np.uint8),
            x_m=self.x_m,
            y_m=self.y_m,
            z_m=self.contact.z_m,
            slope_x=self.slopes[0],
            slope_y=self.slopes[1],
        )


def rims_m(reaches: Sequence[Reach]) -> Floats:
    """Return places (n, 3) on the rims of upright rectangles, so close that no lens bends what lies between them far out."""
    share = np.linspace(0.0, 1.0, 5)
    places = []
    for x0, x1, y0, y1, z in reaches:
        x, y = x0 + share * (x1 - x0), y0 + share * (y1 - y0)
        places += [np.stack(np.broadcast_arrays(*side, z), axis=-1) for side in ((x, y0), (x, y1), (x0, y), (x1, y))]
    return np.concatenate(places) if places else np.empty((0, 3))


def _grid(camera: Camera, contact: RoughContact, reach_m: Reach) -> tuple[Floats, Floats, tuple[float, float]]:
    """Columns, rows and obliqueness of a contact's patches, at the film's own resolution or FINEST_M."""
    at = np.array([contact.toe_x_m, 0.0, contact.z_m])
    step = 0.01
    px = project(camera, at + step * np.vstack([np.zeros(3), np.eye(3)]))
    along, up, away = ((px[i] - px[0]) / step for i in (1, 2, 3))  # pixels per metre
    slopes = np.linalg.solve(np.column_stack([along, up]), away)
    pixel_m = max(FINEST_M, 1.0 / float(np.hypot(*along)))
    x0, x1, y0, y1, _ = reach_m
    x_m, y_m = np.arange(x0, x1, pixel_m), np.arange(y1, y0, -pixel_m)
    return x_m, y_m, (float(slopes[0]), float(slopes[1]))


def _map_px(camera: Camera, x_m: Floats, y_m: Floats, z_m: float) -> NDArray[np.float32]:
    """Pixel (h, w, 2) at which every point of the patch lies in the picture."""
    grid = np.stack([*np.meshgrid(x_m, y_m), np.full((len(y_m), len(x_m)), z_m)], axis=-1)
    return np.asarray(project(camera, grid), dtype=np.float32)


def _remap(image: Image, map_px: NDArray[np.float32]) -> NDArray[np.uint8]:
    import cv2  # heavy: only when pictures are cut

    cut = cv2.remap(image, map_px[..., 0], map_px[..., 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    return np.asarray(cut, dtype=np.uint8)
