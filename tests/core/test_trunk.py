"""The trunk from its pixels: a patterned body of elliptic cross-section, drawn at known places, leans and turns."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from scipy.ndimage import map_coordinates

from penult.core.trunk import registration
from penult.core.trunk import window as trunk_window
from penult.core.trunk.flight_drift import TRUNK, Flight, airborne, carried
from penult.core.uncertainty.draws import Draws, draw_track
from penult.model.arrays import Floats
from penult.model.calibration import Camera
from penult.model.skeleton import JOINTS, joint
from penult.model.track import PixelTrack, RunwayTrack
from penult.model.trunk import TrunkMotion, TrunkPatches, TrunkWindow

COUNT, LENGTH_M, AWAY_M = 28, 0.5, 12.0
TIME_S = np.arange(COUNT) / 240.0


def _track() -> RunwayTrack:
    """Joints of a trunk that stands still about (0, 1.25) m, both arms far ahead of it."""
    body = np.zeros((len(JOINTS), 2))
    for k, name in enumerate(JOINTS):
        part = name.split("_")[-1]
        body[k] = {"shoulder": (0.0, 1.5), "hip": (0.0, 1.0), "head": (0.0, 1.7)}.get(part, (0.9, 1.2))
    body[[joint(side, "elbow") for side in ("left", "right")]] = (0.5, 1.6)
    return RunwayTrack(
        frame=np.arange(COUNT),
        time_s=TIME_S,
        xy_m=np.repeat(body[None], COUNT, axis=0),
        z_m=np.zeros(len(JOINTS)),
        filled=np.zeros((COUNT, len(JOINTS)), dtype=bool),
    )


def _window() -> TrunkWindow:
    return TrunkWindow(
        rows=np.arange(COUNT),
        time_s=TIME_S,
        path_m=np.repeat([[0.0, 1.25]], COUNT, axis=0),
        z_m=trunk_window.SURFACE * LENGTH_M,
        centre_z_m=0.0,
        lens_m=np.array([0.0, 1.2, AWAY_M]),
        length_m=LENGTH_M,
    )


def _pattern(across: Floats, up: Floats) -> Floats:
    """A shirt: cloth of many waves, in grey levels."""
    rng = np.random.default_rng(8)
    out = np.full(across.shape, 120.0)
    for _ in range(30):
        wave = rng.normal(0.0, 60.0, 2)
        out += rng.normal(0.0, 14.0) * np.cos(wave[0] * across + wave[1] * up + rng.uniform(0.0, 6.3))
    return out


def _picture(x: Floats, y: Floats, motion: Floats) -> Floats:
    """A turning, leaning, moving elliptic body before a pattern that does not move; the camera far away.

    The surface point seen at v across is found by turning its place on the ellipse back by the turn about the long axis.
    """
    shift_x, shift_y, lean, turn = motion
    gx, gy = np.meshgrid(x, y)
    c, s = np.cos(lean), np.sin(lean)
    v, up = c * (gx - shift_x) + s * (gy - shift_y), c * (gy - shift_y) - s * (gx - shift_x)
    a, b = registration.HALF_WIDTH * LENGTH_M, registration.HALF_DEPTH * LENGTH_M
    depth = b * np.sqrt(np.clip(1.0 - (v / a) ** 2, 0.0, None))
    body = _pattern(v - turn * depth, up)
    return np.where(np.abs(v) < a, body, _pattern(gx + 5.0, gy + 5.0))


def _patches(motions: Floats) -> TrunkPatches:
    x, y = np.arange(-0.3, 0.3, 0.005), np.arange(0.42, -0.42, -0.005)
    grey = np.stack([_picture(x, y, m) for m in motions])
    images = np.clip(grey, 0, 255).astype(np.uint8)[..., None].repeat(3, axis=-1)
    return TrunkPatches(window=_window(), index=np.arange(COUNT), images=images, x_m=x, y_m=y)


def _motions(turn_rate: float) -> Floats:
    t = TIME_S - TIME_S.mean()
    return np.stack([0.15 * t, -0.08 * t, 0.4 * t, turn_rate * t], axis=1)


def _slope(values: Floats) -> float:
    return float(np.polyfit(TIME_S, values, 1)[0])


@pytest.mark.parametrize("turn_rate", [0.0, 1.5])
def test_known_motion_is_found_also_while_the_trunk_turns_about_its_long_axis(turn_rate: float) -> None:
    """0.15 and -0.08 m/s and 0.4 rad/s; a turn of 1.5 rad/s moves the surface by 0.17 m/s, which must not be taken for a shift."""
    found = registration.follow_trunk(_patches(_motions(turn_rate)), _track())

    assert not found.reason
    assert _slope(found.shift_m[:, 0]) == pytest.approx(0.15, abs=0.03)
    assert _slope(found.shift_m[:, 1]) == pytest.approx(-0.08, abs=0.01)
    assert _slope(found.turn_rad) == pytest.approx(0.4, abs=0.08)
    assert found.jitter_m < 0.002


def test_near_arm_before_the_trunk_is_left_out() -> None:
    """A forearm of other cloth swings across: with the joints that say so the motion is found all the same."""
    patches, track = _patches(_motions(0.0)), _track()
    joints = np.array(track.xy_m)
    images = patches.images.copy()
    for i in range(COUNT):
        ahead = -0.10 + 1.8 * TIME_S[i]
        joints[i, joint("right", "elbow")] = (ahead - 0.10, 1.20)
        joints[i, joint("right", "wrist")] = (ahead + 0.05, 1.22)
        joints[i, joint("right", "shoulder")] = joints[i, joint("left", "shoulder")]
        arm = np.abs(patches.y_m + 0.045) < 0.035
        along = (patches.x_m > ahead - 0.12) & (patches.x_m < ahead + 0.14)
        images[i][np.ix_(arm, along)] = 230
    seen = dataclasses.replace(patches, images=images)

    found = registration.follow_trunk(seen, dataclasses.replace(track, xy_m=joints))

    assert _slope(found.shift_m[:, 0]) == pytest.approx(0.15, abs=0.03)
    assert _slope(found.shift_m[:, 1]) == pytest.approx(-0.08, abs=0.015)


def test_pictures_that_do_not_agree_are_refused() -> None:
    """Noise in place of a shirt: no motion is invented."""
    patches = _patches(_motions(0.0))
    noise = np.random.default_rng(9).integers(0, 255, patches.images.shape, dtype=np.uint8)

    found = registration.follow_trunk(dataclasses.replace(patches, images=noise), _track())

    assert found.reason == "the pictures of the trunk do not agree"
    few = dataclasses.replace(patches, images=patches.images[:3], index=np.arange(3))
    assert registration.follow_trunk(few, _track()).reason == "too few pictures of the trunk"


def test_window_follows_a_parabola_and_stops_where_the_body_leaves(runway: RunwayTrack) -> None:
    """Rows are one unbroken stretch; the path is straight in x and falls with g in y."""
    inside = np.ones(len(runway.time_s), dtype=bool)
    start = float(runway.time_s[20])
    inside[45:50] = False

    window = trunk_window.trunk_window(runway, inside, start, start + 0.3, np.array([0.0, 1.2, AWAY_M]))

    assert window is not None
    assert window.rows.tolist() == list(range(20, 45))
    assert 2.0 * np.polyfit(window.time_s, window.path_m, 2)[0] == pytest.approx((0.0, -9.81), abs=1e-6)
    assert window.z_m > window.centre_z_m
    assert trunk_window.trunk_window(runway, inside, start, start + 0.004, np.array([0.0, 1.2, AWAY_M])) is None
    assert len(trunk_window.chosen(window)) == 25


@pytest.fixture
def drawn(pixels: PixelTrack, runway: RunwayTrack, camera: Camera) -> Draws:
    """Return draws of the synthetic runner."""
    return draw_track(pixels, (camera,), runway.z_m, runway.xy_m, np.ones(runway.xy_m.shape[:2]))


def _moving(runway: RunwayTrack, first: int, speed: tuple[float, float]) -> TrunkMotion:
    rows = np.arange(first, first + 24)
    time_s = runway.time_s[rows]
    mid = np.mean([runway.xy_m[rows, k] for k in TRUNK], axis=0)
    fitted = np.vander(time_s - time_s.mean(), 2) @ np.polyfit(time_s - time_s.mean(), mid, 1)
    window = dataclasses.replace(_window(), rows=rows, time_s=time_s, path_m=fitted)
    shift = (time_s - time_s.mean())[:, None] * np.array(speed)
    return TrunkMotion(window=window, shift_m=shift, turn_rad=np.zeros(24))


def test_carried_joints_move_with_the_trunk_and_keep_their_mean_place(drawn: Draws, runway: RunwayTrack) -> None:
    """A trunk 0.1 m/s faster than its joints' path: it gets half, stays rigid to 0.1 mm, leans as they do; all else stays."""
    motion = _moving(runway, 60, (0.1, 0.0))
    rows = motion.window.rows

    out = carried(drawn.xy_m, drawn, runway.xy_m, [motion])

    trunk, joints = out[0][np.ix_(rows, TRUNK)], runway.xy_m[np.ix_(rows, TRUNK)]
    own = np.polyfit(motion.window.time_s, joints[..., 0].mean(axis=1), 1)[0]
    pixels = np.polyfit(motion.window.time_s, motion.window.path_m[:, 0], 1)[0] + 0.1
    wanted = (0.05**2 * pixels + 0.048**2 * own) / (
        0.05**2 + 0.048**2
    )  # mean weighed by what either is off (films), m/s
    away = trunk - trunk[:, :1]
    length_m = np.linalg.norm(
        away, axis=-1
    )  # along the run and upwards joints count differently, and theirs bends by that little
    assert length_m == pytest.approx(np.repeat(length_m[:1], 24, axis=0), abs=1e-4)
    assert _lean_rad_per_s(trunk, motion.window.time_s) == pytest.approx(
        _lean_rad_per_s(joints, motion.window.time_s), abs=0.02
    )
    assert np.polyfit(motion.window.time_s, trunk[..., 0].mean(axis=1), 1)[0] == pytest.approx(wanted, abs=2e-3)
    for i, k in enumerate(TRUNK):
        assert trunk[:, i].mean(axis=0) == pytest.approx(runway.xy_m[rows, k].mean(axis=0), abs=0.03)
    others = np.setdiff1d(np.arange(len(JOINTS)), TRUNK)
    assert np.array_equal(out[:, :, others], drawn.xy_m[:, :, others])
    assert np.array_equal(out[:, :60], drawn.xy_m[:, :60])


def _lean_rad_per_s(trunk_m: Floats, time_s: Floats) -> float:
    axis = (trunk_m[:, [0, 2]] - trunk_m[:, [1, 3]]).mean(axis=1)
    return float(np.polyfit(time_s, np.arctan2(axis[:, 0], axis[:, 1]), 1)[0])


def test_motion_far_from_the_joints_or_with_a_reason_changes_nothing(drawn: Draws, runway: RunwayTrack) -> None:
    """1 m/s off the joints: the background led the pixels."""
    far = _moving(runway, 60, (1.0, 0.0))
    none = dataclasses.replace(far, shift_m=np.zeros((0, 2)), turn_rad=np.zeros(0), reason="too dim")

    assert np.array_equal(carried(drawn.xy_m, drawn, runway.xy_m, [far, none]), drawn.xy_m)


def test_drift_of_flight_repeats_in_part_from_step_to_step(drawn: Draws, runway: RunwayTrack) -> None:
    """Extra drift of two running flights off different feet: the knee that pushed correlates, by the stated share."""
    flights = [
        Flight(rows=np.arange(40, 64), foot="left", running=True),
        Flight(rows=np.arange(100, 124), foot="right", running=True),
    ]

    extra = airborne(drawn, runway, flights, ()) - drawn.xy_m
    first, second = extra[1:, 50, joint("left", "knee"), 1], extra[1:, 110, joint("right", "knee"), 1]

    assert (extra[0] == 0.0).all()
    assert first.std() == pytest.approx(np.sqrt(0.016**2 - 0.007**2), rel=0.12)
    assert np.corrcoef(first, second)[0, 1] == pytest.approx(0.35, abs=0.15)
    assert (extra[:, 70] == 0.0).all()


def test_a_flight_without_a_row_changes_nothing(drawn: Draws, runway: RunwayTrack) -> None:
    """A toe-off at the next touchdown or after the last frame leaves none."""
    nothing = Flight(rows=np.zeros(0, dtype=np.int64), foot="left", running=True)
    one = Flight(rows=np.arange(100, 124), foot="right", running=True)

    assert np.array_equal(airborne(drawn, runway, [nothing], ()), drawn.xy_m)
    assert np.isfinite(airborne(drawn, runway, [nothing, one], ())[:, 100:124]).all()


def test_a_stride_may_be_as_rough_as_twice_its_joints_but_a_flight_may_not() -> None:
    """Joints of 2 cm white noise, four of them averaged: 1 cm, so that pixels of 2 cm are no worse in two SD."""
    noise_m = np.random.default_rng(6).normal(0.0, 0.02, (COUNT, len(JOINTS), 2))
    calm, flight = _track(), _window()
    rough = dataclasses.replace(calm, xy_m=calm.xy_m + noise_m)
    stride = dataclasses.replace(flight, is_stride=True)
    between = dataclasses.replace(rough, filled=np.ones_like(rough.filled))

    assert registration._most_jitter_m(stride, rough) == pytest.approx(0.02, rel=0.35)
    assert registration._most_jitter_m(stride, calm) == registration.MOST_JITTER_M
    assert registration._most_jitter_m(flight, rough) == registration.MOST_JITTER_M
    assert registration._most_jitter_m(stride, between) == registration.MOST_JITTER_M


def test_a_stride_may_bend_where_a_flight_must_not() -> None:
    """A landing: the trunk sinks along a kink of 6 cm. In a flight that counts as scatter, in a stride it does not."""
    t = TIME_S - TIME_S.mean()
    kink = 0.06 * np.abs(t) / t[-1]
    motions = np.stack([0.1 * t, kink - kink.mean(), 0.0 * t, 0.0 * t], axis=1)
    patches = _patches(motions)

    flight = registration.follow_trunk(patches, _track())
    window = dataclasses.replace(patches.window, is_stride=True)
    stride = registration.follow_trunk(dataclasses.replace(patches, window=window), _track())

    assert not stride.reason
    assert flight.jitter_m > 3.0 * stride.jitter_m
    assert np.abs(stride.shift_m[:, 1] - (kink - kink.mean())).max() < 0.002


def test_pictures_are_read_between_their_pixels_as_scipy_reads_them() -> None:
    """The reference is scipy.ndimage.map_coordinates of order 1, one channel of one picture after the other."""
    rng = np.random.default_rng(11)
    layers = rng.uniform(0.0, 255.0, (3, 20, 14, 4)).astype(np.float32)
    row, column = rng.uniform(-2.0, 21.0, (3, 400)), rng.uniform(-2.0, 15.0, (3, 400))
    row[:, :3], column[:, :3] = [0.0, 19.0, 19.0], [0.0, 13.0, 0.0]  # on the rim

    read, inside = registration._between(layers, row, column)

    for i in range(3):
        for c in range(4):
            expected = map_coordinates(layers[i, ..., c], [row[i], column[i]], order=1, mode="nearest")
            assert read[i, :, c] == pytest.approx(expected, abs=1e-3)
    assert np.array_equal(inside, (row >= 0) & (row <= 19) & (column >= 0) & (column <= 13))


def test_a_picture_with_too_few_usable_places_keeps_its_motion() -> None:
    rng = np.random.default_rng(12)
    design, rest = rng.normal(size=(60, 3, 5)), rng.normal(size=(2, 60, 3)).astype(np.float32)
    sure = np.zeros((2, 60), dtype=bool)
    sure[0, : registration.LEAST_PLACES] = sure[1, : registration.LEAST_PLACES - 1] = True

    steps = registration._steps(design, rest, sure, np.zeros((2, 5)))

    assert (steps[0] != 0.0).all()
    assert (steps[1] == 0.0).all()


def test_the_robust_step_is_a_weighted_least_squares_fit() -> None:
    """Against numpy.linalg.lstsq with the same weights; the ridge of shift and lean is nothing beside sixty places."""
    rng = np.random.default_rng(13)
    design = rng.normal(0.0, 30.0, (60, 3, 5))
    rest = (design @ np.array([0.3, -0.2, 0.1, 0.0, 0.0]) + rng.normal(0.0, 1.0, (60, 3))).astype(np.float32)[None]
    rest[0, :5] += 400.0  # an arm before the trunk
    sure = np.ones((1, 60), dtype=bool)

    step = registration._steps(design, rest, sure, np.zeros((1, 5)))[0]

    r = rest.ravel().astype(float)
    scale = 2.0 * (1.4826 * np.median(np.abs(r)) + 0.5)
    root = np.minimum(1.0, scale / np.abs(r))
    expected = np.linalg.lstsq(design.reshape(-1, 5) * root[:, None], r * root, rcond=None)[0]
    assert step == pytest.approx(-expected, abs=2e-3)
