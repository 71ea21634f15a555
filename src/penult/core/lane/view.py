"""Whether the athlete stands upright and large enough in the picture. Pure."""

from __future__ import annotations

import numpy as np

from penult.core.lane.camera import metres_per_px, project
from penult.errors import ViewError
from penult.model.analysis import Notice
from penult.model.arrays import Floats
from penult.model.calibration import Camera

BODY_M = 1.75
SMALLEST_PX = 80.0
"""Height of an athlete in the picture below which contacts were misread in films with known truth made smaller step by step
(right at 104, 78 and 63 pixels, wrong at 52; real pictures are harder than rendered ones)."""

SMALL_PX = 150.0

MOST_LEAN_DEG = 45.0


def athlete_height_px(camera: Camera, x_m: Floats, height_m: float | None) -> float:
    """Return how tall a standing athlete is in the picture in the middle of the lane's bins `x_m` (w,)."""
    return (height_m or BODY_M) / float(metres_per_px(camera, float(np.median(x_m)), 1.0))


def check_picture(camera: Camera, x_m: Floats, height_m: float | None) -> tuple[Notice, ...]:
    """Return a warning where the athlete is small.

    Raises
    ------
    ViewError
        If the athlete is too small in it.
    """
    tall_px = athlete_height_px(camera, x_m, height_m)
    if tall_px < SMALLEST_PX:
        raise ViewError(
            "the athlete is too small in the picture",
            f"they stand {tall_px:.0f} pixels tall; {SMALLEST_PX:.0f} are the least, 200 and more are good",
            next_step="film from nearer, zoom in, or choose a higher resolution on the phone",
        )
    if tall_px >= SMALL_PX:
        return ()
    text = f"The athlete stands only {tall_px:.0f} pixels tall in the picture; lengths and angles lose accuracy."
    return (Notice(code="athlete-small", text=text),)


def check_upright(camera: Camera, x_m: float) -> None:
    """Refuse a picture in which people on the runway at `x_m` do not stand upright, as the lane file has it.

    Raises
    ------
    ViewError
        With the lean. A phone that lost its turn flag makes such clips; joints are found in people who stand upright.
    """
    feet, head = project(camera, np.array([[x_m, 0.0, 0.0], [x_m, BODY_M, 0.0]]))
    across, up = head[0] - feet[0], feet[1] - head[1]
    lean_deg = float(np.degrees(np.arctan2(across, up)))
    if abs(lean_deg) <= MOST_LEAN_DEG:
        return
    turn = "upside down" if abs(lean_deg) > 135.0 else "on its side"
    raise ViewError(
        f"the picture lies {turn}",
        f"a person on the runway leans by {abs(lean_deg):.0f} degrees to the {'right' if lean_deg > 0 else 'left'} in it",
        next_step="turn the clip upright (the phone's gallery can) and calibrate from a picture of the turned clip",
    )
