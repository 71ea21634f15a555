"""Seen markers and where they stand -> marks. Pure.

Printing, exposure and blur let the black of a marker grow or shrink in the picture by a fraction of a pixel all round,
and a printer may scale the sheet. The middles of the markers are not touched by that, so their distances give the
scale, and the growth is found beside the camera and taken off.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from penult.core.lane import pinhole
from penult.core.lane.fit import fit_lane
from penult.core.lane.problem import metres_per_px
from penult.errors import CalibrationError
from penult.model.arrays import Floats
from penult.model.calibration import LaneFile, LaneFit, Mark
from penult.model.marker import MarkerPlace, SeenMarker

CORNERS = ("top left", "top right", "bottom right", "bottom left")
CORNER_SD_PX = 0.1
PLACE_SD_M = 0.005
"""How well a coach measures where a marker stands with a tape and a folding rule."""
_GROWTH_ROUNDS = 4
_WRONG_SIZE_SHARE = 0.02
_WRONG_SIZE_PX = 0.6


@dataclass(frozen=True, slots=True, kw_only=True)
class MarkerFit:
    """A lane made from markers: its file content and fit, and by how much the markers look larger than typed (share)."""

    fit: LaneFit
    larger_share: float
    sizes_doubted: bool


def marks_of(
    seen: Mapping[int, SeenMarker], places: Sequence[MarkerPlace], run_is_left_to_right: bool | None = None
) -> tuple[Mark, ...]:
    """Return a mark for each corner of each marker that was seen and whose place is known.

    Parameters
    ----------
    seen : mapping of int to SeenMarker
    places : sequence of MarkerPlace
    run_is_left_to_right : bool, optional
        In the picture; else told from the markers themselves, which needs two at different x.

    Raises
    ------
    CalibrationError
        If no marker was seen, a place is given twice, or the run's direction cannot be told.
    """
    _check_places(seen, places)
    used = [p for p in places if p.number in seen]
    way = _way(seen, used) if run_is_left_to_right is None else (1.0 if run_is_left_to_right else -1.0)
    marks = []
    for place in used:
        corners = seen[place.number].corners_px
        for name, pixel, runway_m in zip(CORNERS, corners, _corners_m(place, way), strict=True):
            marks.append(
                Mark(
                    name=f"marker {place.number} {name}",
                    pixel_px=(float(pixel[0]), float(pixel[1])),
                    runway_m=(float(runway_m[0]), float(runway_m[1]), float(runway_m[2])),
                )
            )
    return tuple(marks)


def _check_places(seen: Mapping[int, SeenMarker], places: Sequence[MarkerPlace]) -> None:
    numbers = [p.number for p in places]
    twice = sorted({n for n in numbers if numbers.count(n) > 1})
    if twice:
        raise CalibrationError(
            f"the place of marker {', '.join(map(str, twice))} is given twice", next_step="give each marker one place"
        )
    missing = [n for n in numbers if n not in seen]
    if not seen:
        raise CalibrationError(
            "no marker is found in the picture",
            "wanted: " + ", ".join(f"marker {n}" for n in numbers),
            next_step="film closer or print larger, flat and evenly lit, the white edge whole; or click marks: --pick",
        )
    if len(missing) == len(numbers):
        raise CalibrationError(
            "none of the markers whose place was given is in the picture",
            f"seen: {', '.join(map(str, sorted(seen)))}; given: {', '.join(map(str, numbers))}",
            next_step="check the numbers; they are printed beside the markers",
        )


def _way(seen: Mapping[int, SeenMarker], used: Sequence[MarkerPlace]) -> float:
    """Return 1 if x grows to the right in the picture, -1 if to the left."""
    x_m = np.array([p.centre_m[0] for p in used])
    x_px = np.array([seen[p.number].corners_px[:, 0].mean() for p in used])
    if np.ptp(x_m) < 0.2:
        raise CalibrationError(
            "the direction of the run cannot be told from these markers",
            "they all stand at the same distance from the board",
            next_step="set one more marker at another distance from the board",
        )
    return float(np.sign(np.polyfit(x_m, x_px, 1)[0]))


def _corners_m(place: MarkerPlace, way: float) -> Floats:
    """Return the four corners (4, 3) as seen: top left, top right, bottom right, bottom left."""
    half = place.side_m / 2.0
    across = np.array([-half, half, half, -half]) * way
    up = np.array([half, half, -half, -half])
    corners = np.tile(np.array(place.centre_m), (4, 1))
    corners[:, 0] += across
    # from the athlete's right (way 1) the far edge of a flat marker has the smaller z
    corners[:, 2 if place.is_flat else 1] += -way * up if place.is_flat else up
    return corners


def fit_markers(lane: LaneFile) -> MarkerFit:
    """Return the fit of a lane whose marks are marker corners, with the growth of their black squares taken off.

    Raises
    ------
    CalibrationError
        As `fit_lane`.
    """
    numbers = {m.name.rsplit(" ", 2)[0] for m in lane.marks}
    fit = fit_lane(lane)
    if len(numbers) < 2:
        return MarkerFit(fit=fit, larger_share=0.0, sizes_doubted=False)
    outward, side_px = _outward(lane.marks)
    total_px = 0.0
    for _ in range(_GROWTH_ROUNDS):
        growth_px = _growth_px(fit, outward)
        total_px += growth_px
        marks = [_shrunk(m, direction, growth_px) for m, direction in zip(fit.lane.marks, outward, strict=True)]
        fit = fit_lane(replace(fit.lane, marks=tuple(marks)))
        if abs(growth_px) < 0.003:
            break
    share = np.sqrt(2.0) * total_px / side_px
    doubted = abs(share) > _WRONG_SIZE_SHARE and abs(total_px) > _WRONG_SIZE_PX
    return MarkerFit(fit=fit, larger_share=float(share), sizes_doubted=bool(doubted))


def _outward(marks: Sequence[Mark]) -> tuple[Floats, float]:
    """Return each corner's unit direction away from its marker's middle (n, 2), and the mean side in pixels."""
    pixels = np.array([m.pixel_px for m in marks]).reshape(-1, 4, 2)
    away = pixels - pixels.mean(axis=1, keepdims=True)
    length = np.linalg.norm(away, axis=2, keepdims=True)
    return (away / length).reshape(-1, 2), float(np.sqrt(2.0) * length.mean())


def _growth_px(fit: LaneFit, outward: Floats) -> float:
    """Return by how much corners lie outside their places in the picture, over the markers that agree."""
    camera = fit.camera
    places = np.array([m.runway_m for m in fit.lane.marks])
    off = np.array([m.pixel_px for m in fit.lane.marks]) - pinhole.clamped_px(
        camera.parameters, camera.centre_px, places
    )
    agrees = np.array([not r.disagrees for r in fit.residuals])
    return float(((off * outward).sum(axis=1))[agrees].mean())


def _shrunk(mark: Mark, outward: Floats, by_px: float) -> Mark:
    x, y = np.array(mark.pixel_px) - by_px * outward
    return replace(mark, pixel_px=(float(x), float(y)))


def pixel_sd_px(fit: LaneFit, place_sd_m: float = PLACE_SD_M) -> float:
    """Return the pixel SD of marker corners: finding them, and measuring where the markers stand."""
    scale = np.mean([metres_per_px(fit.camera.parameters, np.array(m.runway_m)) for m in fit.lane.marks])
    return float(np.hypot(CORNER_SD_PX, place_sd_m / scale))
