"""From draws to a value with its expanded uncertainty."""

from __future__ import annotations

import numpy as np

from penult.model.arrays import Floats
from penult.model.measured import Measure, Measured, NotMeasured

LEAST_SHARE = 0.75
"""A value that more than a quarter of the draws cannot give depends on luck: it is not measured. Of those
that are left the SD is known to 5 %."""


def to_measure(draws: Floats, reason: str, *, by_hand: bool = False) -> Measure:
    """Value and u95 (k = 2, JCGM 100:2008, 6.2) from draws (s,), the first of them the measured value.

    Parameters
    ----------
    draws : (s,) float64
        NaN first: not measured.
    reason : str
        Said when there is no value.
    by_hand : bool
        The value rests on a person's correction.

    Returns
    -------
    Measure
        `Measured`, or `NotMeasured` with the reason.
    """
    if not np.isfinite(draws[0]):
        return NotMeasured(reason=reason)
    spread = draws[1:][np.isfinite(draws[1:])]
    if len(spread) < LEAST_SHARE * (len(draws) - 1):
        return NotMeasured(reason=reason)
    return Measured(value=float(draws[0]), u95=2.0 * float(spread.std(ddof=1)), by_hand=by_hand)
