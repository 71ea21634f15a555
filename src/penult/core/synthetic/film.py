"""What a camera and a pose model make of a synthetic runner: joints with chosen faults, shoes, marks of a lane."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from scipy.signal import lfilter

from penult.core.joints.locate import joint_depths
from penult.core.lane.camera import project
from penult.core.synthetic.body import LAND_DEG, joints_at
from penult.core.synthetic.run import Runner, Stance
from penult.model.arrays import Bools, Floats
from penult.model.calibration import Camera, LaneFile, Mark
from penult.model.clip import Clip
from penult.model.shoe import ShoeContact
from penult.model.skeleton import JOINTS, joint
from penult.model.track import PixelTrack

LEG = ("hip", "knee", "ankle", "heel", "toe")


@dataclass(frozen=True, slots=True, kw_only=True)
class Faults:
    """What goes wrong between a body and its track; nothing by default.

    Parameters
    ----------
    noise_px : float
        SD of white noise.
    figure_m : float
        SD of a constant bias that all joints share, in both directions.
    both_m, one_m : mapping
        SD in x and y of each joint centre's constant bias that both sides of the body share, and that of one side, by part.
    opposed_share : float
        Above 0 one side lies as far off as the other to the other side, by this share of `one_m`; 0: each by itself.
    knee_alike_share : float
        Correlation of a knee's errors with those of the hip and of the ankle of its leg.
    drift_m : mapping
        SD of a bias that drifts with correlation time `drift_s`, by part ('toe', 'knee' ...), else that of 'other'.
    flight_drift_m : mapping
        SD in x and y that this drift has in flight, by part, where it is larger.
    depth_m, line_m : float or (k,) float64, float
        SD of each joint's depth about those of `locate.joint_depths`, and of the whole athlete's about the centre line.
    outlier_share, outlier_px : float
        Share of samples that are thrown off, and how far (SD).
    swap_share : float
        Share of rows whose legs carry each other's labels.
    gap_share : float
        Share of rows without a body.
    """

    noise_px: float = 0.0
    figure_m: float = 0.0
    both_m: Mapping[str, tuple[float, float]] = field(default_factory=dict)
    one_m: Mapping[str, tuple[float, float]] = field(default_factory=dict)
    opposed_share: float = 0.0
    knee_alike_share: float = 0.0
    drift_m: Mapping[str, tuple[float, float]] = field(default_factory=dict)
    drift_s: float = 0.08
    flight_drift_m: Mapping[str, tuple[float, float]] = field(default_factory=dict)
    depth_m: float | Floats = 0.0
    line_m: float = 0.0
    outlier_share: float = 0.0
    outlier_px: float = 80.0
    swap_share: float = 0.0
    gap_share: float = 0.0


def square_camera(*, distance_m: float = 12.0, focal_px: float = 1900.0, from_left: bool = False) -> Camera:
    """Return a level camera square to the run, 2.4 m before the line; on the athlete's right unless `from_left`."""
    turn = np.array([0.0, 0.0, np.pi]) if from_left else np.array([np.pi, 0.0, 0.0])
    along = -2.4 if from_left else 2.4
    return Camera(
        parameters=np.concatenate([turn, [along, 1.1, distance_m], [np.log(focal_px), 0.0, 0.0]]),
        covariance=np.zeros((9, 9)),
        image_size_px=(1920, 1080),
        centre_px=(959.5, 539.5),
    )


def lane_file(camera: Camera, noise_px: float, rng: np.random.Generator, *, board: bool = True) -> LaneFile:
    """Return the marks of poles on the lane as a person would click them, and the board's corners."""
    places = [(x, y, 0.0) for x in (-6.5, -4.0, -1.5, 1.0) for y in (0.0, 1.0, 2.0)]
    if board:
        places += [(x, 0.0, z) for x in (-0.2, 0.0) for z in (-0.61, 0.61)]
    clicks = project(camera, places) + rng.normal(0.0, noise_px, (len(places), 2))
    marks = tuple(
        Mark(name=f"mark {i}", pixel_px=(float(u), float(v)), runway_m=place)
        for i, ((u, v), place) in enumerate(zip(clicks, places, strict=True))
    )
    return LaneFile(image_size_px=camera.image_size_px, marks=marks, pixel_sd_px=max(noise_px, 0.1), board=board)


def frame_times_s(runner: Runner, rate_hz: float) -> Floats:
    """Return the frame times of a clip of the run, at the runner's own clock."""
    first, last = runner.shown_s
    return np.asarray(first + np.arange(int((last - first) * rate_hz)) / rate_hz)


def clip_of(time_s: Floats, camera: Camera, *, rate_from: str = "frame times") -> Clip:
    """Return the record of a clip with those frame times."""
    return Clip(
        file="synthetic.mp4",
        sha256="0" * 64,
        size_px=camera.image_size_px,
        time_s=time_s,
        file_time_s=time_s - time_s[0],
        capture_rate_hz=1.0 / float(np.median(np.diff(time_s))),
        capture_rate_from=rate_from,
    )


def film(
    runner: Runner, camera: Camera, time_s: Floats, faults: Faults | None = None, rng: np.random.Generator | None = None
) -> PixelTrack:
    """Return the joints in the picture at `time_s` (t,), with the faults that are asked for.

    Parameters
    ----------
    runner : Runner
    camera : Camera
    time_s : (t,) float64
        Within `runner.shown_s`.
    faults : Faults, optional
        None: a perfect track.
    rng : Generator, optional
        For the faults.
    """
    faults, rng = faults or Faults(), rng or np.random.default_rng(0)
    flying = np.searchsorted(runner.knots_s, time_s, side="right") % 2 == 0
    place_m = joints_at(runner, time_s) + _bias_m(time_s, flying, faults, rng)
    depth_m = (
        joint_depths(runner.scale()) + faults.depth_m * rng.normal(size=len(JOINTS)) + faults.line_m * rng.normal()
    )
    depths_m = np.broadcast_to(depth_m[:, None], (*place_m.shape[:2], 1))
    xy_px = project(camera, np.concatenate([place_m, depths_m], axis=2))
    xy_px += rng.normal(0.0, faults.noise_px, xy_px.shape)
    wild = rng.random(xy_px.shape[:2]) < faults.outlier_share
    xy_px += wild[..., None] * rng.normal(0.0, faults.outlier_px, xy_px.shape)
    swapped = rng.random(len(time_s)) < faults.swap_share
    left, right = (np.array([joint(side, part) for part in LEG]) for side in ("left", "right"))
    exchanged = xy_px[np.ix_(swapped, right)]
    xy_px[np.ix_(swapped, right)] = xy_px[np.ix_(swapped, left)]
    xy_px[np.ix_(swapped, left)] = exchanged
    xy_px[rng.random(len(time_s)) < faults.gap_share] = np.nan
    return PixelTrack(
        frame=np.arange(len(time_s)),
        time_s=time_s,
        xy_px=xy_px,
        score=np.where(np.isfinite(xy_px[..., 0]), 0.99, np.nan),
        filled=np.zeros(xy_px.shape[:2], dtype=bool),
    )


def _bias_m(time_s: Floats, flying: Bools, faults: Faults, rng: np.random.Generator) -> Floats:
    """Constant bias of every joint and a drift about it, larger in flight, (t, k, 2)."""
    part = [name.split("_")[-1] for name in JOINTS]
    size_m = np.array([faults.drift_m.get(p, faults.drift_m.get("other", (0.0, 0.0))) for p in part])
    whole_m = np.array([faults.flight_drift_m.get(p, (0.0, 0.0)) for p in part])
    extra_m = np.sqrt(np.maximum(whole_m**2 - size_m**2, 0.0))
    drift = size_m * _alike(_wandering(time_s, faults.drift_s, rng), faults.knee_alike_share)
    drift += flying[:, None, None] * extra_m * _wandering(time_s, faults.drift_s, rng)
    both_m, one_m = (np.array([sd.get(p, (0.0, 0.0)) for p in part]) for sd in (faults.both_m, faults.one_m))
    parts, of_part = np.unique(part, return_inverse=True)
    both = _alike(rng.normal(size=(len(parts), 2))[of_part], faults.knee_alike_share)
    one = _alike(rng.normal(size=(len(JOINTS), 2)), faults.knee_alike_share)
    if faults.opposed_share:
        side = np.array([1.0 if name.startswith("left") else -1.0 for name in JOINTS])[:, None]
        one = faults.opposed_share * side * _alike(rng.normal(size=(len(parts), 2))[of_part], faults.knee_alike_share)
    return np.asarray(drift + faults.figure_m * rng.normal(size=2) + both_m * both + one_m * one)


def _alike(unit: Floats, share: float) -> Floats:
    """Unit draws (..., k, 2) with each knee's made to go with those of hip and ankle."""
    out = np.array(unit)
    for side in ("left", "right"):
        hip, knee, ankle = (joint(side, part) for part in ("hip", "knee", "ankle"))
        own = np.sqrt(1.0 - 2.0 * share**2) * unit[..., knee, :]
        out[..., knee, :] = own + share * (unit[..., hip, :] + unit[..., ankle, :])
    return out


def _wandering(time_s: Floats, forget_s: float, rng: np.random.Generator) -> Floats:
    """A first-order autoregression of SD 1 for every joint, (t, k, 2)."""
    keep = float(np.exp(-np.median(np.diff(time_s)) / forget_s))
    shock = rng.normal(size=(len(time_s), len(JOINTS), 2))
    shock[1:] *= np.sqrt(1.0 - keep**2)
    return np.asarray(lfilter([1.0], [1.0, -keep], shock, axis=0))


@dataclass(frozen=True, slots=True, kw_only=True)
class ShoeSpread:
    """SDs with which pictures tell of a shoe, and the share of the instants' variance that all of them have together."""

    time_s: float = 0.002
    common_share: float = 0.0
    toe_m: float = 0.008
    surface_m: float = 0.005
    foot_deg: float = 2.0


def shoes(stances: Sequence[Stance], spread: ShoeSpread, rng: np.random.Generator) -> tuple[ShoeContact, ...]:
    """Return what pictures would say of those supports: the truth with errors of the spread that they state."""
    late_s = np.sqrt(spread.common_share) * rng.normal(0.0, spread.time_s)
    own_s = np.sqrt(1.0 - spread.common_share) * spread.time_s
    return tuple(
        ShoeContact(
            touchdown_s=rng.normal(s.touchdown_s + late_s, own_s),
            touchdown_sd_s=spread.time_s,
            toe_off_s=rng.normal(s.toe_off_s + late_s, own_s),
            toe_off_sd_s=spread.time_s,
            toe_x_m=rng.normal(s.tip_m[0], spread.toe_m),
            toe_x_sd_m=spread.toe_m,
            heel_x_m=None,
            support_height_m=rng.normal(s.tip_m[1], spread.surface_m) if s.tip_m[1] else 0.0,
            support_height_sd_m=spread.surface_m if s.tip_m[1] else 0.0,
            foot_angle_touchdown_deg=rng.normal(LAND_DEG, spread.foot_deg),
            foot_angle_touchdown_sd_deg=spread.foot_deg,
            quality=1.0,
            toe_seen=True,
        )
        for s in stances
    )
