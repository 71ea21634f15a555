"""From draws to u95: the numbers of JCGM 101 (draws) against the closed forms of JCGM 100 (propagation)."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from penult.core.uncertainty.expanded import to_measure
from penult.model.arrays import Floats
from penult.model.measured import Measured, NotMeasured

COUNT = 40_000
WITHIN = 0.02
"""Draws of 40,000 give an SD within 1.4 % (two SD of 1 / sqrt 2n) of its closed form."""


def drawn(value: float, sd: float, seed: int, count: int = COUNT) -> Floats:
    return np.concatenate([[value], value + sd * np.random.default_rng(seed).normal(size=count)])


def u95(draws: Floats) -> float:
    measure = to_measure(draws, "")
    assert isinstance(measure, Measured)
    return measure.u95


def test_a_sum_is_propagated_as_jcgm_101_has_it() -> None:
    """JCGM 101:2008, 9.2.2: the sum of four standard normal quantities has u = 2.0 (from memory); so u95 = 4."""
    total = np.sum([drawn(0.0, 1.0, seed) for seed in range(4)], axis=0)

    assert u95(total) == pytest.approx(4.0, rel=WITHIN)


def test_a_reciprocal_and_a_ratio_agree_with_the_law_of_propagation() -> None:
    """JCGM 100:2008, 5.1.2: u(1/T) = u(T) / T^2; relative uncertainties of a ratio add in quadrature."""
    time_s = drawn(0.23, 0.003, 1)
    length_m, before_m = drawn(2.15, 0.012, 2), drawn(2.35, 0.012, 3)

    assert u95(1.0 / time_s) == pytest.approx(2.0 * 0.003 / 0.23**2, rel=WITHIN)
    expected = 2.0 * 2.15 / 2.35 * np.hypot(0.012 / 2.15, 0.012 / 2.35)
    assert u95(length_m / before_m) == pytest.approx(expected, rel=WITHIN)


def test_what_two_values_share_cancels_in_their_difference() -> None:
    """JCGM 100:2008, 5.2.2: u^2(a - b) = u^2(a) + u^2(b) - 2 u(a, b). The reason why a hip drop beats a hip height."""
    shared = drawn(0.0, 0.015, 4)
    third, second = 0.93 + shared + drawn(0.0, 0.003, 5), 0.88 + shared + drawn(0.0, 0.003, 6)

    assert u95(third) == pytest.approx(2.0 * np.hypot(0.015, 0.003), rel=WITHIN)
    assert u95(third - second) == pytest.approx(2.0 * np.sqrt(2.0) * 0.003, rel=WITHIN)


@pytest.mark.parametrize(("sd", "angle_deg"), [(0.1, 0.61), (0.05, 0.30)])
def test_the_take_off_angle_s_uncertainty_is_the_published_closed_form(sd: float, angle_deg: float) -> None:
    """Collected references, section 8: 0.1 m/s on both speeds gives 0.61 deg at the men's values, 0.05 gives 0.30."""
    vx, vy = drawn(8.8, sd, 7), drawn(3.4, sd, 8)

    got = u95(np.degrees(np.arctan2(vy, vx))) / 2.0

    closed = np.degrees(np.sqrt(8.8**2 * sd**2 + 3.4**2 * sd**2) / (8.8**2 + 3.4**2))
    assert got == pytest.approx(closed, rel=WITHIN)
    assert got == pytest.approx(angle_deg, abs=0.01)


@pytest.mark.parametrize(("rate_hz", "event_ms", "duration_ms"), [(60, 4.8, 6.8), (120, 2.4, 3.4), (240, 1.2, 1.7)])
def test_sampling_alone_leaves_the_published_spread(rate_hz: float, event_ms: float, duration_ms: float) -> None:
    """Collected references, section 8: T / sqrt 12 an event, T / sqrt 6 a duration, from the frame interval T alone."""
    rng = np.random.default_rng(9)
    edges = [np.concatenate([[t], t + (rng.random(COUNT) - 0.5) / rate_hz]) for t in (0.5, 0.6)]

    assert 500.0 * u95(edges[0]) == pytest.approx(event_ms, abs=0.06)
    assert 500.0 * u95(edges[1] - edges[0]) == pytest.approx(duration_ms, abs=0.06)


@given(value=st.floats(-50.0, 50.0), sd=st.floats(1e-4, 5.0), factor=st.floats(-3.0, 3.0), shift=st.floats(-9.0, 9.0))
def test_scaling_and_shifting_draws_scales_and_shifts_the_measure(
    value: float, sd: float, factor: float, shift: float
) -> None:
    """Property: u95(c y + d) = |c| u95(y); the value is the first row, never a mean of the draws."""
    draws = drawn(value, sd, 10, 250)
    draws[1:] += 0.3 * sd  # an offset of the draws does not move the value

    moved = to_measure(factor * draws + shift, "")

    assert isinstance(moved, Measured)
    assert moved.value == factor * value + shift
    assert moved.u95 == pytest.approx(abs(factor) * u95(draws), abs=1e-9)


def test_what_was_not_seen_is_not_measured_and_says_why() -> None:
    """A missing first row or too few finite draws give the reason; lost draws alone do not; work by hand stays marked."""
    sound = drawn(0.1, 0.002, 11, 250)
    first_missing, few, some = (np.array(sound) for _ in range(3))
    first_missing[0], few[15:], some[100:150] = np.nan, np.nan, np.nan

    for draws in (first_missing, few):
        measure = to_measure(draws, "the foot is hidden")
        assert measure == NotMeasured(reason="the foot is hidden")
        assert not measure
    assert u95(some) == pytest.approx(u95(sound), rel=0.1)
    by_hand = to_measure(sound, "", by_hand=True)
    assert isinstance(by_hand, Measured)
    assert by_hand.by_hand
