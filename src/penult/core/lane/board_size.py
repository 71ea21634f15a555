"""The take-off board as the lane file says it, against that of the rules: yards, or a stretched tape, show. Pure."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from penult.model.calibration import Mark

BOARD_M = (0.20, 1.22)
"""Along the run and across it (World Athletics, Technical Rules, take-off board: 20 cm +- 2 mm by 1.22 m +- 1 cm; from memory)."""

NOTICED_SHARE = 0.02
"""A board across the runway is 1 cm longer or shorter by the rules, and marks are typed to the centimetre: 1.6 % together."""

ALIKE_SHARE = 0.03
"""Both sizes of a wrong scale are wrong alike; 0.20 m typed to the centimetre is known to 2.5 %. Home-made boards differ in one."""

MOST_SHARE = 0.5


def board_share(marks: Sequence[Mark]) -> float | None:
    """Return how many times too large the lane file says the board is, in both directions alike; None where nothing is odd.

    Parameters
    ----------
    marks : sequence of Mark
        Those with 'board' in their names are its corners; all four sides must be there.
    """
    places = np.array([m.runway_m for m in marks if "board" in m.name.lower()], dtype=np.float64).reshape(-1, 3)
    if len(places) < 3:
        return None
    along, across = np.ptp(places[:, 0]) / BOARD_M[0], np.ptp(places[:, 2]) / BOARD_M[1]
    is_odd = NOTICED_SHARE < abs(across - 1.0) < MOST_SHARE
    alike = abs(along / across - 1.0) <= ALIKE_SHARE and abs(along - 1.0) > 0.5 * abs(across - 1.0)
    return float(across) if is_odd and alike else None
