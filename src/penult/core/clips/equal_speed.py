"""Two kinds of run-up at equal speed: what changed beyond speed (numbers in, numbers out)."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from scipy.special import stdtr

from penult.core.clips.statistics import FEWEST, t_half_width
from penult.model.comparison import Interval
from penult.model.measured import NotMeasured

Points = Sequence[tuple[float, float]]
"""Speed in and value of each run."""


def equal_speed_difference(first: Points, second: Points) -> Interval | NotMeasured:
    """Return the second kind's value minus the first's at the same speed (analysis of covariance, Fisher 1932).

    One straight line of the value on speed with one slope for both kinds; the interval is Student's with n - 3 degrees of
    freedom. Where the two kinds have no speed in common nothing is said: it would be read off a line beyond its runs.

    Parameters
    ----------
    first, second : sequence of (speed, value)
        At least three runs each.
    """
    fewest = min(len(first), len(second))
    if fewest < FEWEST:
        return NotMeasured(reason=f"measured in {fewest} run-ups of one kind; {FEWEST} of each are needed")
    lows, highs = zip(*((min(p[0] for p in g), max(p[0] for p in g)) for g in (first, second)), strict=True)
    if max(lows) > min(highs):
        spans = " against ".join(f"{low:.2f} to {high:.2f}" for low, high in zip(lows, highs, strict=True))
        return NotMeasured(reason=f"the two kinds have no speed in common ({spans} m/s)")
    speed, value = np.array([*first, *second], dtype=float).T
    kind = np.repeat([0.0, 1.0], [len(first), len(second)])
    design = np.column_stack([np.ones_like(speed), kind, speed - speed.mean()])
    found, _, rank, _ = np.linalg.lstsq(design, value, rcond=None)
    if rank < 3:
        return NotMeasured(reason="the run-ups were all run at one speed, or at one speed of each kind")
    left, freedom = value - design @ found, len(value) - 3
    variance = float(left @ left) / freedom * float(np.linalg.inv(design.T @ design)[1, 1])
    half = t_half_width(math.sqrt(variance), freedom)
    return Interval(value=float(found[1]), half_width=half, freedom=freedom, how="at equal speed")


def clear_together(intervals: Sequence[Interval], rate: float = 0.05) -> tuple[bool, ...]:
    """Return which of several differences hold when judged together: false discovery rate (Benjamini and Hochberg 1995)."""
    chances = [_chance(i) for i in intervals]
    n = len(chances)
    passed = [c for k, c in enumerate(sorted(chances), 1) if c <= rate * k / n]
    limit = max(passed, default=-1.0)
    return tuple(c <= limit for c in chances)


def _chance(interval: Interval) -> float:
    """Return the two-sided probability of a difference at least as large where there is none."""
    unit = t_half_width(1.0, interval.freedom)
    if interval.half_width <= 0.0:
        return 0.0 if interval.value else 1.0
    t = abs(interval.value) * unit / interval.half_width
    return 2.0 * float(stdtr(interval.freedom, -t))
