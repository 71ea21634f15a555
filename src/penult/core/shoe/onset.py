"""When a part of the shoe leaves its place (or, run backwards, comes to rest), to a fraction of a frame.

Only differences between pictures of one small box; nothing here knows what a shoe is.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from penult.core.shoe.pictures import Box, Pixels, largest
from penult.model.arrays import Bools, Floats


@dataclass(frozen=True, slots=True, kw_only=True)
class Onset:
    """An instant and its SD, seconds; `contrast` is the full change of the box over what it changes at rest.

    `doubt_s` is the part of the SD that stands for another burst of change as the true one.
    """

    at_s: float
    sd_s: float
    contrast: float
    doubt_s: float = 0.0


SPEED_M_PER_S = np.geomspace(0.8, 9.0, 12)
SPEED_WEIGHT = -0.5 * (np.log(SPEED_M_PER_S / 3.0) / 0.6) ** 2
"""Speed of a shoe that leaves or arrives, and its log prior: 3 m/s within a factor of 1.8 (published vertical foot speeds
at sprint touchdown and toe-off are 2 to 4 m/s; MEMORY)."""

TURNING_M_PER_S = np.array([0.02, 0.05, 0.12, 0.25, 0.4, 0.65])
TURNING_SD_LOG = 0.6
"""Speed of a box's content while in place, and the SD of its log about the usual one: a shoe that turns about its toe or
heel at up to 18 rad/s moves by up to 0.5 m/s 3 cm away from it."""

MORE_THAN_TURNING = 1.25
"""An interval in which content leaves has this many times the usual rate of turning, as far as rates go."""

FOREIGN_M, CENTIMETRE_M = 0.04, 0.01
"""A shoe's picture is moved by up to 4 cm against itself; its rate of change is told at 1 cm."""

MEMORY_S = 0.010
"""How long a speed of turning lasts: a foot's angular speed changes in about a tenth of a contact."""

TOLERANCE = 0.08
"""Share of the full change by which a curve may miss the model (shadow, compression, speeding up); 2 SD of the instants
so found hold 90 to 99 % of the true ones on films with known truth."""

CLEAR = 8.0
"""A change this many times that at rest is no noise: 19 and more on clear films, 2 to 5 in the dark (films with known truth)."""

CONTENT_SHARE = 0.25
"""Content differs from the background by at least this share of what its strongest pixels do."""

LEAST_CHANGE, LEAST_GREY = 3.0, 2.0
"""A box's content stands out when its full change is this many times the change at rest, and this many grey levels."""


def change(pictures: Pixels) -> Floats:
    """Mean absolute difference between neighbouring pictures (n - 1,), largest colour, grey levels."""
    return unlike(pictures[1:], pictures[:-1])


def unlike(pictures: Pixels, other: Pixels) -> Floats:
    """Mean absolute difference of pictures (n, h, w, 3) to another or others, largest colour, grey levels."""
    return np.asarray(largest(np.abs(pictures - other)).mean(axis=(1, 2)), dtype=np.float64)


def leaves(box: Box, time_s: Floats, *, pixel_m: float, turning_m_per_s: float, share: float) -> Onset | None:
    """Return when the box's content leaves its place.

    The unlikeness to a picture shortly before grows as c f(d), where f is the unlikeness of this very content to itself
    when displaced (`own_curve`) and d the way: u t in place, and v t from the instant t0 on. u has a prior about the speed
    seen before or the usual one, v the prior SPEED_WEIGHT; c is fitted. At low rates the curve is full at once and the
    posterior of t0 stays flat over the interval, as it should.

    Parameters
    ----------
    box : Box
        Pictures in the order of time away from the support; in the first, the content surely is in its place.
    time_s : (n,) float64
        Time away from the support, rising.
    pixel_m : float
        Size of a pixel.
    turning_m_per_s : float
        Usual speed of the content just before it leaves.
    share : float
        An interval with this share of the largest rate is one in which the content leaves.

    Returns
    -------
    Onset or None
        None when nothing leaves, or not before the pictures end.
    """
    pictures = box.pictures
    if len(pictures) < 4 or not pictures[0].size:
        return None
    steps = change(pictures)
    floor = max(float(np.sort(steps)[: max(len(steps) // 3, 2)].mean()), 0.5)
    full = float(unlike(pictures, pictures[0]).max()) - floor
    if full < max((LEAST_CHANGE - 1.0) * floor, LEAST_GREY):
        return None
    rates = -np.log1p(-np.clip((steps - floor) / full, 0.0, 0.9)) / np.diff(time_s)
    if int(rates.argmax()) == len(rates) - 1:  # still growing where the pictures end: it may leave later
        return None
    ways_m, shares = own_curve(pictures[int(rates.argmax())], box.empty, pixel_m)
    per_m = -np.log1p(-np.interp(CENTIMETRE_M, ways_m, shares)) / CENTIMETRE_M
    strong = _strong(rates, share, MORE_THAN_TURNING * turning_m_per_s * per_m)
    first, last = _run_of_strongest(rates, strong)
    anchor = max(first - 1, 0)
    before = max(float(rates[anchor - 1]) / per_m, TURNING_M_PER_S[0]) if anchor else turning_m_per_s
    trust = float(np.exp(-(time_s[anchor + 1] - time_s[anchor]) / MEMORY_S))
    later = slice(anchor + 1, first + 4)
    curve = np.clip(unlike(pictures[later], pictures[anchor]) - floor, 0.0, None)
    grid = np.linspace(time_s[anchor], time_s[min(first + 2, len(time_s) - 1)], 101) - time_s[anchor]
    turning = before**trust * turning_m_per_s ** (1.0 - trust)
    logp = _log_posterior(grid, time_s[later] - time_s[anchor], curve, (ways_m, shares), turning)
    weight = np.exp(logp - logp.max())
    weight /= weight.sum()
    mean = float(weight @ grid)
    spread = float(np.sqrt(weight @ (grid - mean) ** 2))
    at_s = mean + float(time_s[anchor])
    elsewhere = np.where(rates >= share * rates.max(), rates, 0.0)
    elsewhere[first : last + 1] = 0.0
    doubt = _doubt_s(at_s, (time_s[:-1] + time_s[1:]) / 2.0, elsewhere, rates[first : last + 1])
    doubt = doubt if full < CLEAR * floor else 0.0
    return Onset(at_s=at_s, sd_s=float(np.hypot(spread, doubt)), contrast=full / floor, doubt_s=doubt)


def _strong(rates: Floats, share: float, turning: float) -> Bools:
    """Intervals in which content may leave: near the strongest, and more than turning if it can be."""
    most = float(rates.max())
    return np.asarray(rates >= max(share * most, min(turning, 0.9 * most)))


def _run_of_strongest(rates: Floats, strong: Bools) -> tuple[int, int]:
    """First and last interval of the unbroken run of strong ones that holds the strongest."""
    first = last = int(rates.argmax())
    while first > 0 and strong[first - 1]:
        first -= 1
    while last + 1 < len(strong) and strong[last + 1]:
        last += 1
    return first, last


def _doubt_s(at_s: float, middle_s: Floats, elsewhere: Floats, here: Floats) -> float:
    """SD for the case that content left in another interval of high rate, each believed by its rate.

    In good light there is one run. In the dark, noise and the film's own coding make several, and the strongest need not be it.
    """
    return float(np.sqrt((elsewhere @ (middle_s - at_s) ** 2) / (elsewhere.sum() + here.sum())))


def _log_posterior(
    grid: Floats, time_s: Floats, curve: Floats, own: tuple[Floats, Floats], turning_m_per_s: float
) -> Floats:
    """Log posterior of every onset on the grid, summed over both speeds; the full change is fitted for each."""
    out = np.clip(time_s[None, :] - grid[:, None], 0.0, None)
    inside = np.minimum(time_s[None, :], grid[:, None])
    v = SPEED_M_PER_S[:, None, None, None]
    u = TURNING_M_PER_S[None, :, None, None]
    shape = np.interp(v * out + u * inside, *own)  # (v, u, grid, later)
    scale = (shape * curve).sum(-1) / np.maximum((shape**2).sum(-1), 1e-9)
    scale = np.clip(scale, 0.6 * curve.max(), 1.6 * curve.max())
    misfit = ((curve - scale[..., None] * shape) / (TOLERANCE * curve.max() + 1e-6)) ** 2
    unusual = np.log(TURNING_M_PER_S / turning_m_per_s) / TURNING_SD_LOG
    logp = -0.5 * misfit.sum(-1) + SPEED_WEIGHT[:, None, None] - 0.5 * unusual[None, :, None] ** 2
    return np.asarray(np.logaddexp.reduce(logp.reshape(-1, len(grid)), axis=0))


def own_curve(picture: Pixels, empty: Pixels, pixel_m: float) -> tuple[Floats, Floats]:
    """How a box's content grows unlike itself when displaced: its own picture moved over the background.

    Displacements up, and up to either side, are averaged.

    Returns
    -------
    ways_m : (k,) float64
        Displacements from 0 on.
    shares : (k,) float64
        Unlikeness there as a share of the content's unlikeness to the background, never falling, below 1.
    """
    content = largest(np.abs(picture - empty))
    whole = max(float(content.mean()), 1e-6)
    mask = content > CONTENT_SHARE * np.percentile(content, 95)
    most = min(mask.shape) - 1
    steps = [n for n in (1, 2, 3, 4, 6, 8, 12) if n <= most and (n == 1 or n * pixel_m <= FOREIGN_M)]
    seen = [[_displaced(picture, empty, mask, n, sideways) / whole for sideways in (-n, 0, n)] for n in steps]
    # up, and up to either side by as much: the mean way of the three
    ways = np.array([0.0, *(n * pixel_m * (1.0 + 2.0 * np.sqrt(2.0)) / 3.0 for n in steps)])
    shares = np.array([0.0, *(min(float(np.mean(s)), 0.99) for s in seen)])
    return ways, np.maximum.accumulate(shares)


def _displaced(picture: Pixels, empty: Pixels, mask: Bools, up: int, forward: int) -> float:
    """Mean unlikeness of a picture to itself with its content moved by whole pixels."""
    moved = empty.copy()
    target, source = _shifted(mask.shape, up, forward)
    moved[target] = np.where(mask[source][..., None], picture[source], empty[target])
    return float(largest(np.abs(moved - picture)).mean())


def _shifted(shape: tuple[int, ...], up: int, forward: int) -> tuple[tuple[slice, slice], tuple[slice, slice]]:
    """Where content lands and where it comes from when moved up and forward by whole pixels (rows fall)."""
    h, w = shape
    rows = slice(0, h - up), slice(up, h)
    columns = (
        (slice(forward, w), slice(0, w - forward)) if forward >= 0 else (slice(0, w + forward), slice(-forward, w))
    )
    return (rows[0], columns[0]), (rows[1], columns[1])
