"""Intervals, typical error and minimal detectable change: numbers in, numbers out.

Student's t comes from scipy.special; scipy.stats, whose import alone takes longer than a comparison, is what the tests
check the formulas against.

What belongs here: formulas with a published source, on plain sequences of values. Which values may be put together is
decided in `compare` and `season`.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from scipy.special import ndtri, stdtrit

from penult.model.comparison import Interval, TypicalError

CONFIDENCE = 0.95
FEWEST = 3
"""Clips that a group, or repeats that a typical error, must have (MEASURES section 7)."""

NORMAL_975 = 1.959963984540054
"""The limit of Student's t for many degrees of freedom."""

NORMAL_95 = 1.96
"""As Hopkins (2000) and MEASURES section 7 write it."""


def t_half_width(standard_error: float, freedom: float) -> float:
    """Return half the 95 % interval of an estimate with a Student t distribution (Student 1908)."""
    quantile = NORMAL_975 if math.isinf(freedom) else float(stdtrit(freedom, 0.5 + CONFIDENCE / 2.0))
    return quantile * standard_error


def mean_interval(values: Sequence[float]) -> Interval:
    """Return the mean with its 95 % t interval.

    Parameters
    ----------
    values : sequence of float
        At least two.

    Returns
    -------
    Interval
        In the unit of the values.
    """
    n = len(values)
    error = float(np.std(values, ddof=1)) / math.sqrt(n)
    return Interval(value=float(np.mean(values)), half_width=t_half_width(error, n - 1), freedom=n - 1, how="t")


def welch_difference(first: Sequence[float], second: Sequence[float]) -> Interval:
    """Return mean of the second minus mean of the first, spreads not assumed equal (Welch 1947).

    Parameters
    ----------
    first, second : sequence of float
        At least two each, not all the same in both.

    Returns
    -------
    Interval
        Degrees of freedom after Welch and Satterthwaite.
    """
    parts = [float(np.var(v, ddof=1)) / len(v) for v in (first, second)]
    error = math.sqrt(sum(parts))
    freedom = sum(parts) ** 2 / sum(p**2 / (len(v) - 1) for p, v in zip(parts, (first, second), strict=True))
    return Interval(
        value=float(np.mean(second) - np.mean(first)),
        half_width=t_half_width(error, freedom),
        freedom=freedom,
        how="spread of the clips in each group",
    )


def straight_line(x: Sequence[float], y: Sequence[float]) -> tuple[float, float, float]:
    """Return slope, intercept and half the 95 % interval of the slope by least squares.

    Parameters
    ----------
    x, y : sequence of float
        At least three points, not all at one x.
    """
    across, up = np.asarray(x, dtype=float), np.asarray(y, dtype=float)
    off = across - across.mean()
    squares = float(off @ off)
    slope = float(off @ up) / squares
    intercept = float(up.mean() - slope * across.mean())
    left = up - intercept - slope * across
    freedom = len(across) - 2
    return slope, intercept, t_half_width(math.sqrt(float(left @ left) / freedom / squares), freedom)


def known_error_difference(first: Sequence[float], second: Sequence[float], error: TypicalError) -> Interval:
    """Return mean of the second minus mean of the first, the spread taken from repeats elsewhere.

    The mean of k repeats is k ** 0.5 times surer than one of them (Hopkins 2000).
    """
    spread = error.value * math.sqrt(1.0 / len(first) + 1.0 / len(second))
    return Interval(
        value=float(np.mean(second) - np.mean(first)),
        half_width=t_half_width(spread, error.freedom),
        freedom=error.freedom,
        how="the athlete's typical error",
    )


def blocked_difference(blocks: Sequence[tuple[Sequence[float], Sequence[float]]]) -> Interval | None:
    """Return the difference taken within each block and then put together: what differs between blocks cancels.

    Least squares for a two-way layout without interaction (a block here is a lane file): each block's difference is
    weighted by n1 n2 / (n1 + n2), the spread is pooled within the cells.

    Parameters
    ----------
    blocks : sequence of (first, second)
        Values of both groups in one block, at least one each.

    Returns
    -------
    Interval or None
        None where no cell has two values, so that no spread can be told.
    """
    cells = [np.asarray(cell, dtype=float) for block in blocks for cell in block]
    freedom = sum(len(cell) for cell in cells) - len(cells)
    if freedom < 1:
        return None
    variance = sum(float(((cell - cell.mean()) ** 2).sum()) for cell in cells) / freedom
    weights = [len(a) * len(b) / (len(a) + len(b)) for a, b in blocks]
    steps = [float(np.mean(b) - np.mean(a)) for a, b in blocks]
    value = float(np.average(steps, weights=weights))
    half = t_half_width(math.sqrt(variance / sum(weights)), freedom)
    return Interval(value=value, half_width=half, freedom=freedom, how="differences within each lane file")


def typical_error(cells: Sequence[Sequence[float]]) -> TypicalError | None:
    """Return the typical error: the standard deviation of an individual's repeated measurements (Hopkins 2000).

    Parameters
    ----------
    cells : sequence of sequence of float
        Repeats under one condition each; cells of one value say nothing and are left out.

    Returns
    -------
    TypicalError or None
        Pooled over the cells; None unless one of them has at least three values.
    """
    used = [np.asarray(cell, dtype=float) for cell in cells if len(cell) >= 2]
    if not used or max(len(cell) for cell in used) < FEWEST:
        return None
    freedom = sum(len(cell) - 1 for cell in used)
    squares = sum(float(((cell - cell.mean()) ** 2).sum()) for cell in used)
    return TypicalError(
        value=math.sqrt(squares / freedom), freedom=freedom, clips=sum(len(cell) for cell in used), from_repeats=True
    )


def measurement_error(u95: Sequence[float]) -> TypicalError | None:
    """Return the measurement uncertainty in the place of a typical error: without the athlete's own variation.

    u95 is twice a standard deviation (JCGM 100), so half its root mean square.
    """
    if not u95:
        return None
    value = math.sqrt(float(np.mean(np.square(u95)))) / 2.0
    return TypicalError(value=value, freedom=math.inf, clips=len(u95), from_repeats=False)


def measured_difference(first: Sequence[float], second: Sequence[float], u95: tuple[float, float]) -> Interval:
    """Return mean of the second minus mean of the first with what the measurement alone leaves open.

    Parameters
    ----------
    first, second : sequence of float
        At least one each.
    u95 : (float, float)
        Root mean square of each group's u95. It is not divided by the number of clips: what camera, marks and joints get
        wrong is wrong in all of them alike. How much the athlete varies from run to run is not in it.
    """
    return Interval(
        value=float(np.mean(second) - np.mean(first)),
        half_width=math.hypot(*u95),
        freedom=math.inf,
        how="the measurement alone, not how much the athlete varies",
    )


def minimal_detectable_change(error: TypicalError) -> float:
    """Return 1.96 x sqrt(2) x typical error (Hopkins 2000): a smaller change between two clips may be chance."""
    return NORMAL_95 * math.sqrt(2.0) * error.value


SEEN = 0.8
"""How often a change of the given size would be seen: four times of five, the usual choice (Cohen 1988)."""

MOST_CLIPS = 1000


def clips_needed(spread: float, change: float) -> int | None:
    """Return how many clips each of two groups must have for a change to be seen in four of five comparisons.

    n = 2 (t(0.975, 2n - 2) + t(0.8, 2n - 2))^2 (spread / change)^2, solved step by step for n from the normal quantiles on
    (NIST/SEMATECH e-Handbook of Statistical Methods, 7.2.2.2, for two samples of one size).

    Parameters
    ----------
    spread : float
        SD of an athlete's repeats.
    change : float
        In the same unit, more than 0.

    Returns
    -------
    int or None
        At least three; None for more than `MOST_CLIPS`.
    """
    share = 2.0 * (spread / change) ** 2
    n = math.ceil(share * (NORMAL_975 + float(ndtri(SEEN))) ** 2)
    if n > MOST_CLIPS:
        return None
    n = max(FEWEST, n)
    while n < share * _both_quantiles(2 * n - 2) ** 2:
        n += 1
    return n


def _both_quantiles(freedom: int) -> float:
    return float(stdtrit(freedom, 0.5 + CONFIDENCE / 2.0)) + float(stdtrit(freedom, SEEN))


def widened(interval: Interval, first_u95: Sequence[float], second_u95: Sequence[float]) -> Interval:
    """Return the interval with the measurement uncertainty of both groups counted once, whole, in quadrature.

    For groups measured with different lane files: an error of a lane file is the same in all its clips and does not
    average out. How much of u95 it is is not known, so all of it is counted: the interval is on the safe side.
    """
    shared = sum(float(np.mean(np.square(u))) for u in (first_u95, second_u95))
    half = math.sqrt(interval.half_width**2 + (NORMAL_95 / 2.0) ** 2 * shared)
    return Interval(
        value=interval.value,
        half_width=half,
        freedom=interval.freedom,
        how=f"{interval.how}, widened for the different lane files",
    )
