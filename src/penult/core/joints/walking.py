"""A walk is no run: both feet bear for a part of every step, and nothing that rests on a flight can be measured."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

import numpy as np

from penult.core.joints.supports import Support
from penult.errors import NotMeasurableError

BOTH_SHARE, ONE_SHARE = 0.03, 0.12
"""Of a step, of most pairs or of one: rough supports reach at most 25 ms too far at either end, a run's flights take
a quarter of a step and more, so that theirs never overlap; in a walk both feet bear for a fifth to a quarter of every step
(textbook figure, from memory; 3 to 5 frames of 18 in a real clip read by eye)."""

LEAST_PAIRS = 2
"""Most of fewer pairs is one that may be misread."""

ALIKE = 0.3
"""A single pair counts only where both supports last as long as the others, to this share: misread ones are shorter or longer."""


def refuse_walk(supports: Sequence[Support]) -> None:
    """Refuse a clip whose neighbouring supports overlap: most of them, or one pair beyond doubt.

    Every second support of a walk may be missing: where feet overlap for long, only one of them is taken.

    Raises
    ------
    NotMeasurableError
        With how long both feet bear.
    """
    pairs = [(a, b) for a, b in pairwise(supports) if b.start_s > a.start_s]
    if not pairs:
        return
    shares = np.array([(a.end_s - b.start_s) / (b.start_s - a.start_s) for a, b in pairs])
    usual_s = float(np.median([s.end_s - s.start_s for s in supports]))
    whole = [all(abs(s.end_s - s.start_s - usual_s) <= ALIKE * usual_s for s in pair) for pair in pairs]
    most = len(pairs) >= LEAST_PAIRS and float(np.median(shares)) > BOTH_SHARE
    one = len(supports) > LEAST_PAIRS and bool((np.array(whole) & (shares > ONE_SHARE)).any())
    if not (most or one):
        return
    raise NotMeasurableError(
        "this is a walk: each foot lands before the other one leaves",
        f"both bear for {100.0 * float(shares.max()):.0f} % of a step; runs and jumps have a flight there",
        next_step="use a clip of a run, or choose the runner with --run or --at",
    )
