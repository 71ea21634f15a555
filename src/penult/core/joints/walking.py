"""A walk is no run: both feet bear for a part of every step, and nothing that rests on a flight can be measured."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

import numpy as np

from penult.core.joints.supports import Support
from penult.errors import NotMeasurableError

LEAST_PAIRS = 2
"""Fewer neighbouring supports may have one that is misread."""

BOTH_SHARE = 0.03
"""Of a step: rough supports reach at most 25 ms too far at either end, and a run's flights take a quarter of a step and more,
so that theirs never overlap; in a walk both feet bear for a fifth to a quarter of every step (textbook figure, from memory; 3
to 5 frames of 18 in a real clip read by eye)."""


def refuse_walk(supports: Sequence[Support]) -> None:
    """Refuse a clip whose neighbouring supports overlap, most of them.

    Raises
    ------
    NotMeasurableError
        With how long both feet bear.
    """
    shares = [
        (one.end_s - other.start_s) / (other.start_s - one.start_s)
        for one, other in pairwise(supports)
        if other.start_s > one.start_s
    ]
    if len(shares) < LEAST_PAIRS or float(np.median(shares)) <= BOTH_SHARE:
        return
    raise NotMeasurableError(
        "this is a walk: each foot lands before the other one leaves",
        f"both bear for {100.0 * float(np.median(shares)):.0f} % of a step; runs and jumps have a flight there",
        next_step="use a clip of a run, or choose the runner with --run or --at",
    )
