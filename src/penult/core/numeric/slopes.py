"""Small tools that scipy.stats and scipy.signal have too; importing those takes longer than measuring a clip."""

from __future__ import annotations

import numpy as np

from penult.model.arrays import Floats


def median_slope(y: Floats, x: Floats) -> float:
    """Return the median slope between all pairs of points (Theil 1950, Sen 1968).

    Parameters
    ----------
    y, x : (n,) float64
        Finite; pairs of equal x are left out.
    """
    first, second = np.triu_indices(len(x), 1)
    run = x[second] - x[first]
    apart = run != 0.0
    return float(np.median((y[second] - y[first])[apart] / run[apart]))


def first_order(keep: float, shock: Floats) -> Floats:
    """Return the sequence along axis 1 that keeps a share of its last value and takes up a new shock at every step."""
    out = np.array(shock)
    for i in range(1, out.shape[1]):
        out[:, i] += keep * out[:, i - 1]
    return out


def local_quadratics(values: Floats, span: int) -> Floats:
    """Return values (t, d) smoothed by quadratics over `span` rows, odd (Savitzky and Golay 1964); the ends by the last fit."""
    half = span // 2
    powers = np.vander(np.arange(-half, half + 1.0), 3)
    fit = np.linalg.pinv(powers)  # (3, span): values of a window to its quadratic
    windows = np.lib.stride_tricks.sliding_window_view(values, span, axis=0)
    out = np.empty(values.shape)
    out[half : len(values) - half] = windows @ fit[2]
    out[:half] = powers[:half] @ (fit @ values[:span])
    out[len(values) - half :] = powers[half + 1 :] @ (fit @ values[-span:])
    return out
