"""Scatter, steering and shares of many run-ups against made-up athletes whose truth is known in closed form."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from scipy import stats

from athletes import MEASUREMENT_SD_M, athletes_who_do_not_steer, steering_athletes
from penult.core.clips.steering import adjustment_shares, fall_probability, ratio_of_slopes, scatter_of, steering
from penult.model.arrays import Floats
from penult.model.measured import NotMeasured
from penult.model.run_ups import Between, Steering

ATHLETES = 200
"""Coverage of 0.95 is then known to 0.015, one standard deviation (binomial); the bench runs 1,000."""


def test_the_interval_of_an_sd_from_six_runs_is_the_published_one() -> None:
    """0.62 to 2.45 times the value (chi-square, 5 degrees of freedom; refs/REFERENCES section 10)."""
    places = np.array([-0.3, 0.3, -0.1, 0.2, 0.1, -0.2])

    sd = scatter_of(0, places, np.zeros(6)).sd_m

    assert isinstance(sd, Between)
    assert (sd.low / sd.value, sd.high / sd.value) == pytest.approx((0.62, 2.45), abs=0.005)


def test_the_measurement_is_taken_out() -> None:
    """A scatter that is nothing but measurement is none: variance minus (u95 / 2) squared."""
    places = np.array([0.01, -0.01, 0.01, -0.01])  # variance 4e-4 / 3

    sd = scatter_of(0, places, np.full(4, 2.0 * np.sqrt(1e-4 / 3.0))).sd_m

    assert isinstance(sd, Between)
    assert sd.value == pytest.approx(0.01)


def test_two_runs_have_no_scatter() -> None:
    assert isinstance(scatter_of(0, np.array([0.0, 0.1]), np.zeros(2)).sd_m, NotMeasured)


def test_a_fall_of_paired_variances_is_judged_as_by_the_correlation_of_sum_and_difference() -> None:
    """Pitman 1939: one-sided test of the correlation, here by scipy.stats."""
    rng = np.random.default_rng(1)
    early, late = rng.normal(0.0, 0.2, 9), rng.normal(0.0, 0.1, 9)

    expected = stats.pearsonr(early + late, early - late, alternative="greater").pvalue

    assert fall_probability(early, late) == pytest.approx(expected, rel=1e-9)


def test_the_ratio_of_two_slopes_lies_where_the_slope_of_the_difference_vanishes() -> None:
    """Fieller 1954: at both ends q the slope of part - q total is at the limit of Student's t, here by scipy.stats."""
    rng = np.random.default_rng(2)
    x = rng.normal(0.0, 0.25, 8)
    total, part = -0.8 * x + rng.normal(0.0, 0.02, 8), -0.4 * x + rng.normal(0.0, 0.02, 8)

    found = ratio_of_slopes(part, total, x)

    assert found is not None
    for q in (found.low, found.high):
        line = stats.linregress(x, part - q * total)
        assert abs(line.slope) / line.stderr == pytest.approx(stats.t.ppf(0.5 + 0.965 / 2.0, 6), rel=1e-6)


def test_four_runs_say_nothing_of_steering() -> None:
    rng = np.random.default_rng(3)
    athlete = next(steering_athletes(1, rng))

    found = steering(athlete.numbers, athlete.runs(4, rng)[1], rng)

    assert isinstance(found, NotMeasured)
    assert "5 are needed" in found.reason


@pytest.mark.parametrize("runs", [5, 8])
def test_intervals_hold_the_truth(runs: int) -> None:
    """SD and shares: 95 % of the true values inside, to three standard deviations of the count."""
    rng = np.random.default_rng(4)
    sds, shares = [], []
    for a in steering_athletes(ATHLETES, rng):
        places = a.runs(runs, rng)[1]
        for i, true in enumerate(a.scatter_m):
            sd = scatter_of(a.numbers[i], places[:, i], np.full(runs, 2.0 * MEASUREMENT_SD_M)).sd_m
            sds.append(isinstance(sd, Between) and sd.low <= true <= sd.high)
        found = steering(a.numbers, places, rng)
        if isinstance(found, Steering):
            none = np.full(places.shape, np.nan)
            for s in adjustment_shares(a.numbers, places, found.from_number, none, none) or ():
                shares.append(s.share.low <= a.share(s.number, found.from_number) <= s.share.high)

    assert 0.92 <= np.mean(sds) <= 0.98
    assert 0.90 <= np.mean(shares) <= 0.995


@pytest.mark.parametrize("runs", [5, 10])
@pytest.mark.parametrize("what", ["not steering", "runs shuffled", "contacts shuffled"])
def test_steering_is_not_told_where_there_is_none(runs: int, what: str) -> None:
    """At most 5 % in the long run; 200 athletes may show 9 % (three standard deviations)."""
    rng = np.random.default_rng(5)
    none = what == "not steering"
    shuffles: dict[str, Callable[[Floats], Floats]] = {
        "not steering": lambda x: x,
        "runs shuffled": lambda x: rng.permuted(x, axis=0),
        "contacts shuffled": lambda x: rng.permuted(x, axis=1),
    }
    athletes = (athletes_who_do_not_steer if none else steering_athletes)(ATHLETES, rng)

    told = [isinstance(steering(a.numbers, shuffles[what](a.runs(runs, rng)[1]), rng), Steering) for a in athletes]

    assert np.mean(told) <= 0.09


def test_the_probability_of_the_contact_is_kept() -> None:
    """Where a contact is named with a probability, it is the true one about as often; and one of the likely ones is."""
    rng = np.random.default_rng(6)
    right, stated, likely = [], [], []
    for a in steering_athletes(2 * ATHLETES, rng):
        found = steering(a.numbers, a.runs(8, rng)[1], rng)
        if isinstance(found, Steering):
            right.append(found.from_number == a.onset)
            stated.append(found.probability)
            likely.append(a.onset in found.likely)

    assert len(right) > ATHLETES
    assert np.mean(stated) == pytest.approx(np.mean(right), abs=0.1)
    assert np.mean(likely) >= 0.91
