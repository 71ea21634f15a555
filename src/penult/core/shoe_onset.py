"""When a part of the shoe leaves its place (or, run backwards, comes to rest), to a fraction of a frame.

Only differences between pictures of one small box; nothing here knows what a shoe is.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from penult.core.shoe_scene import Pixels
from penult.model.arrays import Floats


@dataclass(frozen=True, slots=True, kw_only=True)
class Onset:
    """An instant and its SD, seconds; `contrast` is the full change of the box over the noise."""

    at_s: float
    sd_s: float
    contrast: float


SPEED_M_PER_S = np.geomspace(0.8, 9.0, 12)
SPEED_WEIGHT = -0.5 * (np.log(SPEED_M_PER_S / 3.0) / 0.6) ** 2
"""Speed of a shoe that leaves or arrives, and its log prior: 3 m/s within a factor of 1.8 (published vertical foot speeds at
sprint touchdown and toe-off are 2 to 4 m/s; MEMORY)."""

TURNING_PER_S = np.array([1.0, 3.0, 8.0, 15.0, 25.0, 40.0])
"""The same rate for a shoe that turns about its toe or heel at up to 18 rad/s: its box, 3 cm away, moves at up to 0.5 m/s."""

LEAVING_SHARE = 0.4
"""An interval whose rate is at least this share of the largest is one in which the content leaves: half a partial interval."""

MEMORY_S = 0.010
"""How long a rate of turning lasts: a foot's angular speed changes in about 10 ms around toe-off (step of 0.1 s, one tenth)."""

TOLERANCE = 0.07
"""Share of the full change by which a growth curve may miss the model (rotation, shadow, compression)."""


def change(box: Pixels) -> Floats:
    """Mean absolute difference between neighbouring pictures (n - 1,), largest colour, grey levels."""
    return unlike(box[1:], box[:-1])


def unlike(box: Pixels, other: Pixels) -> Floats:
    """Mean absolute difference of pictures (n, h, w, 3) to another or others, largest colour, grey levels."""
    return np.asarray(np.abs(box - other).max(axis=-1).mean(axis=(1, 2)), dtype=np.float64)


def leaves(
    box: Pixels, time_s: Floats, rest: int, *, empty: Pixels, pixel_m: float, turning_per_s: float
) -> Onset | None:
    """Return when the box's content leaves its place.

    The unlikeness to a picture shortly before grows as c (1 - exp(-x)), x = u t in place and k t from the instant t0 on, with
    priors for u (about the rate seen before and the usual one) and k (speed times the unlikeness per metre of displacement); c is fitted. At low rates the curve is
    full at once and the posterior of t0 stays flat over the interval, as it should.

    Parameters
    ----------
    box : (n, h, w, 3) float32
        Pictures of the box in the order of time away from the support.
    time_s : (n,) float64
        Time away from the support, rising.
    rest : int
        Index of a picture in which the content surely is in its place.
    turning_per_s : float
        Usual rate just before leaving.

    Returns
    -------
    Onset or None
        None when nothing leaves.
    """
    steps = change(box[rest:])
    if len(steps) < 3:
        return None
    floor = max(float(np.sort(steps)[: max(len(steps) // 3, 2)].mean()), 0.5)
    whole = unlike(box[rest:], box[rest]) - floor
    full = float(whole.max())
    if full <= 2.0 * floor or full <= 2.0:
        return None
    rates = -np.log1p(-np.clip((steps - floor) / full, 0.0, 0.9)) / np.diff(time_s[rest:])
    first = rest + int(np.flatnonzero(rates >= LEAVING_SHARE * rates.max())[0])
    anchor = max(first - 1, rest)
    last = min(first + 2, len(time_s) - 1)
    later = np.arange(anchor + 1, min(first + 4, len(time_s)))
    curve = np.clip(unlike(box[later], box[anchor]) - floor, 0.0, None)
    before = float(rates[anchor - rest - 1]) if anchor > rest else turning_per_s
    trust = float(np.exp(-(time_s[anchor + 1] - time_s[anchor]) / MEMORY_S))
    turning = max(before, 1.0) ** trust * turning_per_s ** (1.0 - trust)
    grid = np.linspace(time_s[anchor], time_s[last], 101)
    per_m = unlike_per_m(box[anchor], empty, pixel_m)
    logp = _log_posterior(grid, time_s[later], curve, turning, per_m, time_s[anchor])
    weight = np.exp(logp - logp.max())
    weight /= weight.sum()
    mean = float(weight @ grid)
    return Onset(at_s=mean, sd_s=float(np.sqrt(weight @ (grid - mean) ** 2)), contrast=full / floor)


def _log_posterior(
    grid: Floats, time_s: Floats, curve: Floats, turning_per_s: float, per_m: float, start_s: float
) -> Floats:
    """Log posterior of every onset on the grid, summed over both rates; the full change is fitted for each."""
    out = np.clip(time_s[None, :] - grid[:, None], 0.0, None)
    inside = np.clip(np.minimum(time_s[None, :], grid[:, None]) - start_s, 0.0, None)
    sd = TOLERANCE * float(curve.max()) + 1e-6
    k = per_m * SPEED_M_PER_S[:, None, None, None]
    u = TURNING_PER_S[None, :, None, None]
    shape = 1.0 - np.exp(-(k * out + u * inside))  # (k, u, grid, later)
    scale = (shape * curve).sum(-1) / np.maximum((shape**2).sum(-1), 1e-9)
    scale = np.clip(scale, 0.6 * curve.max(), 1.6 * curve.max())
    misfit = ((curve - scale[..., None] * shape) / sd) ** 2
    unusual = np.log(TURNING_PER_S / turning_per_s) / 0.6
    logp = -0.5 * misfit.sum(-1) + SPEED_WEIGHT[:, None, None] - 0.5 * unusual[None, :, None] ** 2
    return np.asarray(np.logaddexp.reduce(logp.reshape(-1, len(grid)), axis=0))


def unlike_per_m(picture: Pixels, empty: Pixels, pixel_m: float) -> float:
    """How fast a box's content grows unlike itself when displaced, per metre: its own picture moved over the background.

    Displacements of about 1 cm up, and up to either side, are averaged; 1 - exp(-s d) is solved for s.
    """
    content = np.abs(picture - empty).max(axis=-1)
    full = float(content.mean())
    mask = content > 0.25 * np.percentile(content, 95)
    n = max(round(0.01 / pixel_m), 1)
    seen = []
    for sideways in (-n, 0, n):
        moved = empty.copy()
        target, source = _shifted(mask.shape, n, sideways)
        moved[target] = np.where(mask[source][..., None], picture[source], empty[target])
        share = np.abs(moved - picture).max(axis=-1).mean() / max(full, 1e-6)
        seen.append(-np.log1p(-min(float(share), 0.95)) / (pixel_m * float(np.hypot(n, sideways))))
    return float(np.mean(seen))


def _shifted(shape: tuple[int, ...], up: int, forward: int) -> tuple[tuple[slice, slice], tuple[slice, slice]]:
    """Where content lands and where it comes from when moved up and forward by whole pixels (rows fall)."""
    h, w = shape
    rows = slice(0, h - up), slice(up, h)
    columns = (
        (slice(forward, w), slice(0, w - forward)) if forward >= 0 else (slice(0, w + forward), slice(-forward, w))
    )
    return (rows[0], columns[0]), (rows[1], columns[1])
