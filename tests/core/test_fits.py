"""Fits against closed forms, against numpy's least squares, and against published precision formulas."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import linalg

from penult.core.numeric import fits
from penult.model.arrays import Floats

RATE_HZ, NOISE_M = 240.0, 0.02


def _projectile(time_s: Floats, velocity: tuple[float, float], height_m: float, g: float = 9.81) -> Floats:
    """Newton's parabola, (n, 2)."""
    return np.column_stack([velocity[0] * time_s, height_m + velocity[1] * time_s - g * time_s**2 / 2.0])


def test_flight_gives_back_the_velocity_of_a_projectile() -> None:
    """Closed form: 8.8 and 3.4 m/s, an angle of 21.1 degrees."""
    time_s = np.arange(72) / RATE_HZ

    place, velocity = fits.flight(time_s, _projectile(time_s, (8.8, 3.4), 1.2)[None])

    assert velocity[0] == pytest.approx((8.8, 3.4), abs=1e-9)
    assert place[0] == pytest.approx((0.0, 1.2), abs=1e-9)
    assert np.degrees(np.arctan2(*velocity[0, ::-1])) == pytest.approx(21.1, abs=0.05)


def test_free_fall_finds_g_of_several_flights_with_their_own_starts() -> None:
    """Closed form; lengths 8 percent too long show as a g 8 percent too large."""
    flights = []
    for rise, height, count in ((0.6, 1.0, 28), (0.7, 1.05, 30), (3.4, 1.2, 80)):
        time_s = np.arange(count) / RATE_HZ
        flights.append((time_s, 1.08 * _projectile(time_s, (9.0, rise), height)[None, :, 1], count < 80))

    assert fits.free_fall(flights) == pytest.approx([1.08 * 9.81], abs=1e-7)
    assert np.isnan(fits.free_fall([])).all()


def test_running_flights_that_fall_too_slowly_together_hardly_move_free_fall() -> None:
    """Four running flights of 0.13 s that seem to fall at 8.8 m/s2, and a leap of 0.33 s at 9.81: within 0.1 of the leap.

    Without a leap their common error is all there is to see. Fails if their number is taken for independent evidence."""
    short, long = np.arange(32) / RATE_HZ, np.arange(80) / RATE_HZ
    running = [(short, (1.0 + 0.6 * short - 8.8 * short**2 / 2.0)[None], True)] * 4
    leap = (long, (1.2 + 3.4 * long - 9.81 * long**2 / 2.0)[None], False)

    assert fits.free_fall([*running, leap])[0] == pytest.approx(9.81, abs=0.1)
    assert fits.free_fall(running)[0] == pytest.approx(8.8, abs=1e-6)


def test_one_wild_sample_hardly_moves_a_flight() -> None:
    """A foot taken for a head in one frame: 15 cm in one of 48 samples, ordinary least squares moves by 0.12 m/s."""
    time_s = np.arange(48) / RATE_HZ
    path = _projectile(time_s, (9.0, 3.0), 1.2) + np.random.default_rng(3).normal(0.0, 0.003, (48, 2))
    wild = path.copy()
    wild[-2] += 0.15

    _, clean = fits.flight(time_s, path[None])
    _, velocity = fits.flight(time_s, wild[None])

    assert np.abs(velocity - clean).max() < 0.02


def test_generalised_equals_least_squares_of_whitened_samples() -> None:
    """Aitken: whiten by the Cholesky factor, then numpy's lstsq; smooth residuals, so that no robust weight acts."""
    time_s = np.arange(40) / RATE_HZ
    covariance = fits.correlated(time_s)
    values = (2.0 + 9.0 * time_s + 0.001 * np.sin(40.0 * time_s))[None]
    design = np.vander(time_s, 2, increasing=True)
    residual = values[0] - design @ fits.generalised(design, values, covariance)[0]
    weights = fits.huber_weights(residual)
    root = linalg.cholesky(covariance + np.diag(np.diag(covariance) * (1.0 / weights - 1.0)), lower=True)
    white = [linalg.solve_triangular(root, m, lower=True) for m in (design, values[0])]

    expected = np.linalg.lstsq(*white, rcond=None)[0]

    assert fits.generalised(design, values, covariance)[0] == pytest.approx(expected, abs=2e-4)


def test_generalised_beats_ordinary_least_squares_under_its_own_noise() -> None:
    """Gauss-Markov: no linear unbiased estimate spreads less; and its spread is the one that theory states."""
    time_s = np.arange(96) / RATE_HZ
    design, covariance = np.vander(time_s, 2, increasing=True), fits.correlated(time_s)
    noise = np.random.default_rng(1).multivariate_normal(np.zeros(96), covariance, size=1500)
    draws = np.concatenate([np.zeros((1, 96)), noise])  # the measured row is clean: weights stay one

    best = fits.generalised(design, draws, covariance)[1:, 1]
    plain = (noise @ np.linalg.pinv(design).T)[:, 1]
    theory = np.sqrt(np.linalg.inv(design.T @ np.linalg.solve(covariance, design))[1, 1])

    assert best.std() < plain.std()
    assert best.std() == pytest.approx(theory, rel=0.06)


@pytest.mark.parametrize(("count", "known_g", "free_g", "g"), [(48, 0.05, 0.20, 1.9), (72, 0.027, 0.11, 0.70)])
def test_spread_of_speed_and_g_under_white_noise(count: int, known_g: float, free_g: float, g: float) -> None:
    """s_v = s f sqrt(12 / (n (n^2 - 1))) for a line; the same table's values with g free (240 Hz, 2 cm)."""
    time_s = np.arange(count) / RATE_HZ
    noise = np.random.default_rng(2).normal(0.0, NOISE_M, (3000, count))
    draws = np.concatenate([np.zeros((1, count)), noise])

    line = fits.polynomial(time_s, draws, 1)[1:]
    parabola = fits.polynomial(time_s, draws, 2)[1:]

    closed = NOISE_M * RATE_HZ * np.sqrt(12.0 / (count * (count**2 - 1)))
    assert closed == pytest.approx(known_g, rel=0.08)
    assert line[:, 1].std() == pytest.approx(closed, rel=0.05)
    assert parabola[:, 1].std() == pytest.approx(free_g, rel=0.10)
    assert (2.0 * parabola[:, 2]).std() == pytest.approx(g, rel=0.10)


def test_polynomial_leaves_missing_samples_out_and_lowers_its_degree() -> None:
    """Three samples carry a line only; one sample carries nothing."""
    time_s = np.array([-0.1, 0.0, 0.1, 0.2])
    values = np.array([[1.0, 2.0, 3.0, np.nan]])

    found = fits.polynomial(time_s, values, 3)

    assert found[0] == pytest.approx((2.0, 10.0, 0.0, 0.0))
    assert np.isnan(fits.polynomial(time_s, np.array([[1.0, np.nan, np.nan, np.nan]]), 1)).all()


def test_evaluate_takes_every_draw_at_its_own_time() -> None:
    """1 + 2 t + 3 t^2 at 1 and 2."""
    assert fits.evaluate(np.array([[1.0, 2.0, 3.0], [1.0, 2.0, 3.0]]), np.array([1.0, 2.0])) == pytest.approx(
        (6.0, 17.0)
    )


def test_window_widens_until_it_holds_enough() -> None:
    """Five samples a second and a window of 50 ms: the five nearest."""
    time_s = np.arange(20) / 5.0

    assert np.flatnonzero(fits.window(time_s, 2.0, 0.025, 0.025)).tolist() == [8, 9, 10, 11, 12]


def test_running_flights_weigh_in_free_fall_as_their_common_error_leaves_them() -> None:
    """Two long flights, one of a running step that falls with 8.81, one after a take-off with 9.81: the weighted mean of both.

    Closed form (Gauss): weights 1 / variance; the running one's has 0.8 m/s2 of common error on top of what samples with 3 mm of
    drift over 0.08 s and 2 mm of noise leave (figures written down here, so that another size in the product shows).
    """
    t = np.arange(0.0, 0.40, 1.0 / 240.0)
    gap = np.abs(t[:, None] - t[None])
    inverse = np.linalg.inv(0.003**2 * np.exp(-gap / 0.08) + 0.002**2 * np.eye(len(t)))
    design = np.stack([np.ones_like(t), t, -(t**2) / 2.0], axis=1)
    sampled = float(np.linalg.inv(design.T @ inverse @ design)[2, 2])
    weight = np.array([1.0 / (sampled + 0.8**2), 1.0 / sampled])
    falls = {True: (9.81, 8.81), False: (9.81, 9.81)}  # the first draw, which tells outliers, has none
    flights = [(t, np.stack([1.0 + 2.0 * t - g * t**2 / 2.0 for g in drawn]), runs) for runs, drawn in falls.items()]

    got = fits.free_fall(flights)

    assert got[0] == pytest.approx(9.81)
    assert got[1] == pytest.approx(float(weight @ [8.81, 9.81] / weight.sum()), abs=0.003)
