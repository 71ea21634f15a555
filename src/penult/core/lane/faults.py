"""What a set of marks can be at fault for before any camera is fitted to it."""

from __future__ import annotations

from itertools import combinations

import numpy as np

from penult.errors import CalibrationError
from penult.model.arrays import Floats
from penult.model.calibration import LaneFile, Mark

LEAST_MARKS = 4
_SAME_PLACE_M = 0.005
_SAME_PIXEL_PX = 0.5
_LINE_SHARE = 0.01
_LINE_LEAST_M = 0.05
_LINE_LEAST_PX = 4.0
_MOST_NAMED = 4


def check_marks(lane: LaneFile) -> None:
    """Refuse marks that cannot give a camera.

    Raises
    ------
    CalibrationError
        Lists every fault: too few marks, the same mark twice, outside the picture, all in one line.
    """
    outside, wrong, few = _outside(lane), [*_twice(lane.marks), *_lens(lane)], _few(lane.marks)
    if outside:
        raise CalibrationError(
            "the marks do not fit the picture",
            *outside,
            *wrong,
            *few,
            next_step="give the picture in which the pixels were read, in its own size, or correct these pixels",
        )
    if wrong:
        raise CalibrationError(
            "these marks cannot be right as they are",
            *wrong,
            *few,
            next_step="correct or remove what is named here",
        )
    if faults := few or _in_line(lane):
        raise CalibrationError(
            "the marks cannot calibrate a camera",
            *faults,
            next_step="mark points at two heights or two depths, spread over the picture (calibration/README.md)",
        )


def _few(marks: tuple[Mark, ...]) -> list[str]:
    if len(marks) >= LEAST_MARKS:
        return []
    count = f"{len(marks)} mark{'' if len(marks) == 1 else 's'}"
    return [f"{count}; at least {LEAST_MARKS} are needed, better 8 or more"]


def _outside(lane: LaneFile) -> list[str]:
    width_px, height_px = lane.image_size_px
    outside = [m for m in lane.marks if not (-1.0 <= m.pixel_px[0] <= width_px and -1.0 <= m.pixel_px[1] <= height_px)]
    faults = [
        f"mark {m.name!r}: pixel {m.pixel_px[0]:g}, {m.pixel_px[1]:g} lies outside the {width_px} x {height_px} picture"
        for m in outside[:_MOST_NAMED]
    ]
    if len(outside) > _MOST_NAMED:
        faults.append(f"and {len(outside) - _MOST_NAMED} more of the {len(lane.marks)} marks")
    return faults


def _twice(marks: tuple[Mark, ...]) -> list[str]:
    faults = []
    for a, b in combinations(marks, 2):
        pair = f"marks {a.name!r} and {b.name!r}"
        if np.linalg.norm(np.subtract(a.runway_m, b.runway_m)) < _SAME_PLACE_M:
            faults.append(f"{pair}: the same place on the runway twice; keep one, or correct the place of the other")
        elif np.linalg.norm(np.subtract(a.pixel_px, b.pixel_px)) < _SAME_PIXEL_PX:
            faults.append(f"{pair}: the same pixel for two places; one of them was not clicked")
        elif a.name == b.name:
            faults.append(f"two marks are called {a.name!r}; give each its own name")
    return faults


def _lens(lane: LaneFile) -> list[str]:
    lens = lane.lens
    if lens is None or 0.98 < lens.fx_px / lens.fy_px < 1.02:
        return []
    return [f"lens: fx_px {lens.fx_px:g} and fy_px {lens.fy_px:g} differ by more than 2 %; pixels must be square"]


def _in_line(lane: LaneFile) -> list[str]:
    places = np.array([m.runway_m for m in lane.marks], dtype=np.float64)
    length_m, width_m = _extent(places)
    if width_m < max(_LINE_SHARE * length_m, _LINE_LEAST_M):
        names = ", ".join(repr(m.name) for m in lane.marks)
        return [f"all marks stand in one line ({names}); add marks at another height or depth"]
    if _extent(np.array([m.pixel_px for m in lane.marks], dtype=np.float64))[1] < _LINE_LEAST_PX:
        return ["all marks lie in one line in the picture; raise the camera, or mark points at another height"]
    off_line = _leave_one_line(places, max(_LINE_SHARE * length_m, _LINE_LEAST_M))
    if off_line is not None:
        return [f"all marks but {lane.marks[off_line].name!r} stand in one line; add a mark beside or above that line"]
    return []


def _extent(points: Floats) -> tuple[float, float]:
    """Return the RMS spread times two along the longest and the second axis of a cloud of points."""
    values = np.linalg.svd(points - points.mean(axis=0), compute_uv=False) / np.sqrt(len(points))
    return 2.0 * float(values[0]), 2.0 * float(values[1])


def _leave_one_line(places: Floats, least_m: float) -> int | None:
    """Return the one mark without which the others stand in a line, if there is one."""
    for i in range(len(places)):
        if _extent(np.delete(places, i, axis=0))[1] < least_m:
            return i
    return None
