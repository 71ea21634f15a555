"""The Monte Carlo draws of joints: every stated source has its stated size and correlation."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from penult.core.joints.body import middle
from penult.core.lane.camera import at_depth, project
from penult.core.lane.fit import fit_lane
from penult.core.measures.events import _camera_part
from penult.core.synthetic.film import lane_file, square_camera
from penult.core.uncertainty import draws
from penult.model.arrays import Floats
from penult.model.calibration import Camera
from penult.model.skeleton import JOINTS, joint
from penult.model.track import PixelTrack, RunwayTrack


def _drawn(pixels: PixelTrack, runway: RunwayTrack, camera: Camera, hand: Floats | None = None) -> draws.Draws:
    weight = np.ones(runway.xy_m.shape[:2])
    return draws.draw_track(pixels, (camera,), runway.z_m, runway.xy_m, weight, hand)


@pytest.fixture(scope="module")
def still(camera: Camera) -> Camera:
    """Return the camera as if it were known exactly."""
    return dataclasses.replace(camera, covariance=np.zeros_like(camera.covariance))


def test_first_draw_is_the_measured_track(pixels: PixelTrack, runway: RunwayTrack, camera: Camera) -> None:
    """Row 0 is untouched, and the same clip gives the same draws."""
    first, again = (_drawn(pixels, runway, camera) for _ in range(2))

    assert first.xy_m[0] == pytest.approx(runway.xy_m)
    assert (first.lasting_m[0] == 0.0).all()
    assert np.array_equal(first.xy_m, again.xy_m)


def test_the_height_of_the_hips_is_as_sure_as_the_films_leave_it(
    pixels: PixelTrack, runway: RunwayTrack, still: Camera
) -> None:
    """0.89 cm (SD) of the mid-hip, alike in all frames: 0.4 of the figure, 0.8 of both hips (films, widened); one against the other
    leaves it where it is.

    A prior a fifth too small fails: 250 draws know an SD to 4.5 %, and the draws are always the same.
    """
    lasting = middle(_drawn(pixels, runway, still).lasting_m[1:], "hip")[..., 1]
    row = int(np.abs(runway.xy_m[:, 0, 0] - np.nanmean(runway.xy_m[:, 0, 0])).argmin())

    assert lasting[:, row].std() == pytest.approx(0.0089, rel=0.09)


def test_what_one_and_both_sides_of_the_body_are_off() -> None:
    """Along the run hips: figure 0.4, both 0.8, one against the other 0.7 x 1.0 cm either way; loose clothes double what both
    have in height, and untie the knee from hip and ankle, which leaves its SD."""
    many = np.concatenate([draws._bias(np.random.default_rng(i), 1.0)[:, 0] for i in range(20)])
    loose = np.concatenate([draws._bias(np.random.default_rng(i), 2.0)[:, 0] for i in range(20)])
    left, right = (many[:, joint(side, "hip"), 0] for side in ("left", "right"))

    assert left.std() == pytest.approx(np.sqrt(0.004**2 + 0.008**2 + 0.007**2), rel=0.03)
    assert np.corrcoef(left, right)[0, 1] == pytest.approx((0.16 + 0.64 - 0.49) / (0.16 + 0.64 + 0.49), abs=0.03)
    assert loose[:, joint("left", "hip"), 1].std() == pytest.approx(np.sqrt(0.004**2 + 0.016**2 + 0.0028**2), rel=0.03)
    others = [k for k, name in enumerate(JOINTS) if not name.endswith("knee")]
    assert np.array_equal(loose[:, others, 0], many[:, others, 0])
    assert loose[:, joint("left", "knee")].std(axis=0) == pytest.approx(
        many[:, joint("left", "knee")].std(axis=0), rel=0.03
    )


def test_knees_go_with_hips_and_ankles() -> None:
    """Unit draws: correlations of 0.3 with either, none between hip and ankle, and unit SD all the same."""
    unit = draws._alike(np.random.default_rng(2).normal(size=(20_000, 3, 1)), [0, 1, 2], 1.0)[..., 0]

    assert unit.std(axis=0) == pytest.approx(1.0, abs=0.02)
    wanted = np.array([[1.0, 0.3, 0.0], [0.3, 1.0, 0.3], [0.0, 0.3, 1.0]])
    assert np.corrcoef(unit.T) == pytest.approx(wanted, abs=0.02)


def test_the_line_of_the_run_is_as_sure_as_check_says(pixels: PixelTrack, runway: RunwayTrack, still: Camera) -> None:
    """4 cm (SD) to either side: a shoulder 3 m off the axis of a camera at 12 m moves by a quarter of it, joints alike."""
    lasting = _drawn(pixels, runway, still).lasting_m[1:, :, :, 0]
    x_m = runway.xy_m[:, joint("left", "shoulder"), 0]
    rows = [int(np.nanargmin(np.abs(x_m - at))) for at in (-5.4, 0.6)]  # the axis is at -2.4 m
    spread = (
        lasting[:, rows[0]] - lasting[:, rows[1]]
    )  # what the two places do not share: depth times the difference of slopes

    slope = abs(x_m[rows[1]] - x_m[rows[0]]) / 12.0
    assert spread.mean(axis=1).std() == pytest.approx(0.040 * slope, rel=0.12)


def test_the_rows_of_a_picture_are_not_read_at_once() -> None:
    """Anything from nothing to a frame interval, at most 15 ms: RMS over sqrt 3 of it (a uniform spread from zero)."""
    assert draws.readout_sd_s(np.arange(9) / 240.0) == pytest.approx(1.0 / 240.0 / np.sqrt(3.0), rel=0.01)
    assert draws.readout_sd_s(np.arange(9) / 30.0) == pytest.approx(0.015 / np.sqrt(3.0), rel=0.01)


def test_drift_forgets_exponentially() -> None:
    """An Ornstein-Uhlenbeck process: unit variance at all times, autocorrelation exp(-dt / T)."""
    time_s = np.arange(60) / 240.0
    path = draws.wandering(time_s, (40,), np.random.default_rng(5))

    assert path[:, 0].std() == pytest.approx(1.0, rel=0.03)
    assert path[:, -1].std() == pytest.approx(1.0, rel=0.03)
    for lag in (1, 12, 36):
        wanted = np.exp(-lag / 240.0 / draws.DRIFT_TIME_S)
        assert (path[:, 0] * path[:, lag]).mean() == pytest.approx(wanted, abs=0.03)


def test_noisy_joints_are_taken_to_drift_more(pixels: PixelTrack, runway: RunwayTrack, still: Camera) -> None:
    """Three times the usual noise, three times the drift; none less than on a sharp film.

    The mean of n = 10 rows of an Ornstein-Uhlenbeck process has 2 (a - 1 + exp(-a)) / a^2 of its variance, a = n dt / T."""
    noise_m = np.random.default_rng(3).normal(0.0, 3.0 * draws.USUAL_NOISE_M, runway.xy_m.shape)
    knee, rows = joint("left", "knee"), slice(100, 110)

    noisy = _drawn(pixels, dataclasses.replace(runway, xy_m=runway.xy_m + noise_m), still)
    calm = _drawn(pixels, runway, still)

    assert calm.noise_factor == 1.0
    assert noisy.noise_factor == pytest.approx(3.0, rel=0.1)
    share = 10 * float(np.median(np.diff(runway.time_s))) / draws.DRIFT_TIME_S
    kept = 2.0 * (share - 1.0 + np.exp(-share)) / share**2
    passing = (noisy.xy_m - noisy.lasting_m)[1:, rows, knee].mean(axis=1)
    expected = np.sqrt((3.0 * np.array([0.010, 0.009])) ** 2 * kept + (3.0 * draws.USUAL_NOISE_M) ** 2 / 10.0)
    assert passing.std(axis=0) == pytest.approx(expected, rel=0.12)


def test_white_noise_is_read_off_the_clip_itself() -> None:
    """Noise of 3 and 20 mm on a swinging path; the third difference takes away the motion."""
    time_s = np.arange(400) / 240.0
    path = np.zeros((400, 2, 2))
    path[..., 0] = (9.0 * time_s + 0.4 * np.sin(2.0 * np.pi * 2.2 * time_s))[:, None]
    path += np.random.default_rng(6).normal(size=path.shape) * np.array([0.003, 0.020])[None, :, None]

    assert draws.white_noise_sd_m(path, np.ones((400, 2))) == pytest.approx((0.003, 0.020), rel=0.10)


def test_noise_is_read_off_looks_sixteen_frames_apart() -> None:
    """960 Hz, 60 looks a second: still rows of one spacing. Fails if only near frames count: the noise is then unknown."""
    time_s, rng = np.arange(1440) / 960.0, np.random.default_rng(6)
    path = np.zeros((1440, 2, 2))
    path[..., 0] = (9.0 * time_s + 0.1 * np.sin(2.0 * np.pi * 2.2 * time_s))[:, None]
    path += rng.normal(size=path.shape) * np.array([0.005, 0.012])[None, :, None]
    weight = np.tile((np.arange(1440) % 16 == 0).astype(float)[:, None], (1, 2))

    assert draws.white_noise_sd_m(path, weight) == pytest.approx((0.005, 0.012), rel=0.2)


def test_camera_is_carried_through_as_refitted_cameras_would(pixels: PixelTrack, runway: RunwayTrack) -> None:
    """Linear propagation against mapping every joint with 300 drawn cameras; x of the head, bias and depth taken off."""
    base = square_camera()
    sd = np.array([2e-3, 2e-3, 1e-3, 0.02, 0.01, 0.03, 2e-3, 0.0, 0.0])
    loose = dataclasses.replace(base, covariance=np.diag(sd**2))
    tight = dataclasses.replace(base, covariance=np.zeros((9, 9)))

    with_camera = _drawn(pixels, runway, loose).lasting_m[1:, :, 0].var(axis=0)
    without = _drawn(pixels, runway, tight).lasting_m[1:, :, 0].var(axis=0)
    rng = np.random.default_rng(7)
    mapped = []
    for _ in range(300):
        parameters = np.array(base.parameters) + sd * rng.normal(size=9)
        one = dataclasses.replace(base, parameters=parameters)
        mapped.append(draws._map(pixels, (one,), runway.z_m)[:, 0])
    expected = np.var(mapped, axis=0)

    seen = np.isfinite(expected).all(axis=1)
    assert np.sqrt((with_camera - without)[seen].mean(axis=0)) == pytest.approx(
        np.sqrt(expected[seen].mean(axis=0)), rel=0.15
    )


def test_marks_in_one_plane_leave_the_run_plane_sharp_and_honest() -> None:
    """Poles in one plane, phones of all focal lengths at the distance that goes with them, marks clicked to 1 px.

    What the camera alone moves a toe 5 cm aside by, over the SD that is drawn for it, must spread like a unit normal.
    Steps of one SD along each parameter, whose errors do not cancel, state about three times too much.
    """
    place = (0.0, 0.05, 0.05)
    misses = []
    for seed in range(16):
        rng = np.random.default_rng(seed)
        longer = float(np.exp(rng.normal(0.0, 0.3)))
        truth = square_camera(distance_m=12.0 * longer, focal_px=1900.0 * longer)
        fit = fit_lane(lane_file(truth, 1.0, rng, board=False))
        assert np.sqrt(fit.camera.covariance[6, 6]) > 0.1
        theta = draws._camera_draws(fit.camera.covariance, rng)
        pixel = project(truth, place)
        spread_m = _camera_part(fit.camera, theta, place).std(axis=0)
        misses.append((at_depth(fit.camera, pixel, place[2]) - place[:2]) / spread_m)

    assert 0.75 < np.sqrt(np.mean(np.square(misses))) < 1.4


def test_joint_put_by_hand_has_the_spread_of_a_hand(pixels: PixelTrack, runway: RunwayTrack, still: Camera) -> None:
    """Where a person put the hip, its bias and drift are a hand's (1 cm) in place of the model's; other joints keep theirs."""
    k = joint("left", "hip")
    hand = np.zeros(runway.xy_m.shape[:2])
    hand[:, k] = 1.0

    lasting = _drawn(pixels, runway, still, hand).lasting_m[1:, :, :, 1]

    assert np.median(lasting[:, :, k].std(axis=0)) == pytest.approx(draws.HAND_SD_M, rel=0.15)
    assert np.median(lasting[:, :, joint("right", "hip")].std(axis=0)) == pytest.approx(
        np.sqrt(0.004**2 + 0.008**2 + 0.0028**2), rel=0.15
    )


def test_joints_drift_as_the_films_have_it() -> None:
    """Sizes as stated: toes 1.2 cm, shoulders 1.0 along the run, hips, knees and ankles by what contacts scatter, 0.7 elsewhere."""
    sd = dict(zip(JOINTS, draws.drift_sd_m().tolist(), strict=True))

    assert sd["left_toe"] == sd["right_toe"] == [0.012, 0.012]
    assert sd["left_shoulder"] == sd["right_shoulder"] == [0.010, 0.008]
    assert (sd["left_hip"], sd["left_knee"], sd["left_ankle"]) == ([0.010, 0.006], [0.011, 0.009], [0.011, 0.005])
    assert all(sd[n] == [0.007, 0.007] for n in ("head", "left_elbow", "right_wrist", "left_heel"))


def test_a_single_row_wanders_too() -> None:
    """A flight of one row: no interval to take the pace from, and numbers all the same."""
    alone = draws.wandering(np.array([0.3]), (2,), np.random.default_rng(1))

    assert alone.shape == (draws.COUNT, 1, 2)
    assert np.std(alone) == pytest.approx(1.0, rel=0.15)
