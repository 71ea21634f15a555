"""A sweep of pictures on one centre: their turns, the common lens, and where the tripod stands. Pure.

A camera that only turns sees every picture as a homography of every other, K R K^-1 (Hartley and Zisserman 2004, section
8.4.2), so background of unknown distance fixes turns and focal length; marks of known place then fix where it stands.
All are solved together by Gauss-Newton, with Tukey's biweight on the background (bundle adjustment: Triggs et al. 2000).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.spatial.transform import Rotation

from penult.core.lane import pinhole
from penult.core.lane.camera import metres_per_px, project, view_angle_deg
from penult.errors import CalibrationError
from penult.model.arrays import Floats
from penult.model.calibration import Camera, LaneFile, LaneFit, MarkResidual
from penult.model.panorama import Matches, Panorama, Sighted

PLACE_SD_M = 0.01
"""A tape measure read beside a mark (common practice); the mark's own shape is of that size too."""

K1_PRIOR_SD = 0.02
"""Phones straighten their films: what is left bends the corners of a picture by 2 % at most (common practice)."""

SYSTEMATIC_PX = 0.1
"""What registration misses as a whole, however many corners agree (as in `registration`): carried as a turn of each picture."""

LEAST_MARKS = 5
"""Eight numbers of a plane's homography need four points; one more shows a wrong one."""

ALIKE = 25.0
"""So many background points count for one: their windows overlap, and each is seen again in several pairs. On sweeps with exact
truth a weight of 1 was wrong by four SDs (focal length 0.5 %), 25 by one and 100 by less, in lens, place and turns alike."""

WRONG_SDS = 4.5
"""A mark that misses by more SDs was clicked or typed wrongly: one sound mark in 20,000 does (two-dimensional normal)."""

_HEAD = 5  # centre (3), log focal length, k1
_TUKEY = 4.685  # 95 % efficiency on normal residuals (Holland and Welsch 1977)
_LEAST_NOISE_PX = 0.05
_MEDIAN_OF_2D = 1.1774  # median length of a two-dimensional unit normal
_ROUNDS = 40
_CONVERGED = 1e-9
_FOCALS = np.geomspace(0.4, 8.0, 40)  # focal lengths tried, in picture widths: 100 to 7 degrees wide


def solved_panorama(
    matches: Sequence[Matches], marks: Sighted, count: int, image_size_px: tuple[int, int], pixel_sd_px: float
) -> Panorama:
    """Return the panorama of a sweep.

    Parameters
    ----------
    matches : sequence of Matches
        That join all pictures.
    marks : Sighted
        At least five, not all on one line.
    count : int
        Pictures.
    image_size_px : (int, int)
    pixel_sd_px : float
        How well a mark was put in the picture.

    Raises
    ------
    CalibrationError
        Pictures that are not joined, too few marks, marks on one line, or marks that no camera could see so.
    """
    _check_marks(marks)
    sweep = _Sweep(matches, marks, count, image_size_px, pixel_sd_px)
    turns, log_focal = sweep.rough()
    pose = _rough_pose(sweep.rays(marks, turns, log_focal), marks.runway_m)
    state = _State(centre_m=pose[1], log_focal=log_focal, k1=0.0, turns=turns @ pose[0])
    state, covariance, noise_px = sweep.converged(state)
    for _ in range(len(marks.names) // 4):
        worst = sweep.wrong_mark(state)
        if worst is None or len(set(sweep.marks.names)) <= LEAST_MARKS:
            break
        sweep = sweep.without(worst)
        state, covariance, noise_px = sweep.converged(state)
    _check_state(state, sweep, noise_px)
    focal_px = float(np.exp(state.log_focal))
    covariance[_HEAD:, _HEAD:] += (SYSTEMATIC_PX / focal_px) ** 2 * np.eye(3 * count)
    across = np.abs(state.turns[:, 2, 0])
    return Panorama(
        centre_m=state.centre_m,
        log_focal=state.log_focal,
        k1=state.k1,
        turns=state.turns,
        covariance=covariance,
        image_size_px=image_size_px,
        reference=int(np.argmin(across)),
        noise_px=noise_px,
        left_out=tuple(n for n in dict.fromkeys(marks.names) if n not in sweep.marks.names),
    )


def camera_of_picture(panorama: Panorama, picture: int) -> Camera:
    """Return the camera of one picture of the panorama, with its covariance."""
    return turned_camera(panorama, picture, np.zeros(4), np.zeros((4, 4)))


def turned_camera(panorama: Panorama, picture: int, motion: Floats, covariance: Floats) -> Camera:
    """Return the camera that has turned and zoomed from a picture of the panorama; both uncertainties are carried.

    Parameters
    ----------
    panorama : Panorama
    picture : int
    motion : (4,) float64
        Turn (rotation vector, in the picture's camera axes) and change of ln(focal length).
    covariance : (4, 4) float64
        Of the motion.
    """
    turn = np.asarray(panorama.turns[picture])
    at = _HEAD + 3 * picture
    rows = np.r_[0:_HEAD, at : at + 3]
    known = panorama.covariance[np.ix_(rows, rows)]

    def parameters(nudges: Floats) -> Floats:
        """Return camera parameters (n, 9) after nudges (n, 12), all at once: one call costs as much as one row."""
        out = np.zeros((len(nudges), pinhole.SIZE))
        turned = np.stack([pinhole.turned(motion[:3] + n[8:11]) @ pinhole.turned(n[5:8]) @ turn for n in nudges])
        vectors = np.asarray(Rotation.from_matrix(turned).as_rotvec())
        out[:, :3] = pinhole.nearer_turn(vectors, vectors[0])
        out[:, 3:6] = -np.einsum("nij,nj->ni", turned, panorama.centre_m + nudges[:, :3])
        out[:, pinhole.LOG_FOCAL] = panorama.log_focal + motion[3] + nudges[:, 3] + nudges[:, 11]
        out[:, pinhole.K1] = panorama.k1 + nudges[:, 4]
        return out

    step = 1e-6
    found = parameters(np.concatenate([np.zeros((1, 12)), step * np.eye(12), -step * np.eye(12)]))
    slopes = ((found[1:13] - found[13:]) / (2.0 * step)).T
    whole = np.zeros((12, 12))
    whole[:8, :8], whole[8:, 8:] = known, covariance
    return Camera(
        parameters=found[0],
        covariance=slopes @ whole @ slopes.T,
        image_size_px=panorama.image_size_px,
        centre_px=panorama.centre_px,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _State:
    """Centre (3,), lens, and rotations (n, 3, 3) from runway axes to camera axes."""

    centre_m: Floats
    log_focal: float
    k1: float
    turns: Floats

    def stepped(self, step: Floats) -> _State:
        turns = np.stack([pinhole.turned(d) @ r for d, r in zip(step[_HEAD:].reshape(-1, 3), self.turns, strict=True)])
        return _State(
            centre_m=self.centre_m + step[:3],
            log_focal=self.log_focal + float(step[3]),
            k1=self.k1 + float(step[4]),
            turns=turns,
        )


class _Sweep:
    """The observations of one sweep, and the least squares over them."""

    def __init__(
        self, matches: Sequence[Matches], marks: Sighted, count: int, size_px: tuple[int, int], pixel_sd_px: float
    ) -> None:
        self.matches, self.marks, self.count, self.size_px = matches, marks, count, size_px
        self.pixel_sd_px = pixel_sd_px
        self.centre_px = np.array([(size_px[0] - 1) / 2.0, (size_px[1] - 1) / 2.0])

    def ray(self, xy_px: Floats, log_focal: float, k1: float) -> Floats:
        """Return lines of sight (n, 3), third component 1."""
        parameters = np.zeros(pinhole.SIZE)
        parameters[pinhole.LOG_FOCAL], parameters[pinhole.K1] = log_focal, k1
        flat = pinhole.straight(parameters, (float(self.centre_px[0]), float(self.centre_px[1])), xy_px)
        return np.column_stack([flat, np.ones(len(flat))])

    def seen(self, points: Floats, log_focal: float, k1: float) -> Floats:
        """Return pixels (n, 2) of points (n, 3) in camera axes."""
        flat = points[:, :2] / np.maximum(points[:, 2:], 1e-6)
        return np.asarray(np.exp(log_focal) * flat * (1.0 + k1 * (flat**2).sum(axis=1, keepdims=True)) + self.centre_px)

    def rough(self) -> tuple[Floats, float]:
        """Return the pictures' turns against the first (n, 3, 3) and the log focal length on which the pairs agree best."""
        self._some = sorted(self.matches, key=lambda m: -len(m.first_px))[:8]
        best: tuple[float, float] = (np.inf, 0.0)
        for focal in np.log(_FOCALS * self.size_px[0]):
            best = min(best, (self._pair_miss(float(focal)), float(focal)))
        for step in (0.03, 0.01, 0.003):
            for focal in best[1] + step * np.arange(-2, 3):
                best = min(best, (self._pair_miss(float(focal)), float(focal)))
        turns: dict[int, Floats] = {0: np.eye(3)}
        waiting = sorted(self.matches, key=lambda m: -len(m.first_px))
        while len(turns) < self.count:
            pair = next((m for m in waiting if (m.first in turns) != (m.second in turns)), None)
            if pair is None:
                raise CalibrationError(
                    "the pictures of the sweep do not hang together",
                    f"{len(turns)} of {self.count} could be joined by what stands behind the runway",
                    next_step="film the sweep again: slowly, evenly lit, with walls, lines or things behind the runway",
                )
            turn = self._pair_turn(pair, best[1])[0]
            if pair.first in turns:
                turns[pair.second] = turn @ turns[pair.first]
            else:
                turns[pair.first] = turn.T @ turns[pair.second]
        return np.stack([turns[i] for i in range(self.count)]), best[1]

    def rays(self, marks: Sighted, turns: Floats, log_focal: float) -> Floats:
        """Return the marks' lines of sight (m, 3) in the first picture's axes."""
        rays = self.ray(np.asarray(marks.pixel_px), log_focal, 0.0)
        found = np.einsum("mji,mj->mi", turns[np.asarray(marks.picture)], rays)
        return np.asarray(found / np.linalg.norm(found, axis=1, keepdims=True))

    def converged(self, state: _State) -> tuple[_State, Floats, float]:
        """Return the best state, its covariance, and the spread of the background points."""
        damping, noise_px = 1e-3, 2.0
        cost = np.inf
        for _ in range(_ROUNDS):
            misses = [self._pair(m, state)[0] for m in self.matches]
            lengths = np.concatenate([np.linalg.norm(m, axis=1) for m in misses])
            noise_px = max(_LEAST_NOISE_PX, float(np.median(lengths)) / _MEDIAN_OF_2D)
            normal, right = self._normal(state, noise_px)
            cost = self._cost(state, noise_px)
            for _ in range(8):
                step: Floats = np.asarray(
                    np.linalg.solve(normal + damping * np.diag(np.diag(normal)), right), dtype=np.float64
                )
                again = state.stepped(step)
                if self._cost(again, noise_px) <= cost:
                    damping = max(damping / 10.0, 1e-12)
                    break
                damping *= 10.0
            else:
                break
            state = again
            if np.abs(step).max() < _CONVERGED:
                break
        normal, _ = self._normal(state, noise_px)
        return state, np.asarray(np.linalg.inv(normal)), noise_px

    def wrong_mark(self, state: _State) -> str | None:
        """Return the name of the mark that misses most, if it misses by more than clicks and tape can explain."""
        miss, _, weight = self._marks(state)
        off = np.sqrt(np.einsum("mi,mij,mj->m", miss, weight, miss))
        worst = int(np.argmax(off))
        return self.marks.names[worst] if off[worst] > WRONG_SDS else None

    def without(self, name: str) -> _Sweep:
        """Return the same without a mark."""
        keep = [i for i, n in enumerate(self.marks.names) if n != name]
        marks = Sighted(
            names=tuple(self.marks.names[i] for i in keep),
            picture=self.marks.picture[keep],
            pixel_px=self.marks.pixel_px[keep],
            runway_m=self.marks.runway_m[keep],
        )
        return _Sweep(self.matches, marks, self.count, self.size_px, self.pixel_sd_px)

    def mark_misses_px(self, state: _State) -> Floats:
        """Return how far each mark lies from where it should be seen, (m, 2)."""
        return self._marks(state)[0]

    def _cost(self, state: _State, noise_px: float) -> float:
        """Return the robust cost: Tukey's for the background, squares for the marks, the lens's prior."""
        total = 0.5 * (state.k1 / K1_PRIOR_SD) ** 2
        for m in self.matches:
            share = np.minimum((self._pair(m, state)[0] ** 2).sum(axis=1) / (_TUKEY * noise_px) ** 2, 1.0)
            total += float((1.0 - (1.0 - share) ** 3).sum()) * _TUKEY**2 / 6.0 / ALIKE
        miss, _, weight = self._marks(state)
        return total + 0.5 * float(np.einsum("mi,mij,mj->", miss, weight, miss))

    def _normal(self, state: _State, noise_px: float) -> tuple[Floats, Floats]:
        """Return normal matrix and right side of one Gauss-Newton step."""
        size = _HEAD + 3 * self.count
        normal, right = np.zeros((size, size)), np.zeros(size)
        normal[4, 4] += K1_PRIOR_SD**-2
        right[4] -= state.k1 * K1_PRIOR_SD**-2
        for m in self.matches:
            miss, slopes = self._pair(m, state)
            share = (miss**2).sum(axis=1) / (_TUKEY * noise_px) ** 2
            weight = np.where(share < 1.0, (1.0 - share) ** 2, 0.0) / noise_px**2 / ALIKE
            at = np.r_[3, 4, _HEAD + 3 * m.first + np.arange(3), _HEAD + 3 * m.second + np.arange(3)]
            normal[np.ix_(at, at)] += np.einsum("n,nik,nil->kl", weight, slopes, slopes)
            right[at] += np.einsum("n,nik,ni->k", weight, slopes, miss)
        miss, slopes, inverse = self._marks(state)
        for k, picture in enumerate(self.marks.picture.tolist()):
            at = np.r_[0:_HEAD, _HEAD + 3 * picture + np.arange(3)]
            normal[np.ix_(at, at)] += slopes[k].T @ inverse[k] @ slopes[k]
            right[at] += slopes[k].T @ inverse[k] @ miss[k]
        return normal, right

    def _pair(self, m: Matches, state: _State) -> tuple[Floats, Floats]:
        """Return misses (n, 2) in the second picture and their slopes (n, 2, 8): lens, turn of the first, of the second."""
        between = state.turns[m.second] @ state.turns[m.first].T
        ray = self.ray(np.asarray(m.first_px), state.log_focal, state.k1)
        ahead = ray @ between.T
        expected = self.seen(ahead, state.log_focal, state.k1)
        image = self._image(ahead, state.log_focal)
        slopes = np.empty((len(ray), 2, 8))
        for i, (df, dk) in enumerate(((1e-6, 0.0), (0.0, 1e-6))):
            there = self.seen(
                self.ray(np.asarray(m.first_px), state.log_focal + df, state.k1 + dk) @ between.T,
                state.log_focal + df,
                state.k1 + dk,
            )
            slopes[:, :, i] = (there - expected) / 1e-6
        slopes[:, :, 2:5] = image @ (between[None] @ _cross(ray))
        slopes[:, :, 5:8] = -image @ _cross(ahead)
        return np.asarray(m.second_px - expected), slopes

    def _marks(self, state: _State) -> tuple[Floats, Floats, Floats]:
        """Return misses (m, 2), slopes (m, 2, 8) along centre, lens and turn, and inverse covariances (m, 2, 2)."""
        turns = state.turns[np.asarray(self.marks.picture)]
        ahead = np.einsum("mij,mj->mi", turns, self.marks.runway_m - state.centre_m)
        expected = self.seen(ahead, state.log_focal, state.k1)
        image = self._image(ahead, state.log_focal)
        slopes = np.empty((len(ahead), 2, 8))
        slopes[:, :, :3] = -image @ turns
        for i, (df, dk) in enumerate(((1e-6, 0.0), (0.0, 1e-6))):
            slopes[:, :, 3 + i] = (self.seen(ahead, state.log_focal + df, state.k1 + dk) - expected) / 1e-6
        slopes[:, :, 5:] = -image @ _cross(ahead)
        by_place = image @ turns
        spread = self.pixel_sd_px**2 * np.eye(2) + PLACE_SD_M**2 * by_place @ by_place.transpose(0, 2, 1)
        return np.asarray(self.marks.pixel_px - expected), slopes, np.asarray(np.linalg.inv(spread))

    def _image(self, points: Floats, log_focal: float) -> Floats:
        """Return d(pixel) / d(point in camera axes), (n, 2, 3), the lens's bend left out."""
        depth = np.maximum(points[:, 2], 1e-6)
        out = np.zeros((len(points), 2, 3))
        out[:, 0, 0] = out[:, 1, 1] = np.exp(log_focal) / depth
        out[:, :, 2] = -np.exp(log_focal) * points[:, :2] / depth[:, None] ** 2
        return out

    def _pair_turn(self, m: Matches, log_focal: float) -> tuple[Floats, float]:
        """Return the turn from the first to the second picture, and the median miss in pixels (Kabsch 1976)."""
        rays = [self.ray(np.asarray(p), log_focal, 0.0) for p in (m.first_px, m.second_px)]
        unit = [r / np.linalg.norm(r, axis=1, keepdims=True) for r in rays]
        keep = np.ones(len(unit[0]), dtype=bool)
        turn, miss = np.eye(3), np.zeros(len(keep))
        for _ in range(3):
            u, _, v = np.linalg.svd(unit[1][keep].T @ unit[0][keep])
            turn = u @ np.diag([1.0, 1.0, np.linalg.det(u @ v)]) @ v
            miss = np.linalg.norm(unit[1] - unit[0] @ turn.T, axis=1) * np.exp(log_focal)
            keep = miss <= 3.0 * max(float(np.median(miss)), 0.1)
        return np.asarray(turn), float(np.median(miss))

    def _pair_miss(self, log_focal: float) -> float:
        return float(np.mean([self._pair_turn(m, log_focal)[1] for m in self._some]))


def _rough_pose(rays: Floats, places_m: Floats) -> tuple[Floats, Floats]:
    """Return rotation (3, 3) from runway axes and centre (3,) from lines of sight to places on the ground.

    The ground is a plane, so a line of sight is a homography of (x, z): d ~ H (x, z, 1) (direct linear transform, Hartley and
    Zisserman 2004, section 4.1).
    """
    middle, scale = places_m[:, [0, 2]].mean(axis=0), max(float(np.ptp(places_m[:, 0])), 1.0)
    flat = np.column_stack([(places_m[:, [0, 2]] - middle) / scale, np.ones(len(places_m))])
    rows = np.concatenate([np.kron(_cross(d[None])[0], p[None]) for d, p in zip(rays, flat, strict=True)])
    h = np.linalg.svd(rows)[2][-1].reshape(3, 3)
    if ((rays * (flat @ h.T)).sum(axis=1) < 0.0).sum() * 2 > len(rays):
        h = -h
    # d ~ R (X - C), X = (x, 0, z): columns R e_x, R e_z, -R C, up to one scale
    h = h @ np.array([[1.0, 0.0, -middle[0]], [0.0, 1.0, -middle[1]], [0.0, 0.0, scale]])
    h /= np.sqrt(np.linalg.norm(h[:, 0]) * np.linalg.norm(h[:, 1]))
    along, across = h[:, 0], h[:, 1]
    u, _, v = np.linalg.svd(np.column_stack([along, np.cross(across, along), across]))
    turn = u @ np.diag([1.0, 1.0, np.linalg.det(u @ v)]) @ v
    return np.asarray(turn), np.asarray(-turn.T @ h[:, 2])


def _check_marks(marks: Sighted) -> None:
    names = set(marks.names)
    if len(names) < LEAST_MARKS:
        raise CalibrationError(
            f"{len(names)} marks are shown in the sweep; {LEAST_MARKS} are needed",
            next_step="click more marks, spread along the whole run-up and on both sides of the runway",
        )
    places = np.asarray(marks.runway_m)[:, [0, 2]]
    across = np.linalg.svd(places - places.mean(axis=0), compute_uv=False)[1] / np.sqrt(len(places))
    if across < 0.1:
        raise CalibrationError(
            "the marks lie on one line",
            f"they spread by {100.0 * across:.0f} cm across it; 10 cm are needed",
            next_step="add marks on the other side of the runway: cones in pairs, or the board's corners",
        )


def _check_state(state: _State, sweep: _Sweep, noise_px: float) -> None:
    miss = np.linalg.norm(sweep.mark_misses_px(state), axis=1)
    worst = int(np.argmax(miss))
    if not np.isfinite(state.centre_m).all() or state.centre_m[1] <= 0.0 or float(np.median(miss)) > 25.0:
        raise CalibrationError(
            "no camera on one tripod sees these marks so",
            f"they miss by {float(np.median(miss)):.0f} px in the middle, {sweep.marks.names[worst]} by {miss[worst]:.0f} px",
            f"the background agrees to {noise_px:.1f} px",
            next_step="check the places and the clicks: x forward along the run, z to the athlete's right, metres",
        )


def _cross(v: Floats) -> Floats:
    """Return the matrices (n, 3, 3) of cross products with vectors (n, 3)."""
    out = np.zeros((len(v), 3, 3))
    out[:, 0, 1], out[:, 0, 2], out[:, 1, 2] = -v[:, 2], v[:, 1], -v[:, 0]
    return np.asarray(out - out.transpose(0, 2, 1))


def lane_fit(panorama: Panorama, lane: LaneFile) -> LaneFit:
    """Return the lane's fit by its panorama: the camera of the picture that looks most squarely at the runway.

    Parameters
    ----------
    panorama : Panorama
    lane : LaneFile
        Its marks are those seen in that picture.
    """
    camera = camera_of_picture(panorama, panorama.reference)
    rows = []
    for mark in lane.marks:
        place = np.array(mark.runway_m)
        off = float(np.linalg.norm(project(camera, place) - np.array(mark.pixel_px)))
        rows.append(
            MarkResidual(
                name=mark.name,
                residual_px=off,
                residual_cm=100.0 * off * float(metres_per_px(camera, *place.tolist())),
                left_out_cm=0.0,
                disagrees=mark.name in panorama.left_out,
            )
        )
    return LaneFit(
        lane=lane,
        camera=camera,
        residuals=tuple(rows),
        rms_px=float(np.sqrt(np.mean([r.residual_px**2 for r in rows]))) if rows else 0.0,
        depth_known=True,
        view_angle_deg=view_angle_deg(camera),
    )
