"""The statistics against published worked examples and against simulation."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from penult.core.clips import statistics
from penult.model.comparison import TypicalError

SLEEP_1 = (0.7, -1.6, -0.2, -1.2, -0.1, 3.4, 3.7, 0.8, 0.0, 2.0)
SLEEP_2 = (1.9, 0.8, 1.1, 0.1, -0.1, 4.4, 5.5, 1.6, 4.6, 3.4)
"""Student (1908), hours of sleep gained; the data set `sleep` of R."""


def test_welch_interval_of_the_example_in_a_published_question() -> None:
    """R's t.test on 10..20 and 20, 20.5 .. 26, as printed in the statsmodels answer on csdn.net 118792828 (read)."""
    first, second = np.arange(10.0, 21.0), np.arange(20.0, 26.5, 0.5)

    found = statistics.welch_difference(second.tolist(), first.tolist())

    assert found.low == pytest.approx(-10.414599, abs=1e-6)
    assert found.high == pytest.approx(-5.585401, abs=1e-6)
    assert found.freedom == pytest.approx(15.58, abs=0.005)


def test_welch_interval_of_the_worked_example_of_statscodes() -> None:
    """statscodes.com, 'Welch's two sample t-tests in R' (read): t = 0.51703, df = 9.48, -1.935420 to 3.093754."""
    x, y = (5.1, 2.0, 4.1, 6.2, 7.1, 8.3), (1.5, 6.4, 3.3, 5.8, 4.8, 7.2, 5.6, 4.5)

    found = statistics.welch_difference(y, x)

    assert (found.low, found.high) == (pytest.approx(-1.935420, abs=1e-6), pytest.approx(3.093754, abs=1e-6))
    assert found.freedom == pytest.approx(9.48, abs=0.005)


def test_welch_freedom_of_students_sleep_data() -> None:
    """R documentation of t.test on `sleep` (read at gac.edu): t = -1.8608, df = 17.776."""
    found = statistics.welch_difference(SLEEP_2, SLEEP_1)

    t = found.value / (found.half_width / stats.t.ppf(0.975, found.freedom))
    assert t == pytest.approx(-1.8608, abs=5e-5)
    assert found.freedom == pytest.approx(17.776, abs=5e-4)


def test_mean_interval_of_students_paired_differences() -> None:
    """Student's paired differences have the 95 % interval 0.7001142 to 2.4598858 in R's documentation (from memory)."""
    found = statistics.mean_interval([b - a for a, b in zip(SLEEP_1, SLEEP_2, strict=True)])

    assert (found.low, found.high) == (pytest.approx(0.7001142, abs=1e-6), pytest.approx(2.4598858, abs=1e-6))


def test_typical_error_of_two_trials_is_the_root_mean_square_of_each_persons_spread() -> None:
    """Baker, wwrichard.net, 'Calculating SEM with just two measurements' (read): person SDs 5.7, 4.2, 5.7, 2.8, 2.1.

    A third cell with three equal values is what lets a typical error be given at all; it is pooled like the rest.
    """
    pairs = [(0.0, math.sqrt(2.0) * sd) for sd in (5.7, 4.2, 5.7, 2.8, 2.1)]
    published = math.sqrt((5.7**2 + 4.2**2 + 5.7**2 + 2.8**2 + 2.1**2) / 5.0)

    found = statistics.typical_error([*pairs, (1.0, 1.0, 1.0)])

    assert found is not None
    assert found.value * math.sqrt(found.freedom / 5.0) == pytest.approx(published, rel=1e-12)


def test_typical_error_from_three_repeats_is_their_standard_deviation() -> None:
    """Hopkins (2000), abstract (read): 'the standard deviation of an individual's repeated measurements'."""
    found = statistics.typical_error([(47.0, 48.0, 47.8)])

    assert found is not None
    assert found.value == pytest.approx(float(np.std([47.0, 48.0, 47.8], ddof=1)), rel=1e-12)
    assert (found.freedom, found.clips, found.from_repeats) == (2, 3, True)


def test_hopkins_typical_error_is_the_spread_of_differences_over_root_two() -> None:
    """Hopkins (2000): typical error = SD of difference scores / sqrt 2 (formula from memory, marked so in the references).

    With each trial's mean taken off, the pooled spread within persons of many pairs is the same number.
    """
    first, second = np.array(SLEEP_1), np.array(SLEEP_2)
    cells = np.stack([first - first.mean(), second - second.mean()], axis=1)
    freedom = len(cells) - 1  # one is used up by the shift between the trials

    found = statistics.typical_error([*cells.tolist(), [0.0, 0.0, 0.0]])

    assert found is not None
    published = float(np.std(second - first, ddof=1)) / math.sqrt(2.0)
    assert found.value * math.sqrt(found.freedom / freedom) == pytest.approx(published, rel=1e-12)


@pytest.mark.parametrize(
    ("sem", "published", "rounding"),
    [
        (
            1.1,
            3.2,
            0.16,
        ),  # Bland, York MSc exercise on balance measures, answer 4 (read): SEM 1.1, SRD 3.2, both rounded
        (2.0, 5.5, 0.05),  # hotelsabruzzo.com on the minimum detectable change (read): 'SEM of 2 points ... 5.5'
        (1.0, 2.77, 0.005),  # REFERENCES section 7: MDC95 = 2.77 SEM
    ],
)
def test_minimal_detectable_change_of_published_errors(sem: float, published: float, rounding: float) -> None:
    """1.96 x sqrt(2) x typical error gives the published figures within their rounding."""
    error = TypicalError(value=sem, freedom=9, clips=10, from_repeats=True)

    assert statistics.minimal_detectable_change(error) == pytest.approx(published, abs=rounding)


def test_two_repeats_are_not_enough_for_a_typical_error() -> None:
    """MEASURES section 7: from the athlete's own repeats where there are at least three."""
    assert statistics.typical_error([(1.0, 2.0), (3.0,)]) is None
    assert statistics.typical_error([]) is None


def test_measurement_error_is_half_the_root_mean_square_of_u95() -> None:
    """u95 is twice a standard deviation (JCGM 100:2008, 6.2, k = 2)."""
    found = statistics.measurement_error([0.03, 0.04])

    assert found is not None
    assert found.value == pytest.approx(math.sqrt((0.015**2 + 0.02**2) / 2.0), rel=1e-12)
    assert not found.from_repeats


def test_blocked_difference_agrees_with_least_squares() -> None:
    """The weighted difference within blocks equals the group effect of a least-squares fit with block effects."""
    rng = np.random.default_rng(3)
    blocks = [
        (rng.normal(b, 1.0, na), rng.normal(b + 0.7, 1.0, nb)) for b, na, nb in ((0, 3, 5), (9, 4, 2), (-4, 1, 6))
    ]
    y = np.concatenate([v for block in blocks for v in block])
    group = np.concatenate([np.r_[np.zeros(len(a)), np.ones(len(b))] for a, b in blocks])
    which = np.repeat(np.arange(3), [len(a) + len(b) for a, b in blocks])
    design = np.column_stack([group, *(which == i for i in range(3))]).astype(float)
    effect = np.linalg.lstsq(design, y, rcond=None)[0][0]

    found = statistics.blocked_difference([(a.tolist(), b.tolist()) for a, b in blocks])

    assert found is not None
    assert found.value == pytest.approx(effect, rel=1e-10)


@given(
    st.lists(st.floats(-1e3, 1e3), min_size=3, max_size=8),
    st.lists(st.floats(-1e3, 1e3), min_size=3, max_size=8),
    st.floats(-1e3, 1e3),
)
def test_a_common_shift_changes_no_difference(first: list[float], second: list[float], shift: float) -> None:
    """Differences do not depend on where zero is, and change sign when the groups change places."""
    if np.ptp(first) < 1e-3 and np.ptp(second) < 1e-3:
        return
    plain = statistics.welch_difference(first, second)
    shifted = statistics.welch_difference([v + shift for v in first], [v + shift for v in second])
    turned = statistics.welch_difference(second, first)

    assert shifted.value == pytest.approx(plain.value, abs=1e-6)
    assert shifted.half_width == pytest.approx(plain.half_width, rel=1e-4, abs=1e-6)
    assert turned.value == -plain.value


def test_widening_adds_the_measurement_uncertainty_of_both_groups_in_quadrature() -> None:
    """A difference known to +-3 between lane files known to +-2 each (k = 2) is known to sqrt(9 + 2 x 1.96^2)."""
    plain = statistics.known_error_difference(
        [0.0], [1.0], TypicalError(value=3.0 / 1.96 / math.sqrt(2.0), freedom=1e9, clips=9, from_repeats=True)
    )

    found = statistics.widened(plain, [2.0, 2.0], [2.0])

    assert found.half_width == pytest.approx(math.sqrt(plain.half_width**2 + 2.0 * 1.96**2), rel=1e-9)
    assert "lane files" in found.how


@given(
    st.lists(st.floats(-50.0, 50.0), min_size=3, max_size=9),
    st.lists(st.floats(-50.0, 50.0), min_size=3, max_size=9),
)
def test_welch_and_the_straight_line_agree_with_scipy(first: list[float], second: list[float]) -> None:
    """scipy.stats.ttest_ind(equal_var=False) and scipy.stats.linregress give the same intervals."""
    if np.ptp(first) < 0.01 or np.ptp(second) < 0.01:
        return
    result = stats.ttest_ind(second, first, equal_var=False)
    ends = result.confidence_interval(0.95)
    found = statistics.welch_difference(first, second)
    n = min(len(first), len(second))
    fit = stats.linregress(first[:n], second[:n]) if np.ptp(first[:n]) > 0.01 else None

    assert (found.low, found.high) == (pytest.approx(ends.low, abs=1e-8), pytest.approx(ends.high, abs=1e-8))
    assert found.freedom == pytest.approx(result.df, rel=1e-9)
    if fit is not None and n > 3:
        slope, intercept, half = statistics.straight_line(first[:n], second[:n])
        assert (slope, intercept) == (pytest.approx(fit.slope, abs=1e-7), pytest.approx(fit.intercept, abs=1e-6))
        assert half == pytest.approx(stats.t.ppf(0.975, n - 2) * fit.stderr, rel=1e-4, abs=1e-6)


RUNS = 4000


def _coverage(intervals: list[tuple[float, float]], truth: float) -> float:
    return float(np.mean([low <= truth <= high for low, high in intervals]))


@pytest.mark.parametrize(
    ("n1", "n2", "sd1", "sd2"),
    [(3, 3, 1.0, 1.0), (4, 6, 1.0, 1.5), (5, 5, 1.0, 2.0), (10, 10, 1.0, 1.0), (3, 8, 1.0, 1.0)],
)
def test_welch_intervals_cover_the_truth(n1: int, n2: int, sd1: float, sd2: float) -> None:
    """95 % intervals of simulated groups hold the true difference in 93 to 97 of 100 cases."""
    rng = np.random.default_rng(100 * n1 + n2)
    first, second = rng.normal(0.0, sd1, (RUNS, n1)), rng.normal(0.3, sd2, (RUNS, n2))

    ends = [(d.low, d.high) for d in map(statistics.welch_difference, first, second)]

    assert 0.93 <= _coverage(ends, 0.3) <= 0.97


@pytest.mark.parametrize(("n1", "n2", "repeats"), [(1, 1, 3), (1, 5, 5), (2, 2, 8)])
def test_intervals_from_a_typical_error_cover_the_truth(n1: int, n2: int, repeats: int) -> None:
    """So do those of groups too small for a spread of their own, from repeats elsewhere."""
    rng = np.random.default_rng(7)
    ends = []
    for _ in range(RUNS):
        error = statistics.typical_error([rng.normal(0.0, 1.0, repeats).tolist()])
        assert error is not None
        found = statistics.known_error_difference(
            rng.normal(0.0, 1.0, n1).tolist(), rng.normal(0.3, 1.0, n2).tolist(), error
        )
        ends.append((found.low, found.high))

    assert 0.93 <= _coverage(ends, 0.3) <= 0.97


def test_blocked_intervals_cover_the_truth_whatever_the_lane_files_do() -> None:
    """Lane files that shift all their clips by three standard deviations leave the coverage at 93 to 97 %."""
    rng = np.random.default_rng(11)
    ends = []
    for _ in range(RUNS):
        shifts = rng.normal(0.0, 3.0, 3)
        blocks = [
            (rng.normal(s, 1.0, a).tolist(), rng.normal(s + 0.3, 1.0, b).tolist())
            for s, a, b in zip(shifts, (2, 1, 3), (3, 2, 2), strict=True)
        ]
        found = statistics.blocked_difference(blocks)
        assert found is not None
        ends.append((found.low, found.high))

    assert 0.93 <= _coverage(ends, 0.3) <= 0.97
