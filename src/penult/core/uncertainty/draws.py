"""Monte Carlo draws of the joints (JCGM 101:2008): every source of uncertainty after the pose model, through the whole chain.

Row 0 of every draw is the measured track itself, so that one pass gives the value and its spread.

Sources, and where their sizes come from:
- camera: the covariance of the camera fit, by linear propagation to every sample (agrees with refitted cameras);
- depth: each joint's distance from the lane's centre line (`locate.depth_sd_m`), one draw a joint and clip;
- bias of each joint centre about its mean, by joint and direction, constant over the clip (`BOTH_SD_M`; MEASURES.md section 5);
- drift of that bias with the phase of the stride: SD DRIFT_SD_M with a correlation time DRIFT_TIME_S, so that it nearly
  cancels between like phases of neighbouring frames and not between different phases; larger where the joints are noisier
  than usual (`noise_factor`);
- white noise: measured on this very clip;
- the shutter: rows of one picture are not read at once (`READOUT_SHARE`).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial

import numpy as np

from penult.core.joints.joint_bias import TURNED_SD
from penult.core.joints.locate import depth_sd_m
from penult.core.lane.aside import LINE_SD_M
from penult.core.lane.camera import at_depth
from penult.core.numeric.seeds import Stream, generator
from penult.core.numeric.slopes import first_order
from penult.model.arrays import Bools, Floats
from penult.model.calibration import Camera
from penult.model.skeleton import JOINTS, joint
from penult.model.track import PixelTrack

COUNT = 250
"""Draws: the SD of an SD from n draws is 1/sqrt(2n), here 4.5 %."""

FIGURE_SD_M = 0.004
BOTH_SD_M = {
    "head": (0.008, 0.008),
    "shoulder": (0.005, 0.008),
    "elbow": (0.012, 0.008),
    "wrist": (0.010, 0.008),
    "hip": (0.008, 0.008),
    "knee": (0.008, 0.008),
    "ankle": (0.007, 0.007),
    "heel": (0.007, 0.009),
    "toe": (0.010, 0.008),
}
ONE_SD_M = {
    "head": (0.0, 0.0),
    "shoulder": (0.008, 0.005),
    "elbow": (0.013, 0.005),
    "wrist": (0.006, 0.007),
    "hip": (0.010, 0.004),
    "knee": (0.006, 0.005),
    "ankle": (0.006, 0.004),
    "heel": (0.006, 0.005),
    "toe": (0.011, 0.004),
}
"""What is left of a joint's bias once its mean (`joint_bias.MEAN_M`) is out, constant over a clip, one SD along the run and
in height: of the whole figure (the crop shifts it), of both sides alike (body and clothes), and of the nearer against the
farther side, which the middle of both does not feel. From film to film the means differ by 0.3 cm for the figure, 0.3 to 0.9 for
both sides, and left from right by 1.4 times `ONE_SD_M` (tight clothes: twenty films with known truth, shoulders 30); for bodies
that none of them shows `BOTH_SD_M` is 1.6 times as wide (captured motion of other people puts the hips up to 1.5 cm lower than the
mean). Loose clothes come on top, at the hips: `cloth`."""

ONE_SIDED = 0.7
"""Half of those 1.4: one side lies as far to one side of the middle as the other to the other."""

KNEE_ALIKE = 0.3
"""Correlation of the knee's errors with those of the hip and of the ankle: the pose model sees the leg as a whole. Standing legs
under tight clothes, at touchdown 0.36 to 0.59, at toe-off -0.02 to 0.36 (83 contacts; the 27 used for choosing 0.36, 0.59, -0.02,
0.11); under loose ones none is seen."""

DRIFT_SD_M = {
    "toe": (0.012, 0.012),
    "shoulder": (0.010, 0.008),
    "hip": (0.010, 0.006),
    "knee": (0.011, 0.009),
    "ankle": (0.011, 0.005),
    "other": (0.007, 0.007),
}
"""In x and y. What the standing leg's joints scatter by from contact to contact at touchdown and toe-off beyond their
constant bias (94 contacts at 240 Hz, nearer and farther leg together: hip 1.4, knee 1.1, ankle 1.1 cm along the run);
heel and toe by their repetition within 1 and 2 cm (ranges, taken as 1.7 SD). The shoulders: their middle scatters by 0.6 to
0.8 and 0.5 cm from contact to contact (33 films, tight clothes) once what their turn does is out (`joint_bias.TURNED`); under
loose clothes by 0.9 to 1.6 along the run."""

USUAL_NOISE_M = 0.0072
"""White noise of a joint, median over all joints: 5.5 to 7.2 mm on ten sharp films of 120 Hz and more with known truth, on which
the drift was measured. On a blurred and dim one it is 17 mm, and its joints drift as many times more (slopes over a flight
2 to 6 times)."""

OVERLAPPED = 2.0
"""How many times more joints drift while somebody else is behind or before the athlete: over one film with four walkers and a
jogger, angles and speeds there are off by 1.8 times as much as its others (17 values), elsewhere not measured."""

READOUT_SHARE, LONGEST_READOUT_S = 0.58, 0.015
"""A rolling shutter reads a picture from top to bottom in up to a frame
interval, in phones within about 15 ms (from memory); how long this one takes is not known: anything from nothing to that, RMS
1 / sqrt 3 of it. A frame's time is that of its middle row."""

HAND_SD_M = 0.01
"""How well a person puts a joint centre side-on, one SD: repeated digitising of the same film by hand differs by about this
(from memory, to be confirmed)."""

DRIFT_TIME_S = 0.08
"""About a third of a step: the time in which a leg changes its shape to the pose model."""

NUDGE = 1e-6
"""Step of the slopes along a camera parameter: marks in one plane leave focal length and distance free together by tens of
percent, and steps as long as that would not cancel where the two do."""

WIDEST_GAP = 17
"""Frames from one sample to the next that count as a row: as far apart as the pose model looks (60 a second) at 1 kHz."""

MOST_SPREAD = 4.0
"""Times the usual variance of a camera: the first frame of a turning camera may not have been found at all."""

LEAST_DIFFERENCES = 20
"""Fewer third differences tell no noise (common practice, no source)."""

UNKNOWN_NOISE_M = 0.02
"""Taken where the clip does not tell: that of the toes, the noisiest joints (0.016 to 0.022 m)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Draws:
    """Joints (s, t, k, 2), first row measured; camera parameters (s - 1, p) about their values; a generator for later draws.

    `lasting_m` (s, t, k, 2) is what of every draw's departure lasts over a flight: camera, depth, constant bias. `noise_factor` is
    how many times the joints drift more than on a sharp film; `shared_timing_error` (2, s - 1) how late all touchdowns of the
    clip are, and all toe-offs, of unit SD; `cloth` see `draw_track`; `readout_s` (s - 1,) how much later the picture's last row
    is read than its first; `restless` (t,) how many times more the joints drift in a row; `far_lead_m` (t,) see `draw_track`;
    `by_depth` (t, k, 2) how far x and y of a joint move with its depth (m/m).
    """

    xy_m: Floats
    camera_theta: Floats
    generator: np.random.Generator
    lasting_m: Floats
    noise_factor: float
    shared_timing_error: Floats
    cloth: float = 1.0
    readout_s: Floats | None = None
    restless: Floats | None = None
    far_lead_m: Floats | None = None
    by_depth: Floats | None = None


def draw_track(
    track: PixelTrack,
    cameras: Sequence[Camera],
    z_m: Floats,
    xy_m: Floats,
    weight: Floats,
    hand: Floats | None = None,
    cloth: float = 1.0,
    overlapped: Bools | None = None,
    far_lead_m: Floats | None = None,
) -> Draws:
    """Draw the joints on the runway.

    Parameters
    ----------
    track : PixelTrack
        t rows of k joints.
    cameras : sequence of Camera
        One, or one a row.
    z_m : (k,) float64
        Depths.
    xy_m : (t, k, 2) float64
        The measured joints.
    weight : (t, k) float64
        Samples with weight 0 do not count for the noise.
    hand : (t, k) float64, optional
        How far each sample was put where it is by a person, 0 to 1: what a hand can do takes the place of the bias and
        drift of the pose model.
    cloth : float
        How many times less the trunk's pixels and joints agree than under tight clothes (`hip_heights.cloth_factor`): the height
        of the hips is that much less sure.
    overlapped : (t,) bool, optional
        Rows in which somebody else is before or behind the athlete: joints drift more there.
    far_lead_m : (t,) float64, optional
        How far the farther shoulder is ahead of the nearer one, where the joints come from the pose model (`joint_bias`).

    Returns
    -------
    Draws
        COUNT + 1 rows.
    """
    rng = generator(Stream.JOINTS)
    by_camera, by_depth = _sensitivities(track, cameras, z_m)
    theta = _camera_draws(_usual(cameras).covariance, rng)
    lasting = np.zeros((COUNT + 1, *xy_m.shape))
    lasting[1:] += np.einsum("tkdp,sp->stkd", by_camera, theta, optimize=True)
    dz = rng.normal(0.0, 1.0, (COUNT, len(z_m))) * depth_sd_m()
    dz += rng.normal(0.0, LINE_SD_M, (COUNT, 1))  # the whole athlete beside the centre line
    lasting[1:] += by_depth[None] * dz[:, None, :, None]
    bias = _bias(rng, cloth)
    noise_m = white_noise_sd_m(xy_m, weight)
    noise_factor = noise_factor_of(noise_m)
    restless = np.ones(len(track.time_s)) if overlapped is None else np.where(overlapped, OVERLAPPED, 1.0)
    noise_m = np.where(np.isfinite(noise_m), noise_m, UNKNOWN_NOISE_M)
    model = noise_factor * restless[None, :, None, None] * _drift(track.time_s, rng, cloth)
    if far_lead_m is not None:
        model += _turned(far_lead_m)
    lasting[1:] += bias if hand is None else _partly_by_hand(bias, hand)
    passing = model if hand is None else model * (1.0 - hand[None, :, :, None])
    out = xy_m[None] + lasting
    out[1:] += passing
    out[1:] += rng.normal(0.0, 1.0, (COUNT, *xy_m.shape)) * noise_m[None, None, :, None]
    shared_timing_error = generator(Stream.COMMON_LATENESS).normal(size=(2, COUNT))
    readout_s = readout_sd_s(track.time_s) * generator(Stream.READOUT).normal(size=COUNT)
    return Draws(
        xy_m=out,
        camera_theta=theta,
        generator=rng,
        lasting_m=lasting,
        noise_factor=noise_factor,
        shared_timing_error=shared_timing_error,
        cloth=cloth,
        readout_s=readout_s,
        restless=None if overlapped is None else restless,
        far_lead_m=far_lead_m,
        by_depth=by_depth,
    )


def readout_sd_s(time_s: Floats) -> float:
    """How long a rolling shutter may take from the first row to the last, RMS."""
    every_s = float(np.median(np.diff(time_s))) if len(time_s) > 1 else 0.0
    return READOUT_SHARE * min(every_s, LONGEST_READOUT_S)


def _partly_by_hand(model_m: Floats, hand: Floats) -> Floats:
    """Draws of the joints' bias (s, t, k, 2) where a person put some; a generator of its own leaves all others as they were."""
    rng = generator(Stream.HAND)
    share = hand[None, :, :, None]
    return model_m * (1.0 - share) + rng.normal(0.0, HAND_SD_M, (COUNT, 1, *model_m.shape[2:])) * share


def white_noise_sd_m(xy_m: Floats, weight: Floats) -> Floats:
    """White noise (k,) of each joint from third differences: motion is smooth over four frames, noise is not.

    The variance of a third difference of white noise is 20 times that of the noise (binomial coefficients 1, 3, 3, 1). NaN
    where there are too few of them.
    """
    sd = np.empty(xy_m.shape[1])
    for k in range(xy_m.shape[1]):
        rows = np.flatnonzero(weight[:, k] > 0)  # the pose model may have looked at every second frame only
        third = np.diff(xy_m[rows, k], n=3, axis=0) / np.sqrt(20.0)
        gaps = np.lib.stride_tricks.sliding_window_view(np.diff(rows), 3) if len(rows) > 3 else np.empty((0, 3))
        even = (gaps == gaps[:, :1]).all(axis=1) & (gaps <= WIDEST_GAP).all(axis=1)
        values = np.abs(third[even]).ravel()
        values = values[np.isfinite(values)]
        sd[k] = 1.4826 * np.median(values) if len(values) >= LEAST_DIFFERENCES else np.nan
    return sd


def noise_factor_of(noise_m: Floats) -> float:
    """Return how many times noisier the joints (k,) are than usual, at least once; NaN says nothing."""
    told = noise_m[np.isfinite(noise_m)]
    return max(1.0, float(np.median(told)) / USUAL_NOISE_M) if told.size else 1.0


def _bias(rng: np.random.Generator, cloth: float) -> Floats:
    """Constant bias of every joint, (COUNT, 1, k, 2): a part of the whole figure, one of both sides, one of its own side."""
    figure = rng.normal(size=(COUNT, 1, 1, 2))
    parts = [name.split("_")[-1] for name in JOINTS]
    kinds = sorted(set(parts))
    at = [kinds.index(part) for part in parts]
    leg = [kinds.index(part) for part in ("hip", "knee", "ankle")]
    both, own = (_alike(rng.normal(size=(COUNT, 1, len(kinds), 2)), leg, cloth)[:, :, at] for _ in range(2))
    side = np.array([1.0 if name.startswith("left") else -1.0 for name in JOINTS])[:, None]
    both_m = np.array([BOTH_SD_M[part] for part in parts])
    both_m[[part == "hip" for part in parts], 1] *= cloth
    own_m = ONE_SIDED * side * np.array([ONE_SD_M[part] for part in parts])
    return np.asarray(FIGURE_SD_M * figure + both_m * both + own_m * own)


def _alike(unit: Floats, leg: Sequence[int], cloth: float) -> Floats:
    """Draws (..., k, 2) of unit SD with those of the knee made to go with hip and ankle; `leg` says where the three are."""
    hip, knee, ankle = leg
    alike = KNEE_ALIKE / cloth
    unit[..., knee, :] *= np.sqrt(1.0 - 2.0 * alike**2)
    unit[..., knee, :] += alike * (unit[..., hip, :] + unit[..., ankle, :])
    return unit


def wandering(
    time_s: Floats, shape: tuple[int, ...], rng: np.random.Generator, lasts_s: float = DRIFT_TIME_S
) -> Floats:
    """Ornstein-Uhlenbeck processes of unit SD, (COUNT, t, *shape), on the median frame interval, forgotten in `lasts_s`."""
    every_s = float(np.median(np.diff(time_s))) if len(time_s) > 1 else 0.0  # a flight may have a single row
    keep = float(np.exp(-every_s / lasts_s)) if every_s > 0.0 else 0.0
    shock = rng.normal(0.0, 1.0, (COUNT, len(time_s), *shape)) * np.sqrt(1.0 - keep**2)
    shock[:, 0] /= np.sqrt(1.0 - keep**2)  # begins in its steady state
    return first_order(keep, shock)


def _drift(time_s: Floats, rng: np.random.Generator, cloth: float) -> Floats:
    """Drift of every joint, (COUNT, t, k, 2); under loose clothes hips and shoulders are seen where the cloth swings."""
    size_m = drift_sd_m()
    size_m[[name.endswith("hip") for name in JOINTS], 1] *= cloth
    size_m[[name.endswith("shoulder") for name in JOINTS], 0] *= cloth
    unit = wandering(time_s, (len(JOINTS), 2), rng)
    for side in ("left", "right"):
        unit = _alike(unit, [joint(side, part) for part in ("hip", "knee", "ankle")], cloth)
    return unit * size_m


def _turned(far_lead_m: Floats) -> Floats:
    """What is not known of the bias of turned shoulders, (COUNT, t, k, 2)."""
    share = TURNED_SD * generator(Stream.TURNED).normal(size=(COUNT, 1))
    out = np.zeros((COUNT, len(far_lead_m), len(JOINTS), 2))
    for side in ("left", "right"):
        out[:, :, joint(side, "shoulder"), 0] = share * far_lead_m
    return out


def drift_sd_m() -> Floats:
    """SD (k, 2) of every joint's drift."""
    return np.array([DRIFT_SD_M.get(name.split("_")[-1], DRIFT_SD_M["other"]) for name in JOINTS])


def _usual(cameras: Sequence[Camera]) -> Camera:
    """Return the camera whose covariance stands for all: the first one, or, where the first was hardly found, a middle one."""
    spreads = np.array([float(np.trace(c.covariance)) for c in cameras])
    if spreads[0] <= MOST_SPREAD * np.median(spreads):
        return cameras[0]
    return cameras[int(np.argsort(spreads)[len(spreads) // 2])]


def _camera_draws(covariance: Floats, rng: np.random.Generator) -> Floats:
    """Draws (COUNT, p) of the camera's parameters about their values."""
    values, vectors = np.linalg.eigh(covariance)
    scale = vectors * np.sqrt(np.maximum(values, 0.0))
    return np.asarray(rng.normal(size=(COUNT, len(values))) @ scale.T)


def _sensitivities(track: PixelTrack, cameras: Sequence[Camera], z_m: Floats) -> tuple[Floats, Floats]:
    """How x and y of every sample move with each camera parameter (t, k, 2, p) and with the joint's depth (t, k, 2)."""
    sd = np.sqrt(np.diag(_usual(cameras).covariance))
    step = np.where(sd > 0, NUDGE, 0.0)
    by_camera = np.zeros((*track.xy_px.shape, len(sd)))
    for p in np.flatnonzero(step):
        ahead = _map(track, cameras, z_m, partial(moved, parameter=int(p), step=float(step[p])))
        behind = _map(track, cameras, z_m, partial(moved, parameter=int(p), step=-float(step[p])))
        by_camera[..., p] = (ahead - behind) / (2.0 * step[p])
    near, far = _map(track, cameras, z_m - 0.05), _map(track, cameras, z_m + 0.05)
    return by_camera, np.asarray((far - near) / 0.1)


def _map(
    track: PixelTrack, cameras: Sequence[Camera], z_m: Floats, change: Callable[[Camera], Camera] = lambda c: c
) -> Floats:
    if len(cameras) == 1:
        return at_depth(change(cameras[0]), track.xy_px, z_m)
    return np.stack([at_depth(change(c), row, z_m) for c, row in zip(cameras, track.xy_px, strict=True)])


def moved(camera: Camera, parameter: int, step: float) -> Camera:
    """Return the camera with one parameter changed by `step`."""
    parameters = np.array(camera.parameters)
    parameters[parameter] += step
    return Camera(
        parameters=parameters,
        covariance=camera.covariance,
        image_size_px=camera.image_size_px,
        centre_px=camera.centre_px,
    )
