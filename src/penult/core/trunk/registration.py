"""The trunk's motion in a flight, from its own pixels: all pictures of the flight registered against their mean.

Pose models let hips and shoulders drift with the swinging limbs (0.1 to 0.4 m/s on films with known truth). Cloth and skin
do not. But what is filmed is the near surface, and the trunk turns about its long axis: the surface then moves along the
run against the trunk's middle, most where it lies nearest to the camera and not at all at the silhouette. So the model that
is fitted is a turning body of elliptic cross-section: shift, lean, and turn about the long axis at shoulders and hips.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import binary_dilation, gaussian_filter

from penult.core.joints.body import middle
from penult.core.trunk.flight_drift import DISAGREE, TRUNK
from penult.core.trunk.window import LEAST_PICTURES
from penult.model.arrays import Bools, Floats, Ints
from penult.model.skeleton import joint
from penult.model.track import RunwayTrack
from penult.model.trunk import TrunkMotion, TrunkPatches, TrunkWindow

HALF_DEPTH = 0.26
"""Half the trunk's breadth from side to side over the length shoulder to hip: 0.13 of 0.50 m, between waist and chest
(common practice, no source)."""

HALF_WIDTH = 0.21
"""Half the trunk's depth from back to front, which the camera sees as its width: 0.105 of 0.50 m (common practice, no source)."""

USED_WIDTH, USED_LENGTH = 0.23, (0.30, 1.0)
"""Pixels used: to a rim of 1 cm beyond the silhouette, which shows the shift without the turn, and from below the shoulder
girdle, which goes with the arms, to the hip joints; as shares of the length shoulder to hip. Half width and used width were
chosen from six pairs on the same 26 running flights of eight films with known truth, so the error of the trunk's speed there
is a little too good: 0.042 m/s RMS (pose model: 0.093); 0.22 and 0.24: 0.044; 0.22 and 0.26: 0.056; 0.21, 0.22 and 0.24
without the rim: 0.053, 0.064, 0.097."""

ARM_RADIUS = (0.15, 0.13)
"""Reach of the near upper arm and forearm, as shares of the same length: limb and error of its joints. Left out."""

HAND_OF_FOREARM = 0.55
"""Hand with stretched fingers beyond the wrist, over the forearm."""

ROUNDS = 8
MOMENTUM = 0.3
"""Every round's step goes on with this share of the one before: eight rounds then leave less than 0.01 m/s of the trunk's speed
to be found (against 40 rounds, eight flights of two films), twelve without it left 0.006, eight without it 0.023."""

LEAST_PIXELS = 150
MOST_JITTER_M = 0.012
"""A motion rougher than the white noise of raw joints (0.6 cm, two SD) is worse than theirs."""

ROOM_M = 0.06
"""How far the trunk may be from where the joints show it, in the pixels of the mean picture that are worked out."""

NEAR_PIXELS = 3
"""So far from the places that were of use in one round the next one looks for more."""

STEADY_M = 1e-4
"""The registration ends when nothing moves by more than this."""


def follow_trunk(patches: TrunkPatches, track: RunwayTrack) -> TrunkMotion:
    """Register all pictures of a flight against their mean.

    Parameters
    ----------
    patches : TrunkPatches
        Of one flight.
    track : RunwayTrack
        Joints, for the first guess and to leave out the near arm.

    Returns
    -------
    TrunkMotion
        With a reason when the pictures do not carry it.
    """
    window, index = patches.window, patches.index
    if len(index) < LEAST_PICTURES:
        return _nothing(window, "too few pictures of the trunk")
    body = _Body.of(patches, track)
    job = _Registration(patches=patches, body=body, usable=_usable(patches, body))
    motion = job.run()
    if motion is None:
        return _nothing(window, "too little of the trunk is seen")
    jitter = _jitter_m(window, index, motion[:, :2])
    if jitter > _most_jitter_m(window, track):
        return _nothing(window, DISAGREE)
    every = np.arange(len(window.rows))
    full = np.stack([np.interp(every, index, motion[:, k]) for k in range(3)], axis=1)
    full -= full.mean(axis=0)
    return TrunkMotion(window=window, shift_m=full[:, :2], turn_rad=full[:, 2], jitter_m=jitter)


def _nothing(window: TrunkWindow, reason: str) -> TrunkMotion:
    return TrunkMotion(window=window, shift_m=np.zeros((0, 2)), turn_rad=np.zeros(0), reason=reason)


def _jitter_m(window: TrunkWindow, index: Ints, shift_m: Floats) -> float:
    """Scatter of the shift, one SD, the larger of x and y: in a flight about a parabola.

    A stride is no such simple curve: there it is the white noise that its third differences show (see
    `draws.white_noise_sd_m`), by their median, because a landing is no noise.
    """
    if window.is_stride:
        return _roughness_m(shift_m)
    t = window.time_s[index] - window.time_s[index].mean()
    rest = shift_m - np.vander(t, 3) @ np.polyfit(t, shift_m, 2)
    return float(np.sqrt((rest**2).sum(axis=0) / max(len(t) - 3, 1)).max())


def _roughness_m(path_m: Floats) -> float:
    """White noise of a path (n, 2) by its third differences, one SD, the larger of x and y."""
    rough = np.abs(np.diff(path_m, n=3, axis=0)) / np.sqrt(20.0)
    return float((1.4826 * np.median(rough, axis=0)).max())


def _most_jitter_m(window: TrunkWindow, track: RunwayTrack) -> float:
    """MOST_JITTER_M; of a stride twice the roughness of its joints where that is more, as on blurred films (7 to 11 mm)."""
    rows = window.rows
    if not window.is_stride or track.filled[rows][:, TRUNK].any():  # between looks the joints are straight lines
        return MOST_JITTER_M
    return max(MOST_JITTER_M, 2.0 * _roughness_m(track.xy_m[rows][:, TRUNK].mean(axis=1)))


@dataclass(frozen=True, slots=True, kw_only=True)
class _Body:
    """Joints about the path (n, k, 2), the near side, and the trunk's axis over the flight."""

    joints_m: Floats
    near: str
    shoulder_m: Floats
    hip_m: Floats

    @classmethod
    def of(cls, patches: TrunkPatches, track: RunwayTrack) -> _Body:
        window = patches.window
        joints = track.xy_m[window.rows[patches.index]] - window.path_m[patches.index, None]
        near = "right" if window.z_m > window.centre_z_m else "left"
        return cls(joints_m=joints, near=near, shoulder_m=middle(joints, "shoulder"), hip_m=middle(joints, "hip"))


def _usable(patches: TrunkPatches, body: _Body) -> Floats:
    """1 for pixels of the trunk that the near arm does not cover, (n, h, w)."""
    length = patches.window.length_m
    place = np.stack(np.meshgrid(patches.x_m, patches.y_m), axis=-1)
    out = np.zeros(patches.images.shape[:3])
    for i, joints in enumerate(body.joints_m):
        along, across = _trunk_axes(place, body.shoulder_m[i], body.hip_m[i])
        good = (along > USED_LENGTH[0]) & (along < USED_LENGTH[1]) & (np.abs(across) < USED_WIDTH * length)
        shoulder, elbow, wrist = (joints[joint(body.near, part)] for part in ("shoulder", "elbow", "wrist"))
        trunk = place[good]
        free = _distance(trunk, shoulder, elbow) > ARM_RADIUS[0] * length
        free &= _distance(trunk, elbow, wrist + HAND_OF_FOREARM * (wrist - elbow)) > ARM_RADIUS[1] * length
        out[i][good] = free
    return out


def _trunk_axes(place_m: Floats, shoulder_m: Floats, hip_m: Floats) -> tuple[Floats, Floats]:
    """Share of the way from shoulders to hips, and metres across, of places (h, w, 2)."""
    axis = hip_m - shoulder_m
    length = np.hypot(*axis)
    away = place_m - shoulder_m
    return away @ axis / length**2, away @ np.array([-axis[1], axis[0]]) / length


def _distance(place_m: Floats, start_m: Floats, end_m: Floats) -> Floats:
    """Distance of places (p, 2) from the line between two points."""
    line = end_m - start_m
    share = np.clip((place_m - start_m) @ line / (line @ line + 1e-9), 0.0, 1.0)
    return np.asarray(np.linalg.norm(place_m - start_m - share[..., None] * line, axis=-1))


@dataclass(slots=True, kw_only=True)
class _Registration:
    """Gauss-Newton on all pictures in turn, their mean made anew in every round."""

    patches: TrunkPatches
    body: _Body
    usable: Floats
    _pixel_m: float = field(init=False)
    _layers: NDArray[np.float32] = field(init=False)
    _x: Floats = field(init=False)
    _y: Floats = field(init=False)
    _looked: Bools = field(init=False)
    _turns: Floats = field(init=False)
    _way: Floats = field(init=False)
    _nearer: Floats = field(init=False)

    def run(self) -> Floats | None:
        """Shift, lean, and turn at shoulders and hips of every picture, (n, 5); None without enough pixels."""
        self._prepare()
        motion = self._first_guess()
        step = np.zeros_like(motion)
        for _ in range(ROUNDS):
            seen, sure = self._warped(motion)
            counts = np.zeros(self._x.shape)
            counts[self._looked] = sure.sum(axis=0)
            use = _core(counts >= max(3.0, 0.3 * len(motion)))
            if use.sum() < LEAST_PIXELS * (0.005 / self._pixel_m) ** 2:
                return None
            total = np.einsum("npc,np->pc", seen, sure.astype(np.float32))
            mean = np.zeros((*self._x.shape, 3))
            mean[self._looked] = total / np.maximum(counts[self._looked], 1.0)[:, None]
            used = use[self._looked]
            rest = seen[:, used] - mean[use].astype(np.float32)
            change = _steps(self._design(mean)[use], rest, sure[:, used], motion)
            step = change + MOMENTUM * step
            motion = motion + step
            motion -= motion.mean(axis=0)
            if np.abs(change[:, :2]).max() < STEADY_M:
                break
            self._looked = np.asarray(binary_dilation(use, iterations=NEAR_PIXELS))
        return motion

    def _prepare(self) -> None:
        p, window = self.patches, self.patches.window
        self._pixel_m = float(p.x_m[1] - p.x_m[0])
        blur = 0.005 / self._pixel_m
        smooth = gaussian_filter(p.images.astype(np.float32), (0, blur, blur, 0))
        self._layers = np.concatenate([smooth, self.usable[..., None]], axis=-1, dtype=np.float32)
        self._x, self._y = np.meshgrid(*self._reach_m())
        self._looked = np.ones(self._x.shape, dtype=bool)
        along, across = _trunk_axes(
            np.stack([self._x, self._y], axis=-1), self.body.shoulder_m.mean(axis=0), self.body.hip_m.mean(axis=0)
        )
        bulge = np.sqrt(np.clip(1.0 - (across / (HALF_WIDTH * window.length_m)) ** 2, 0.0, None))
        depth = HALF_DEPTH * window.length_m * bulge
        self._turns = np.stack([depth * (1.0 - along), depth * along], axis=-1)
        away = abs(float(window.lens_m[2]) - window.z_m)
        self._way = window.path_m[p.index] - window.path_m[p.index].mean(axis=0)
        self._nearer = (depth - abs(window.z_m - window.centre_z_m)) / away

    def _reach_m(self) -> tuple[Floats, Floats]:
        """Columns and rows that the mean trunk may cover: where any picture shows it, and how far it may have moved."""
        p, used = self.patches, np.asarray((self.usable > 0).any(axis=0))
        room = round(ROOM_M / self._pixel_m)
        out = []
        for values, along in ((p.x_m, used.any(axis=0)), (p.y_m, used.any(axis=1))):
            at = np.flatnonzero(along)
            out.append(values[max(at[0] - room, 0) : at[-1] + room + 1] if len(at) else values)
        return out[0], out[1]

    def _first_guess(self) -> Floats:
        t = np.asarray(self.patches.window.time_s[self.patches.index])
        t = t - float(t.mean())
        middle_m = (self.body.shoulder_m + self.body.hip_m) / 2.0
        motion = np.zeros((len(t), 5))
        motion[:, :2] = np.vander(t, 2) @ np.polyfit(t, middle_m, 1)
        return np.asarray(motion - motion.mean(axis=0))

    def _warped(self, motion: Floats) -> tuple[NDArray[np.float32], Bools]:
        """Every picture (n, p, 3) and its usable pixels (n, p), drawn back to the p places of the mean trunk looked at."""
        x, y, turns, nearer = (v[self._looked] for v in (self._x, self._y, self._turns, self._nearer))
        sine, cosine = np.sin(motion[:, 2]), np.cos(motion[:, 2])
        one = np.ones_like(x)
        # places in single precision are good to 1e-4 of a pixel, and take half the time
        share_x = np.stack([cosine, -sine, *motion[:, 3:].T, self._way[:, 0], motion[:, 0]], axis=1)
        share_y = np.stack([sine, cosine, self._way[:, 1], motion[:, 1]], axis=1)
        at_x = np.stack([x, y, *turns.T, nearer, one])
        at_y = np.stack([x, y, nearer, one])
        right = (share_x / self._pixel_m).astype(np.float32) @ at_x.astype(np.float32)
        down = (share_y / -self._pixel_m).astype(np.float32) @ at_y.astype(np.float32)
        right -= np.float32(self.patches.x_m[0] / self._pixel_m)
        down += np.float32(self.patches.y_m[0] / self._pixel_m)
        seen, inside = _between(self._layers, down, right)
        return seen[..., :3], inside & (seen[..., 3] > 0.99)

    def _design(self, mean: Floats) -> Floats:
        """How the mean picture changes with each part of the motion, (h, w, 3, 5)."""
        down, right = np.gradient(mean, axis=(0, 1))
        by_x, by_y = right / self._pixel_m, -down / self._pixel_m
        x, y = self._x[:, :, None], self._y[:, :, None]
        turn = np.asarray(by_y * x - by_x * y)
        twist = np.asarray(by_x)[..., None] * self._turns[:, :, None, :]
        return np.concatenate([np.stack([by_x, by_y, turn], axis=-1), twist], axis=-1)


def _core(use: Bools) -> Bools:
    """Pixels whose four neighbours are in use too, so that slopes can be taken."""
    out = np.array(use)
    out[1:] &= use[:-1]
    out[:-1] &= use[1:]
    out[:, 1:] &= use[:, :-1]
    out[:, :-1] &= use[:, 1:]
    out[[0, -1]] = out[:, [0, -1]] = False
    return out


SCALE_EVERY = 3
"""The typical rest of a picture is taken from every third place: from hundreds of values as well as from thousands."""

LEAST_PLACES = 20
"""A picture with fewer usable places keeps its motion."""

TURN_RIDGE = 3.0
"""Keeps the turn at zero where the pictures say nothing of it: one grey level for a turn of half a radian."""


def _steps(design: Floats, rest: NDArray[np.float32], sure: Bools, motion: Floats) -> Floats:
    """One robust Gauss-Newton step of every picture (n, 5) from the p usable places (p, 3, 5) and the rests there (n, p, 3).

    Weights fall with the square of large rests (Geman-McClure like).
    """
    a = design.reshape(-1, 5)
    r = rest.reshape(len(rest), -1)
    size = np.abs(r)
    some = slice(None, None, SCALE_EVERY)
    typical = [_median(s[k]) for s, k in zip(np.abs(rest[:, some]), sure[:, some], strict=True)]
    scale = 2.0 * (1.4826 * np.array(typical) + 0.5)
    weight = 1.0 / np.maximum(1.0, size / scale[:, None].astype(np.float32)) ** 2
    weight *= np.repeat(sure, 3, axis=1)
    squares = (a[:, :, None] * a[:, None, :]).reshape(-1, 25)
    ridge = np.array([1e-3, 1e-3, 1e-3, TURN_RIDGE, TURN_RIDGE])
    left = (weight @ squares).reshape(-1, 5, 5) + np.diag(ridge)
    right = (weight * r) @ a
    right[:, 3:] += TURN_RIDGE * motion[:, 3:]
    step = -np.linalg.solve(left, right[..., None])[..., 0]
    step[sure.sum(axis=1) < LEAST_PLACES] = 0.0
    return np.asarray(step)


def _median(values: NDArray[np.float32]) -> float:
    return float(np.median(values)) if values.size else 0.0


def _between(
    layers: NDArray[np.float32], row: NDArray[np.float32], column: NDArray[np.float32]
) -> tuple[NDArray[np.float32], Bools]:
    """Read pictures (n, h, w, c) between their pixels, linearly, at places (n, p) of each; and whether these lie inside.

    All channels of all pictures in one go: `scipy.ndimage.map_coordinates`, which takes one channel of one, is three times
    as slow here.
    """
    count, height, width, channels = layers.shape
    inside = (row >= 0) & (row <= height - 1) & (column >= 0) & (column <= width - 1)
    row, column = np.clip(row, 0, height - 1), np.clip(column, 0, width - 1)
    top = np.minimum(row.astype(np.int32), height - 2)
    first = np.minimum(column.astype(np.int32), width - 2)
    down, right = ((v - at.astype(np.float32))[..., None] for v, at in ((row, top), (column, first)))
    out = np.empty((*row.shape, channels), dtype=np.float32)
    for i in range(count):  # one by one they stay in the processor's cache
        flat = layers[i].reshape(-1, channels)
        at = top[i] * width + first[i]
        corners = [flat.take(at + step, axis=0, mode="clip") for step in (0, 1, width, width + 1)]
        left, below = corners[0], corners[2]
        left += (corners[1] - left) * right[i]
        below += (corners[3] - below) * right[i]
        below -= left
        below *= down[i]
        np.add(left, below, out=out[i])
    return out, inside
