"""Which generator draws what. Each has a seed of its own, so that what one stage draws does not move what another one draws."""

from __future__ import annotations

from enum import IntEnum

import numpy as np

SEED = 1995
"""Any fixed number, so that the same clip gives the same uncertainty."""


class Stream(IntEnum):
    """What is drawn. A new kind of draw gets a new number; numbers are never used again, or old results would move."""

    JOINTS = 0
    HAND = 1
    HIP_HEIGHTS = 2
    COMMON_LATENESS = 3
    FLIGHT_SAG = 4
    STANCE_DIP = 5
    READOUT = 6
    LEG_LENGTH = 7
    TURNED = 8
    SIDEWAYS = 9
    STANDING_KNEE = 10
    DISAGREEING = 11
    TYPED_MARK = 19
    POSTURE = 20


def generator(stream: Stream, one: int = 0) -> np.random.Generator:
    """Return the generator of a kind of draw, at its start; `one` tells like draws apart (the last kind alone has room for it).

    Seeds that differ by one give independent generators: numpy hashes a seed before it is used (`numpy.random.SeedSequence`).
    """
    return np.random.default_rng(SEED + stream + one)
