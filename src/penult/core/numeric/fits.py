"""Fits to short stretches of joints: a value at an instant, the lowest point of a support, a flight under gravity.

All take a leading axis of draws; robust weights are decided once, on the first draw (the measured values), so that
every fit is linear in the samples and the draws carry their uncertainty through it.
"""

from __future__ import annotations

import numpy as np

from penult.model.arrays import Bools, Floats

GRAVITY_M_PER_S2 = 9.81
"""9.78 at the equator, 9.81 at 45 to 50 degrees, 9.83 at the poles: within 0.3 % of this everywhere (geodesy, common values)."""

HUBER = 1.5
"""Residuals beyond this many robust SDs lose weight (Huber's proposal; 1.345 to 1.5 in use)."""


ROUNDS = 6
"""Rounds of a robust fit at most (common practice, no source)."""


def huber_weights(residual: Floats) -> Floats:
    """Weights (n,) of Huber's M-estimator from residuals (n,), with the median absolute deviation as scale."""
    size = np.abs(residual)
    ordered = np.sort(size)  # np.median asks more questions than it takes to sort a dozen numbers
    scale = 1.4826 * float(ordered[(len(size) - 1) // 2] + ordered[len(size) // 2]) / 2.0 + 1e-6
    return np.asarray(1.0 / np.maximum(1.0, size / (HUBER * scale)))


def polynomial(time_s: Floats, values: Floats, degree: int, weight: Floats | None = None) -> Floats:
    """Fit a polynomial about time 0, robustly.

    Parameters
    ----------
    time_s : (n,) float64
        Relative to the instant of interest.
    values : (s, n) float64
        Draws of the samples; the first row is the measured one. NaN in the first row leaves a sample out.
    degree : int
        Lowered to n - 2 when there are few samples.
    weight : (n,) float64, optional
        Prior weights.

    Returns
    -------
    (s, degree + 1) float64
        Coefficients in rising powers; NaN when fewer than two samples are left.
    """
    base = np.ones(len(time_s)) if weight is None else weight
    good = np.isfinite(values[0]) & (base > 0.0)
    out = np.full((len(values), degree + 1), np.nan)
    if good.sum() < 2:
        return out
    used = min(degree, max(int(good.sum()) - 2, 1))
    t, y, w = time_s[good], values[:, good], base[good]
    unit = float(np.abs(t).max()) or 1.0  # powers of numbers up to one: the normal equations then keep their digits
    design = np.vander(t / unit, used + 1, increasing=True)
    robust = np.ones_like(w)
    solve = np.zeros(design.shape[::-1])
    for _ in range(ROUNDS):
        weighted = design.T * (w * robust)
        solve = np.linalg.solve(weighted @ design, weighted)
        if good.sum() <= used + 2:
            break
        before, robust = robust, huber_weights(y[0] - design @ (solve @ y[0]))
        if np.array_equal(before, robust):
            break
    out[:, : used + 1] = y @ solve.T / unit ** np.arange(used + 1)
    out[:, used + 1 :] = 0.0
    return out


def evaluate(coefficients: Floats, time_s: Floats | float) -> Floats:
    """Value of each draw's polynomial (s, p) at its own time (s,) or a common one."""
    t = np.broadcast_to(np.asarray(time_s, dtype=float), coefficients.shape[:1])
    return np.asarray((coefficients * t[:, None] ** np.arange(coefficients.shape[1])).sum(axis=1))


def window(time_s: Floats, centre_s: float, before_s: float, after_s: float, least: int = 5) -> Bools:
    """Rows within the window, widened evenly until it holds `least` rows (or all there are)."""
    gap = np.where(time_s < centre_s, (centre_s - time_s) / before_s, (time_s - centre_s) / after_s)
    reach = max(1.0, float(np.sort(gap)[min(least, len(gap)) - 1]))
    return np.asarray(gap <= reach + 1e-9)


DRIFT_M, WHITE_M, DRIFT_TIME_S = 0.003, 0.002, 0.08
"""How the mass centre errs in time, in a flight: a drift and white noise on top (what the draws of the joints give for their
weighted sum). Only the ratio of the two matters to the fits here."""


SAG_M_PER_S2 = 0.8
"""By how much the mass centre seems to fall too slowly in every running flight, one SD: the pose model sees bent knees too
straight, in the same way at every step. Over 35 running flights of eleven films with known truth a single flight's free fall
was 0.75 m/s2 too small on average; after take-off 0.15."""


def correlated(time_s: Floats) -> Floats:
    """Covariance (n, n) of the errors of a mass centre: exponentially forgotten drift, and white noise."""
    gap = np.abs(time_s[:, None] - time_s[None])
    return np.asarray(DRIFT_M**2 * np.exp(-gap / DRIFT_TIME_S) + WHITE_M**2 * np.eye(len(time_s)))


def generalised(design: Floats, values: Floats, covariance: Floats) -> Floats:
    """Generalised least squares (Aitken 1935), robust to single outliers.

    Parameters
    ----------
    design : (n, p) float64
        Columns of the model.
    values : (s, n) float64
        Draws of the samples, first row measured.
    covariance : (n, n) float64
        Of the samples' errors, up to a factor; an outlier's own variance is raised by its Huber weight.

    Returns
    -------
    (s, p) float64
        Coefficients of every draw.
    """
    robust = np.ones(len(design))
    solve = np.zeros(design.shape[::-1])
    for _ in range(ROUNDS):
        spread = covariance + np.diag(np.diag(covariance) * (1.0 / robust - 1.0))
        weighted = np.linalg.solve(spread, design)
        solve = np.linalg.solve(design.T @ weighted, weighted.T)
        if len(design) > design.shape[1] + 2:
            robust = huber_weights(values[0] - design @ (solve @ values[0]))
    return np.asarray(values @ solve.T)


def flight(time_s: Floats, cm_m: Floats) -> tuple[Floats, Floats]:
    """Ballistic fit of the mass centre: straight line in x, parabola of known g in y (Newton), errors correlated in time.

    Parameters
    ----------
    time_s : (n,) float64
        Relative to toe-off.
    cm_m : (s, n, 2) float64
        Draws of the mass centre.

    Returns
    -------
    position_m, velocity_m_per_s : (s, 2) float64
        At time 0.
    """
    design = np.vander(time_s, 2, increasing=True)
    covariance = correlated(time_s)
    x = generalised(design, cm_m[..., 0], covariance)
    y = generalised(design, cm_m[..., 1] + GRAVITY_M_PER_S2 * time_s**2 / 2.0, covariance)
    return np.stack([x[:, 0], y[:, 0]], axis=1), np.stack([x[:, 1], y[:, 1]], axis=1)


def free_fall(flights: list[tuple[Floats, Floats, bool]]) -> Floats:
    """g fitted freely to the heights in all flights together (each with its own start and speed).

    Parameters
    ----------
    flights : list of (time_s (n,), height_m (s, n), running)
        One entry a flight; time from its toe-off. Running flights err together, by SAG_M_PER_S2.

    Returns
    -------
    (s,) float64
        Metres a second squared; NaN without a flight of at least four samples.
    """
    flights = [f for f in flights if len(f[0]) >= 4]
    if not flights:
        return np.full(1, np.nan)
    count = len(flights)
    total = sum(len(t) for t, _, _ in flights)
    design, covariance = np.zeros((total, 2 * count + 1)), np.zeros((total, total))
    sag = np.zeros(total)
    row = 0
    for i, (t, _, running) in enumerate(flights):
        block = slice(row, row + len(t))
        design[block, 2 * i], design[block, 2 * i + 1], design[block, -1] = 1.0, t, -(t**2) / 2.0
        covariance[block, block] = correlated(t)
        sag[block] = SAG_M_PER_S2 * t**2 / 2.0 if running else 0.0
        row += len(t)
    covariance += np.outer(sag, sag)
    return generalised(design, np.concatenate([y for _, y, _ in flights], axis=1), covariance)[:, -1]
