"""The statistics against certified values: Statistical Reference Datasets of NIST (StRD, www.itl.nist.gov/div898/strd).

Univariate summary statistics: NumAcc1 to NumAcc4, of lower, average and higher difficulty, which lose their digits in a careless
formula. Linear regression: Norris (lower
difficulty, 36 observations, observed). Certified to 15 digits; what is asked here is what doubles can hold.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import stats

from penult.core.clips.statistics import mean_interval, straight_line, t_half_width, typical_error

SETS: dict[str, tuple[list[float], float, float]] = {
    "NumAcc1": ([10000001.0, 10000003.0, 10000002.0], 10000002.0, 1.0),
    "NumAcc2": ([1.2, *[1.1, 1.3] * 500], 1.2, 0.1),
    "NumAcc3": ([1000000.2, *[1000000.1, 1000000.3] * 500], 1000000.2, 0.1),
    "NumAcc4": ([10000000.2, *[10000000.1, 10000000.3] * 500], 10000000.2, 0.1),
}
"""Values, certified sample mean, certified sample standard deviation (denominator n - 1)."""

NORRIS = """
0.1 0.2  338.8 337.4  118.1 118.2  888.0 884.6  9.2 10.1  228.1 226.5  668.5 666.3  998.5 996.3  449.1 448.6  778.9 777.0
559.2 558.2  0.3 0.4  0.1 0.6  778.1 775.5  668.8 666.9  339.3 338.0  448.9 447.5  10.8 11.6  557.7 556.0  228.3 228.1
998.0 995.8  888.8 887.6  119.6 120.2  0.3 0.3  0.6 0.3  557.6 556.8  339.3 339.1  888.0 887.2  998.5 999.0  778.9 779.0
10.2 11.1  117.6 118.3  228.9 229.2  668.4 669.1  449.2 448.9  0.2 0.5
"""
"""y and x of each observation, as in Norris.dat."""
NORRIS_INTERCEPT, NORRIS_SLOPE = -0.262323073774029, 1.00211681802045
NORRIS_SLOPE_SD = 0.429796848199937e-03


@pytest.mark.parametrize("name", SETS)
def test_mean_and_spread_are_the_certified_ones(name: str) -> None:
    """Mean and SD come back out of the interval: half-width = t x SD / sqrt(n)."""
    values, mean, sd = SETS[name]
    found = mean_interval(values)

    n = len(values)
    assert found.value == pytest.approx(mean, rel=1e-14)
    assert found.half_width * math.sqrt(n) / stats.t.ppf(0.975, n - 1) == pytest.approx(
        sd, rel=2e-7
    )  # 0.1 of 1e7 has no more


@pytest.mark.parametrize("name", SETS)
def test_the_typical_error_of_one_cell_is_the_certified_spread(name: str) -> None:
    values, _, sd = SETS[name]
    found = typical_error([values])

    assert found is not None
    assert found.value == pytest.approx(sd, rel=2e-7)
    assert found.freedom == len(values) - 1


def test_the_straight_line_is_the_certified_one() -> None:
    """Norris: slope and its SD, intercept."""
    numbers = [float(w) for w in NORRIS.split()]
    y, x = numbers[0::2], numbers[1::2]
    assert len(x) == 36

    slope, intercept, half = straight_line(x, y)

    assert slope == pytest.approx(NORRIS_SLOPE, rel=1e-12)
    assert intercept == pytest.approx(NORRIS_INTERCEPT, rel=1e-10)
    assert half / t_half_width(1.0, 34) == pytest.approx(NORRIS_SLOPE_SD, rel=1e-10)


def test_a_careless_formula_would_fail() -> None:
    """The one-pass formula in doubles loses all of NumAcc4's spread: the sets can tell."""
    values = np.array(SETS["NumAcc4"][0], dtype=float)
    n = len(values)
    careless = (float((values**2).sum()) - float(values.sum()) ** 2 / n) / (n - 1)

    assert abs(math.sqrt(max(careless, 0.0)) - 0.1) > 1e-3
