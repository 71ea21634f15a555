"""Which frame rates cameras film and play at, and whether a stated one can belong to a clip's frame times. Pure."""

from __future__ import annotations

import numpy as np

USUAL_RATES_HZ = (
    24.0,
    25.0,
    30.0,
    48.0,
    50.0,
    60.0,
    90.0,
    100.0,
    120.0,
    200.0,
    240.0,
    300.0,
    400.0,
    480.0,
    960.0,
    1000.0,
)
"""Rates of phones and cameras (makers' menus, common practice, no source). Editors that stretch a clip leave others: 240
retimed from 24 to 25 is 250."""

PLAYED_HZ = 61.0
"""Slow motion is written at a rate that screens play: 24 to 60."""

SAME_RATE = 0.015
"""Share by which a rate may miss a usual one: 23.976 for 24 (0.1 %), phones that film at 237 to 242 for 240 (1.2 %); 24 and
25 are 4 % apart."""

RATIOS = (2.0, 4.0, 8.0, 0.5, 0.25, 0.125)
"""Of capture rates that one phone offers; a coach who says the wrong one of them is told so by fall and step rate."""


def usual_rate_hz(rate_hz: float) -> float | None:
    """Return the usual rate that a rate is, or None."""
    nearest = min(USUAL_RATES_HZ, key=lambda usual: abs(np.log(rate_hz / usual)))
    return nearest if abs(rate_hz / nearest - 1.0) <= SAME_RATE else None


def nearest_usual_hz(rate_hz: float) -> float:
    """Return the usual rate nearest to a rate."""
    return min(USUAL_RATES_HZ, key=lambda usual: abs(np.log(rate_hz / usual)))


def stated_fits(stated_hz: float, played_hz: float) -> bool:
    """Whether a clip with frame times of `played_hz` can have been captured at `stated_hz`.

    It can at the same rate, at a ratio of rates that one camera offers, slowed from any usual rate to one that screens play,
    and, where the frame times themselves are at no usual rate, at any usual one: the clip was retimed.
    """
    ratio = stated_hz / played_hz
    if any(abs(ratio / known - 1.0) <= SAME_RATE for known in (1.0, *RATIOS)):
        return True
    if usual_rate_hz(stated_hz) is None:
        return False
    return usual_rate_hz(played_hz) is None or (played_hz <= PLAYED_HZ and ratio > 1.0)


def likely_rate_hz(stated_hz: float, played_hz: float) -> float:
    """Return the rate that was likely meant by one that does not fit: of those that fit, the nearest."""
    slowed = USUAL_RATES_HZ if played_hz <= PLAYED_HZ else ()
    fitting = [played_hz, *(played_hz * ratio for ratio in RATIOS), *(r for r in slowed if r > played_hz)]
    return min(fitting, key=lambda rate: abs(np.log(rate / stated_hz)))
