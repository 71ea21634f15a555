"""The athlete and the runway as lines on a picture, the same in stills and film.

A `View` maps pixels of the clip's picture to pixels of the picture drawn on (a crop, enlarged, or the whole, reduced).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from penult.core.lane.camera import project
from penult.model.analysis import Analysis, Foot
from penult.model.arrays import Floats
from penult.model.calibration import Camera
from penult.model.skeleton import INDEX, joint
from penult.model.track import Motion
from penult.outputs.drawing.measures import ARM, DRAWINGS, LEG, LEG_JOINTS
from penult.outputs.drawing.shapes import VALUE, Known, points_m
from penult.outputs.pictures import ink
from penult.outputs.texts import drops

_ARMS = tuple((f"{side}_{a}", f"{side}_{b}") for side in ("left", "right") for a, b in ARM)


@dataclass(frozen=True, slots=True, kw_only=True)
class View:
    """Where the drawn picture lies in the clip's picture.

    Parameters
    ----------
    origin_px : (float, float)
        Clip pixel at the drawn picture's top left pixel.
    scale : float
        Drawn pixels per clip pixel.
    size_px : (int, int)
        Width and height of the drawn picture.
    """

    origin_px: tuple[float, float]
    scale: float
    size_px: tuple[int, int]

    def box_px(self) -> Floats:
        """Return the part of the clip's picture that is shown: x0, y0, x1, y1."""
        low = np.array(self.origin_px)
        return np.concatenate([low, low + np.array(self.size_px) / self.scale])

    def of(self, clip_px: Floats) -> Floats:
        """Return clip pixels (..., 2) as drawn pixels."""
        return np.asarray((clip_px - np.array(self.origin_px)) * self.scale)

    def project(self, camera: Camera, xyz_m: Floats) -> Floats:
        """Return runway places (..., 3) as drawn pixels."""
        return self.of(project(camera, xyz_m))


def on_plane(xy_m: Floats, z_m: float = 0.0) -> Floats:
    """Return places (n, 3) from x and height (n, 2) at one depth."""
    xy_m = np.atleast_2d(xy_m)
    return np.concatenate([xy_m, np.full((len(xy_m), 1), z_m)], axis=1)


def draw_athlete(image: ink.Picture, joints_px: Floats, leg: Foot | None, *, width: float) -> None:
    """Draw the skeleton: supporting leg thick and whole, other leg thinner and dashed, trunk and arms grey.

    Parameters
    ----------
    image : (h, w, 3) uint8 or Planes
        Changed in place.
    joints_px : (k, 2) float64
        Drawn pixels in the order of `skeleton.JOINTS`.
    leg : {'left', 'right'}, optional
        The leg in question; None draws both as the other leg.
    width : float
        Of the supporting leg's lines.
    """
    thin = max(1.0, 0.6 * width)
    ink.stroke(
        image, _bones([(joints_px[INDEX[a]], joints_px[INDEX[b]]) for a, b in _ARMS]), ink.BODY, thin, outline=ink.WHITE
    )
    hips, shoulders = (_middle(joints_px, name) for name in ("hip", "shoulder"))
    trunk = np.stack([hips, shoulders, joints_px[INDEX["head"]]])
    ink.stroke(image, trunk, ink.BODY, width, outline=ink.WHITE)
    sides: tuple[Foot, ...] = ("left", "right")
    for side in sorted(sides, key=lambda s: s == leg):  # the leg in question lies on top
        colour = ink.SUPPORT if side == leg else ink.OTHER
        dash = None if side == leg else (3.0 * width, 1.5 * width)
        bones = _bones([(joints_px[joint(side, a)], joints_px[joint(side, b)]) for a, b in LEG])
        ink.stroke(image, bones, ink.WHITE, width + 2.0 if side == leg else thin + 2.0)
        ink.stroke(image, bones, colour, width if side == leg else thin + 1.0, dash=dash)
        for name in LEG_JOINTS:
            ink.ring(image, joints_px[joint(side, name)], 0.7 * width + min(2.0, width), colour)


def _bones(ends: Sequence[tuple[Floats, Floats]]) -> Floats:
    """Return lines one after the other, a NaN between two: what `ink.stroke` draws in one go."""
    gap = np.full(2, np.nan)
    return np.array([point for start, end in ends for point in (start, end, gap)])


def draw_hip_path(image: ink.Picture, view: View, camera: Camera, hip_m: Floats, *, width: float) -> None:
    """Draw the mid-hip's path: black with a white edge, so that it reads on light and dark."""
    path = hip_m[np.isfinite(hip_m).all(axis=1)]
    if len(path) > 1:
        ink.stroke(image, view.project(camera, on_plane(path)), ink.BLACK, width, outline=ink.WHITE)


def draw_ground(
    image: ink.Picture, view: View, camera: Camera, x_range_m: tuple[float, float], *, text_px: int, has_line: bool
) -> None:
    """Draw the runway's surface on the lane's centre line, with a tick and its distance at every metre.

    The take-off line is drawn as a thick bar; distances are those to it. Without one they are those to the first mark.
    """
    x_m = np.linspace(*x_range_m, 60)
    ink.stroke(image, view.project(camera, on_plane(np.stack([x_m, 0 * x_m], 1))), ink.RUNWAY, 3.0, outline=ink.WHITE)
    metres = np.arange(np.ceil(x_range_m[0]), np.floor(x_range_m[1]) + 1.0)
    places = view.project(camera, on_plane(np.stack([metres, 0 * metres], 1))) if len(metres) else ()
    for whole, at in zip(metres.astype(int).tolist(), places, strict=True):
        if not np.isfinite(at).all():
            continue
        is_line = has_line and not whole
        long = 22.0 if is_line else 14.0
        tick = np.array([at, at + np.array([0.0, long])])
        ink.stroke(image, tick, ink.BLACK if is_line else ink.RUNWAY, 6.0 if is_line else 3.0, outline=ink.WHITE)
        label = "line" if is_line else f"{whole} m".replace("-", "−")
        _under(image, label, at + np.array([0.0, long + 2.0]), text_px)


def draw_mat_at(
    image: ink.Picture, view: View, camera: Camera, toe_x_m: float, thickness_m: float, *, width: float = 3.0
) -> Floats:
    """Draw the height of a mat as a bracket just ahead of the toe, from the runway up to its surface.

    How far the mat reaches along the runway is not known, so no more of it is drawn. Returns the bracket's top corner.
    """
    toe = np.array([toe_x_m, 0.0, 0.0])
    (bracket,) = DRAWINGS["mat"]
    corners_m = points_m(bracket, Known(place_m=lambda _: toe, values={VALUE: thickness_m}))
    assert corners_m is not None, "a mat's bracket needs the toe and the thickness alone"
    line = view.project(camera, corners_m)
    ink.stroke(image, line, ink.MAT, width, outline=ink.WHITE)
    return np.asarray(line[2])


def mats_of(analysis: Analysis) -> dict[int, float]:
    """Return the thickness of the mat under each contact that has one, as measured where that contradicts what was said."""
    return drops.laid(analysis)


def joints_px(motion: Motion, row: int, view: View) -> Floats:
    """Return the joints of a row in drawn pixels, (k, 2)."""
    return view.of(motion.pixels.xy_px[row])


def _middle(joints: Floats, name: str) -> Floats:
    return np.asarray((joints[joint("left", name)] + joints[joint("right", name)]) / 2.0)


def _under(image: ink.Picture, label: str, top_px: Floats, size: int) -> None:
    width, height = ink.text_size(label, size)
    x, y = float(top_px[0]) - width / 2.0, float(top_px[1])
    ink.plate(image, (x - 3, y, x + width + 3, y + height), ink.WHITE, 0.7)
    ink.write(image, label, (x, y), size, ink.BLACK)
