"""The height of the hips from step to step, from the trunk's pixels.

The pose model sees the hips at a height that depends on the posture (which leg stands, which is hidden): two supports of one run
differ by 1 cm and more for that alone. The trunk's own pixels, registered over a whole stride, do not: between two supports
they give the change, and the pose model gives the level that all of them share.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from penult.core.joints.body import middle
from penult.core.numeric.seeds import Stream, generator
from penult.core.uncertainty.draws import Draws, wandering
from penult.model.analysis import Notice
from penult.model.arrays import Bools, Floats, Ints
from penult.model.track import RunwayTrack
from penult.model.trunk import TrunkMotion

WANDER_M = 0.0035
"""How far the hips' middle strays in height from its place on the trunk, one SD: 2.3 mm by what hip drops
of films with known truth are off (3.2 mm RMS over 27, true instants), half as much again for spine and pelvis, which bend in people
and hardly in the bodies of those films."""

CLOTH_LASTS_S = 0.5
"""Loose clothes shift on the body: lowest heights of one clip scatter by 2.5 mm about their common error under tight ones (30
films) and by 8.5 under loose ones (8), most of it from one end of the clip to the other, so it is forgotten over two steps and not
within one: `Draws.cloth` times as much wandering in all."""

MOST_APART_M = 0.03
"""Pixels and joints that disagree by more than this, RMS over a stride, are not of the same trunk: the hips' own posture errors
are 1 cm."""

USUAL_APART_M, USUAL_JITTER_M = 0.0105, 0.004
"""How far pixels and hip joints disagree over a stride (SD of the height), and
how rough the trunk's path is, under tight clothes: medians of 8 to 13 mm and of 1 to 4 mm in twenty films with known truth.
Loose shirts and shorts: 12 to 32 mm, and 3 to 9."""

UNTOLD_CLOTH = 1.5
"""Taken where no stride tells (half way to loose clothes)."""

LOOSE_CLOTH = 1.4
"""From here on it is said, once what unsteady joints and blurred pictures explain is out (`draws.noise_factor_of`): tight clothes
give 1.0 to 1.34 (32 films with known truth, two of them blurred), loose ones 1.5 to 2.3 (seven)."""

UNSTEADY = 1.5
"""Joints so many times noisier than usual are said to be so: sharp films give 1.0 to 1.3, a dim one with a long shutter 2.0."""

LEAST_SHARED = 3
"""Rows that two strides must have in common to be joined."""


@dataclass(frozen=True, slots=True, kw_only=True)
class HipHeights:
    """Height of the mid-hip (s, t), NaN where no stride was followed, and which stretch of strides each row belongs to (t,).

    Heights of one stretch share a level and may be compared; -1 is none.
    """

    y_m: Floats
    stretch: Ints


def hip_heights(
    draws: Draws, track: RunwayTrack, strides: Sequence[TrunkMotion], hand: Floats | None = None
) -> HipHeights:
    """Return the height of the mid-hip wherever strides were followed.

    Parameters
    ----------
    draws : Draws
        Of the joints, first row measured.
    track : RunwayTrack
        The measured joints.
    strides : sequence of TrunkMotion
        One from each support into the next, in order; those with a reason, or too far from the joints, are passed over.
    hand : (t, k) float64, optional
        How far each sample was put where it is by a person: a stride with hips placed by hand is passed over.

    Returns
    -------
    HipHeights
        In every stretch of strides that follow one another the mean is that of the joints.
    """
    out = np.full(draws.xy_m.shape[:2], np.nan)
    rng = generator(Stream.HIP_HEIGHTS)  # of its own: what is drawn after this stays as it is without it
    stretch = np.full(len(track.time_s), -1)
    for number, (rows, height) in enumerate(_stretches(track, strides, hand)):
        stretch[rows] = number
        lasting = _filled(middle(draws.lasting_m[:, rows], "hip")[..., 1])
        free = middle(draws.xy_m[:, rows], "hip")[..., 1] - lasting - height
        out[:, rows] = height + np.nanmean(free, axis=1)[:, None] + lasting
        out[1:, rows] += WANDER_M * wandering(track.time_s[rows], (1,), rng)[..., 0]
        shifting = WANDER_M * float(np.sqrt(draws.cloth**2 - 1.0))
        out[1:, rows] += shifting * wandering(track.time_s[rows], (1,), rng, CLOTH_LASTS_S)[..., 0]
    return HipHeights(y_m=out, stretch=stretch)


def cloth_factor(track: RunwayTrack, strides: Sequence[TrunkMotion]) -> float:
    """How many times less the trunk's pixels and the hip joints agree than under tight clothes, at least 1.

    Under loose clothes the cloth swings behind the body, so that neither its pixels nor the joints that the pose model sees
    in it keep their place on the trunk. The medians over the strides followed.
    """
    followed = [m for m in strides if not m.reason]
    if not followed:
        return UNTOLD_CLOTH
    apart = float(np.median([_apart_m(track, m) for m in followed]))
    jitter = float(np.median([m.jitter_m for m in followed]))
    return max(1.0, apart / USUAL_APART_M, jitter / USUAL_JITTER_M)


def cloth_notices(cloth: float, noise_factor: float, strides: Sequence[TrunkMotion]) -> tuple[Notice, ...]:
    """Return what loose clothes cost, and what blurred, dim or few pictures do, where they do.

    Parameters
    ----------
    cloth : float
        `cloth_factor`: how badly pixels and joints of the trunk agree, for whatever reason.
    noise_factor : float
        How many times noisier the joints are than usual: blur makes these disagree as much, and that is no cloth.
    strides : sequence of TrunkMotion
        Where none could be followed, nothing tells blur from cloth.
    """
    out = []
    explained = noise_factor if any(not m.reason for m in strides) else 1.0
    if cloth / explained >= LOOSE_CLOTH:
        text = "clothes hang loosely, or the trunk shows little that could be followed: hip heights and speeds are less sure here"
        out.append(Notice(code="loose-clothes", text=text))
    if noise_factor >= UNSTEADY:
        less = f"{noise_factor:.1f} times less steadily than in a sharp clip"
        text = f"joints are seen {less}: pictures are blurred, dim or too far apart"
        out.append(Notice(code="unsteady-joints", text=text))
    return tuple(out)


def _apart_m(track: RunwayTrack, motion: TrunkMotion) -> float:
    """SD over a stride of the height of the hips over the trunk's pixels."""
    away = middle(track.xy_m[motion.window.rows], "hip") - motion.window.path_m - motion.shift_m
    return float(np.nanstd(away[:, 1]))


def _stretches(track: RunwayTrack, strides: Sequence[TrunkMotion], hand: Floats | None) -> list[tuple[Ints, Floats]]:
    """Rows and heights (of no certain level) of every stretch of strides that overlap."""
    found: list[tuple[Ints, Floats]] = []
    for motion in strides:
        rows = motion.window.rows
        if motion.reason or _by_hand(hand, rows):
            continue
        height = _height_m(track, motion)
        if height is None:
            continue
        last = found[-1] if found else (np.zeros(0, dtype=np.int64), np.zeros(0))
        both, before, after = np.intersect1d(last[0], rows, return_indices=True)
        if len(both) < LEAST_SHARED:
            found.append((rows, height))
            continue
        height = height + float(np.mean(last[1][before] - height[after]))
        share = (np.arange(len(both)) + 1.0) / (len(both) + 1.0)  # from the one stride over to the other
        height[after] = (1.0 - share) * last[1][before] + share * height[after]
        old: Bools = ~np.isin(last[0], both)
        found[-1] = (np.concatenate([last[0][old], rows]), np.concatenate([last[1][old], height]))
    return found


def _by_hand(hand: Floats | None, rows: Ints) -> bool:
    return hand is not None and bool((middle(hand[rows][..., None], "hip") > 0.0).any())


def _height_m(track: RunwayTrack, motion: TrunkMotion) -> Floats | None:
    """Height (n,) of the mid-hip at its usual place on the moving trunk; None where the joints contradict."""
    hip = middle(track.xy_m[motion.window.rows], "hip")
    origin = motion.window.path_m + motion.shift_m
    cos, sin = np.cos(motion.turn_rad), np.sin(motion.turn_rad)
    away = hip - origin
    along = np.nanmedian(cos * away[:, 0] + sin * away[:, 1])
    up = np.nanmedian(cos * away[:, 1] - sin * away[:, 0])
    height = origin[:, 1] + sin * along + cos * up
    apart = hip[:, 1] - height
    return np.asarray(height) if float(np.nanstd(apart)) <= MOST_APART_M else None


def _filled(values: Floats) -> Floats:
    """Draws (s, n) with straight lines over rows that have none (where a joint was filled in)."""
    good: Bools = np.asarray(np.isfinite(values).all(axis=0))
    if good.all() or not good.any():
        return values
    rows = np.arange(values.shape[1])
    return np.stack([np.interp(rows, rows[good], line[good]) for line in values])
