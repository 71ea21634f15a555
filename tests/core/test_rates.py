"""Which rates a camera has, and which stated rate can belong to a clip (TRAPS T43, T44)."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from penult.core.checks.rates import USUAL_RATES_HZ, likely_rate_hz, stated_fits, usual_rate_hz


@pytest.mark.parametrize("stated_hz", [216.0, 228.0, 250.0, 300.0])
def test_a_rate_that_is_no_ratio_of_usual_rates_does_not_fit_and_the_likely_one_is_named(stated_hz: float) -> None:
    """The four of TRAPS T44, on a clip of 240."""
    assert not stated_fits(stated_hz, 240.0)
    assert likely_rate_hz(stated_hz, 240.0) == 240.0


@pytest.mark.parametrize(
    ("stated_hz", "played_hz"),
    [
        (240, 30),
        (240, 29.97),
        (240, 25),
        (120, 24),
        (960, 30),
        (240, 239.6),
        (480, 240),
        (120, 240),
        (60, 240),
        (100, 25),
    ],
)
def test_rates_that_cameras_and_slow_motion_have_fit(stated_hz: float, played_hz: float) -> None:
    assert stated_fits(stated_hz, played_hz)


def test_the_rate_that_a_retimed_clip_was_filmed_at_may_be_stated() -> None:
    """240 retimed from 24 to 25 has 250 frames a second, at which no camera films."""
    assert usual_rate_hz(250.0) is None
    assert stated_fits(240.0, 250.0)
    assert stated_fits(250.0, 250.0)


@given(usual=st.sampled_from(USUAL_RATES_HZ), off=st.floats(-0.012, 0.012))
def test_what_phones_miss_a_rate_by_is_no_other_rate(usual: float, off: float) -> None:
    """Property: 23.976 for 24, 237 to 243 for 240; and every such rate fits itself."""
    assert usual_rate_hz(usual * (1.0 + off)) == usual
    assert stated_fits(usual, usual * (1.0 + off))


@given(usual=st.sampled_from([60.0, 120.0, 240.0]), pace=st.sampled_from([24 / 25, 25 / 24, 10 / 9, 9 / 10]))
def test_a_retimed_rate_is_no_camera_s(usual: float, pace: float) -> None:
    """Property: 24 to 25 and the like never lead to another usual rate."""
    assert usual_rate_hz(usual * pace) is None
