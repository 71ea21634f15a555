"""No axis gets more ticks than it has room for (TRAPS T50)."""

from __future__ import annotations

import numpy as np
import pytest

from penult.model.measured import Measured
from penult.outputs.charts.bars import interval_bar, scale_for
from penult.outputs.charts.hip_height import MOST_TICKS, ticks_between


@pytest.mark.parametrize(("low", "high"), [(0.6, 1.1), (-18_000.0, 18_000.0), (0.0, 1e9), (0.3, 7.0)])
def test_an_axis_of_kilometres_has_no_more_ticks_than_it_has_room_for(low: float, high: float) -> None:
    """Fails if ticks stay 5 cm apart: 8.7 GB over 36 km."""
    ticks = ticks_between(low, high, 0.05)

    assert 2 <= len(ticks) <= MOST_TICKS + 1
    assert low <= ticks[0] <= ticks[-1] <= high
    assert np.diff(ticks) == pytest.approx(float(ticks[1] - ticks[0]))


def test_a_usual_axis_keeps_its_ticks() -> None:
    assert ticks_between(0.62, 1.03, 0.05) == pytest.approx(np.arange(0.65, 1.01, 0.05))


def test_a_count_has_a_scale_with_a_width_and_no_bar() -> None:
    """21 contacts are 21: nothing is divided by the nothing between the ends."""
    scale = scale_for([21.0, 21.0])

    assert scale.high > scale.low
    assert interval_bar("stride_count", Measured(value=21.0, u95=0.0), scale) == ""
