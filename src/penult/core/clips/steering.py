"""Scatter of the feet over several run-ups, from where it falls, and which steps make up for it: numbers in, numbers out.

What belongs here: the statistics of a table of toe places, runs by contacts. Which runs may stand in one table is
decided in `run_ups`.

The run-up is a chain: each contact's place follows from the one before it and the step between. So a table of few runs and
many contacts is described by one straight line for each contact on the one before; nothing more could be told from it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from scipy.special import chdtri, stdtr, stdtrit

from penult.core.clips.statistics import FEWEST
from penult.model.arrays import Floats
from penult.model.measured import NotMeasured
from penult.model.run_ups import AdjustmentShare, Between, Scatter, Steering

FEWEST_TO_STEER = 5
"""Runs below which nothing is said of steering (MEASURES section 4a, 'Many run-ups')."""

FALL_LEVEL = 0.025
"""Probability of calling a fall of the scatter that is none: one side of the customary 5 %."""

CHAIN_LEVEL = 0.05
"""Probability of taking contacts that have nothing to do with each other for one run-up's: customary."""

LIKELY = 0.96
"""Probability that the contacts named as likely hold together by the draws. The contact is chosen from the very runs that
it is judged by: 0.95 held the true one in 92.8 to 95.3 % of 1,000 made-up athletes (tests/bench/run_ups.py), 5 to 15 runs."""

SHARE_LEVEL = 0.965
"""Nominal coverage of the interval of a share. For the same reason 0.95 covered 92.8 to 93.8 % there."""

ALIKE = 0.02
"""Scatters that differ by less of themselves are one (5 mm of 25 cm): the later of two such contacts is where the fall begins."""

DRAWS = 2000
"""Draws of the chain: a probability of one half is then good to 0.02 (binomial)."""


def counted(runs: int) -> str:
    """Return a number of run-ups in words: '1 run-up', '6 run-ups'."""
    return f"{runs} run-up{'s' if runs != 1 else ''}"


def scatter_of(number: int, toe_x_m: Floats, u95_m: Floats) -> Scatter:
    """Return the scatter of one contact's toe place over runs.

    The variance of n runs over the true one is chi-square distributed with n - 1 degrees of freedom (Gaussian places);
    the measurement's own variance is then taken from the value and from both ends.

    Parameters
    ----------
    number : int
        Of the contact.
    toe_x_m, u95_m : (runs,) float64
        Places and their expanded uncertainty; no NaN.
    """
    n = len(toe_x_m)
    measurement = math.sqrt(float(np.mean(np.square(u95_m)))) / 2.0 if n else math.nan
    mean = float(np.mean(toe_x_m)) if n else math.nan
    if n < FEWEST:
        sd: Between | NotMeasured = NotMeasured(reason=f"measured in {counted(n)}; {FEWEST} are needed for a scatter")
    else:
        squares = float(np.var(toe_x_m, ddof=1)) * (n - 1)
        variances = (squares / (n - 1), squares / chdtri(n - 1, 0.025), squares / chdtri(n - 1, 0.975))
        value, low, high = (math.sqrt(max(0.0, v - measurement**2)) for v in variances)
        sd = Between(value=value, low=low, high=high)
    return Scatter(number=number, runs=n, mean_m=mean, sd_m=sd, measurement_m=measurement)


def steering(numbers: Sequence[int], toe_x_m: Floats, rng: np.random.Generator) -> Steering | NotMeasured:
    """Return from which contact on the scatter falls for good, or why that cannot be told.

    It is said only if (1) the scatter at the board is smaller than at an earlier contact, by the test for two variances
    of paired values (Pitman 1939; Morgan 1939), its level shared among the contacts (Bonferroni), and (2) neighbouring
    contacts belong to the same runs: the mean of Fisher's z of their correlations is above 0 (Fisher 1921). Where the largest
    scatter is, is drawn from the posterior of the chain of regressions with the usual uninformative prior (Box and
    Tiao 1973, section 2.7): for few runs a plain resampling of whole runs is too sure (83 % instead of 95 % in 6 runs).

    Parameters
    ----------
    numbers : sequence of int
        Contacts of the columns, ascending, the last one at the board.
    toe_x_m : (runs, contacts) float64
        Without gaps.
    rng : Generator
        For the draws.
    """
    runs, contacts = toe_x_m.shape
    if runs < FEWEST_TO_STEER:
        return NotMeasured(
            reason=f"the same last contacts are seen in {counted(runs)}; {FEWEST_TO_STEER} are needed to tell steering"
        )
    if contacts < 3:
        return NotMeasured(reason=f"the run-ups have only {contacts} contacts in common")
    chance = min(fall_probability(toe_x_m[:, i], toe_x_m[:, -1]) for i in range(contacts - 1)) * (contacts - 1)
    if chance > FALL_LEVEL:
        return NotMeasured(
            reason=f"in these {runs} run-ups no fall of the scatter towards the board can be told from chance"
        )
    if not _hang_together(toe_x_m):
        return NotMeasured(
            reason="the places of neighbouring contacts have nothing to do with each other in these run-ups"
        )
    shares = largest_scatter_shares(toe_x_m, rng)
    order = np.argsort(-shares, kind="stable")
    enough = int(np.searchsorted(np.cumsum(shares[order]), LIKELY)) + 1
    middle = int(np.searchsorted(np.cumsum(shares), 0.5))  # nearest to the truth in the mean: half a draw on each side
    return Steering(
        from_number=numbers[middle],
        probability=float(shares[middle]),
        likely=tuple(sorted(numbers[int(i)] for i in order[:enough])),
        runs=runs,
        first_seen=numbers[0],
    )


def fall_probability(early_m: Floats, late_m: Floats) -> float:
    """Return the probability of so large a fall of the variance by chance (Pitman 1939; Morgan 1939), (runs,) each.

    The variances of two paired Gaussian values are equal exactly if their sum and difference are not correlated.
    """
    total, fall = early_m + late_m, early_m - late_m
    return float(stdtr(len(early_m) - 2, -_t_of_correlation(total, fall)))


def largest_scatter_shares(toe_x_m: Floats, rng: np.random.Generator) -> Floats:
    """Return the probability of each contact to be the last of the largest scatter, (contacts,), by draws of the chain."""
    off = toe_x_m - toe_x_m.mean(axis=0)
    runs, contacts = off.shape
    variance = np.empty((contacts, DRAWS))
    variance[0] = float(off[:, 0] @ off[:, 0]) / rng.chisquare(runs - 1, DRAWS)
    for i in range(1, contacts):
        squares = float(off[:, i - 1] @ off[:, i - 1])
        slope = float(off[:, i - 1] @ off[:, i]) / squares
        left = off[:, i] - slope * off[:, i - 1]
        noise = float(left @ left) / rng.chisquare(runs - 2, DRAWS)
        slopes = slope + np.sqrt(noise / squares) * rng.standard_normal(DRAWS)
        variance[i] = slopes**2 * variance[i - 1] + noise
    large = variance >= ((1.0 - ALIKE) * variance.max(axis=0) ** 0.5) ** 2
    last = contacts - 1 - np.argmax(large[::-1], axis=0)
    return np.bincount(last, minlength=contacts) / DRAWS


def adjustment_shares(
    numbers: Sequence[int], toe_x_m: Floats, from_number: int, flight_m: Floats, contact_m: Floats
) -> tuple[AdjustmentShare, ...] | NotMeasured:
    """Return which step makes up for how much of the error at the contact where steering begins.

    Each step's length is a straight line of the toe's place at `from_number`; its slope over the slope of all steps
    together is its share. The interval is that of a ratio of two slopes with one regressor (Fieller 1954).

    Parameters
    ----------
    numbers : sequence of int
        Contacts of the columns, ascending.
    toe_x_m : (runs, contacts) float64
        Without gaps.
    from_number : int
        Where steering begins.
    flight_m, contact_m : (runs, contacts) float64
        Of the step that ends at each contact: flight time, and time of the contact it begins with, times the step's mean
        speed over the runs. A column with NaN gives None.

    Returns
    -------
    tuple of AdjustmentShare, or NotMeasured
        For the steps from `from_number` + 1 to the last.
    """
    start = list(numbers).index(from_number)
    early = toe_x_m[:, start]
    total = toe_x_m[:, -1] - early
    found = []
    for i in range(start + 1, len(numbers)):
        share = ratio_of_slopes(toe_x_m[:, i] - toe_x_m[:, i - 1], total, early)
        if share is None:
            return NotMeasured(reason="what the steps make up for together is too uncertain to be shared among them")
        flight, contact = (ratio_of_slopes(part[:, i], total, early) for part in (flight_m, contact_m))
        found.append(AdjustmentShare(number=numbers[i], share=share, flight=flight, contact=contact))
    return tuple(found)


def ratio_of_slopes(part: Floats, total: Floats, regressor: Floats) -> Between | None:
    """Return slope of `part` over slope of `total`, both on the regressor, with its interval (Fieller 1954).

    All (runs,). The interval holds every ratio q at which the slope of part - q total cannot be told from 0. None where
    it has no end (the slope of the total cannot be told from 0), or where a value is NaN.
    """
    if not (np.isfinite(part).all() and np.isfinite(total).all()):
        return None
    n = len(regressor)
    off = regressor - regressor.mean()
    squares = float(off @ off)
    both = np.column_stack([part - part.mean(), total - total.mean()])
    slopes = off @ both / squares
    left = both - np.outer(off, slopes)
    cov = left.T @ left / (n - 2) / squares * float(stdtrit(n - 2, 0.5 + SHARE_LEVEL / 2.0)) ** 2
    a, b, c = slopes[1] ** 2 - cov[1, 1], slopes[0] * slopes[1] - cov[0, 1], slopes[0] ** 2 - cov[0, 0]
    if a <= 0.0:
        return None
    half = math.sqrt(max(0.0, b * b - a * c)) / a
    return Between(value=float(slopes[0] / slopes[1]), low=float(b / a - half), high=float(b / a + half))


def _hang_together(toe_x_m: Floats) -> bool:
    """Whether neighbouring contacts are correlated over the runs."""
    runs, contacts = toe_x_m.shape
    pairs = [np.corrcoef(toe_x_m[:, i], toe_x_m[:, i + 1])[0, 1] for i in range(contacts - 1)]
    mean = float(np.mean(np.arctanh(np.clip(pairs, -0.9999, 0.9999))))
    limit = float(stdtrit(math.inf, 1.0 - CHAIN_LEVEL)) / math.sqrt((contacts - 1) * (runs - 3))
    return mean > limit


def _t_of_correlation(x: Floats, y: Floats) -> float:
    """Student's t of a correlation, (runs,) each (Student 1908); 0 where one of them does not vary."""
    if not (np.ptp(x) > 0.0 and np.ptp(y) > 0.0):
        return 0.0
    r = float(np.corrcoef(x, y)[0, 1])
    return r * math.sqrt((len(x) - 2) / max(1e-12, 1.0 - r * r))
