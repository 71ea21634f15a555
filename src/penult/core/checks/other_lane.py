"""Whether the runner is on the calibrated runway at all: feet cannot stand below it, nor above it at every step.

Somebody who runs nearer to the camera than the calibrated lane is seen too large and too low, farther away too small and too
high. In pixels alone a shadow is as low, so it is the standing feet that are asked.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from penult.core.joints.supports import Support
from penult.core.uncertainty.draws import Draws
from penult.errors import NoAthleteError
from penult.model.arrays import Floats
from penult.model.skeleton import joint

LOWEST_M, HIGHEST_M = -0.04, 0.08
"""Height of a standing toe, on the calibrated lane: on twelve films with known truth the median of a clip lies 1.6 to 3.0 cm
above the runway, on mats higher; 1.3 m nearer to a camera at 12 m and 1.2 m height, 12 cm below, and 14 cm above as far
behind. Mats lie under a step or two, so that the lowest of all supports is a foot on the runway."""

OTHER_LANE = "the runner is not on the calibrated lane"

LEAST_SUPPORTS = 3
"""Fewer may all be on mats, or have a toe misplaced."""


def refuse_other_lane(draws: Draws, supports: Sequence[Support], time_s: Floats, *, has_mats: bool = False) -> None:
    """Refuse a run whose feet stand below the runway beyond doubt, or all above it: in another lane every length is wrong.

    Parameters
    ----------
    draws : Draws
        Joints (s, t, k, 2), metres, first row measured; camera, depth and joint bias are in their spread.
    supports : sequence of Support
        On the clock of `time_s`.
    time_s : (t,) float64
        Of the draws' rows.
    has_mats : bool
        The coach said that mats lie there: they may lie under every contact.

    Raises
    ------
    NoAthleteError
        If the median over the supports lies below LOWEST_M, or the lowest of them above HIGHEST_M, by more than its expanded
        uncertainty.
    """
    found = [_height_m(draws, support, time_s) for support in supports]
    known = [height_m for height_m in found if np.isfinite(height_m).all()]
    if len(known) < LEAST_SUPPORTS:
        return
    heights_m = np.stack(known)
    middle_m, lowest_m = np.median(heights_m, axis=0), heights_m.min(axis=0)
    if middle_m[0] + 2.0 * float(np.std(middle_m[1:])) < LOWEST_M:
        raise NoAthleteError(
            OTHER_LANE,
            f"the feet stand {-100.0 * middle_m[0]:.0f} cm below its surface, as those of somebody nearer to the camera",
            next_step="choose another run with --run or --at, or calibrate the lane in which this one takes place",
        )
    if not has_mats and lowest_m[0] - 2.0 * float(np.std(lowest_m[1:])) > HIGHEST_M:
        raise NoAthleteError(
            OTHER_LANE,
            f"every foot stands {100.0 * lowest_m[0]:.0f} cm or more above its surface, as those of somebody farther away",
            next_step="choose another run with --run or --at, or calibrate the lane in which this one takes place; if mats lie "
            "under every step, say so with --mat",
        )


def _height_m(draws: Draws, support: Support, time_s: Floats) -> Floats:
    """Height of the toe (s,) over the middle half of a support, NaN where it is not seen."""
    quarter_s = (support.end_s - support.start_s) / 4.0
    rows = np.flatnonzero((time_s >= support.start_s + quarter_s) & (time_s <= support.end_s - quarter_s))
    toe_m = draws.xy_m[:, rows, joint(support.foot, "toe"), 1]
    seen = np.isfinite(toe_m).all(axis=0)
    return np.median(toe_m[:, seen], axis=1) if seen.any() else np.full(len(toe_m), np.nan)
