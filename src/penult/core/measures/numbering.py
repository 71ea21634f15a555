"""Which contact is the take-off, and the numbers of all contacts counted back from it."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

TAKEOFF_RISE_M_PER_S = 1.3
"""Upward speed of the mass centre after toe-off that no running step has: a running flight of 0.12 to 0.15 s leaves at 0.6 to
0.75 m/s (closed form g t / 2), the flattest take-off published for juniors (14 deg at 6.5 m/s) at 1.6 m/s."""


def takeoff_index(rise_m_per_s: Sequence[float], toe_x_m: Sequence[float], board: bool) -> int | None:
    """Index of the take-off contact, or None in a run-through.

    Parameters
    ----------
    rise_m_per_s : sequence of float
        Upward speed of the mass centre after each contact; NaN where it could not be fitted.
    toe_x_m : sequence of float
        Place of each contact.
    board : bool
        Whether x = 0 is the take-off line.
    """
    leaps = [i for i, rise in enumerate(rise_m_per_s) if np.isfinite(rise) and rise > TAKEOFF_RISE_M_PER_S]
    if not leaps:
        return None
    if board:  # of several leaps (bounds, triple jump) the one nearest the line is the take-off
        return min(leaps, key=lambda i: abs(toe_x_m[i]))
    return leaps[0]


def reference_index(
    takeoff: int | None, toe_x_m: Sequence[float], wholly_seen: Sequence[bool], board: bool
) -> int | None:
    """Index of contact 0: the take-off, else the last contact before the line, else the last one wholly seen."""
    if takeoff is not None:
        return takeoff
    fits = [x <= 0.0 for x in toe_x_m] if board else list(wholly_seen)
    before = [i for i, fit in enumerate(fits) if fit]
    return before[-1] if before else None
