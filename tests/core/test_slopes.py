"""Tools that stand in for slow imports give what scipy's own functions give."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.signal import lfilter, savgol_filter
from scipy.stats import theilslopes

from penult.core.numeric.slopes import first_order, local_quadratics, median_slope


def test_the_median_slope_is_theil_and_sens() -> None:
    rng = np.random.default_rng(1)
    x = np.sort(np.r_[rng.uniform(0.0, 1.5, 60), 0.5, 0.5])  # two at the same place
    y = 9.0 * x + rng.standard_t(2, len(x))

    assert median_slope(y, x) == pytest.approx(theilslopes(y, x)[0], rel=1e-12)


def test_first_order_sequences_are_those_of_a_linear_filter() -> None:
    shock = np.random.default_rng(2).normal(size=(5, 80, 3))

    assert first_order(0.9, shock) == pytest.approx(lfilter([1.0], [1.0, -0.9], shock, axis=1), abs=1e-12)


@pytest.mark.parametrize("span", [5, 13])
def test_local_quadratics_are_savitzky_and_golays(span: int) -> None:
    values = np.random.default_rng(3).normal(size=(40, 2))

    assert local_quadratics(values, span) == pytest.approx(savgol_filter(values, span, 2, axis=0), abs=1e-12)
