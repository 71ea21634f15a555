"""A sweep on one centre: the camera comes back from exact and from noisy observations, and wrong ones are told."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from penult.core.lane.camera import position_m, project
from penult.core.moving_camera.panorama import camera_of_picture, solved_panorama
from penult.core.moving_camera.turning import on_ground, solved_turn
from penult.errors import CalibrationError
from penult.model.arrays import Floats
from penult.model.panorama import Matches, Panorama, Sighted

SIZE_PX = (1920, 1080)
FOCAL_PX = 3800.0
CENTRE_M = np.array([-5.5, 1.45, 15.5])
TURNS_DEG = np.arange(-66.0, 31.0, 6.0)
MIDDLE_PX = np.array([959.5, 539.5])


def looking(turn_deg: float, roll_deg: float = 0.5) -> Floats:
    """Rotation from runway to camera axes of a lens on the right, turned about the upright, a little out of level."""
    square = np.diag([1.0, -1.0, -1.0])  # x right, y down, z towards -z of the runway
    turn = Rotation.from_euler("y", -turn_deg, degrees=True).as_matrix()
    roll = Rotation.from_euler("xz", [3.0, roll_deg], degrees=True).as_matrix()
    return np.asarray(roll @ turn @ square)


def seen(turn: Floats, places_m: Floats) -> Floats:
    """Pixels (n, 2) by the pinhole's closed form; NaN where they are out of the picture."""
    ahead = (places_m - CENTRE_M) @ turn.T
    pixels = FOCAL_PX * ahead[:, :2] / ahead[:, 2:] + MIDDLE_PX
    inside = (ahead[:, 2] > 0.1) & ((pixels >= 0.0) & (pixels < SIZE_PX)).all(axis=1)
    return np.where(inside[:, None], pixels, np.nan)


def observed(rng: np.random.Generator, noise_px: float, click_px: float) -> tuple[list[Matches], Sighted, Floats]:
    turns = np.stack([looking(t) for t in TURNS_DEG])
    wall = np.column_stack([rng.uniform(-60.0, 30.0, 1500), rng.uniform(0.0, 6.0, 1500), np.full(1500, -8.0)])
    pixels = [seen(t, wall) for t in turns]
    matches = []
    for i in range(len(turns)):
        for j in range(i + 1, min(i + 4, len(turns))):
            both = np.isfinite(pixels[i]).all(axis=1) & np.isfinite(pixels[j]).all(axis=1)
            if both.sum() >= 15:
                first, second = (pixels[k][both] + rng.normal(0.0, noise_px, (both.sum(), 2)) for k in (i, j))
                matches.append(Matches(first=i, second=j, first_px=first, second_px=second))
    places = np.array([[x, 0.0, z] for x in np.arange(-42.0, 1.0, 5.0) for z in (0.9, -0.9)])
    names, picture, clicked, where = [], [], [], []
    for k, place in enumerate(places):
        at = np.array([seen(t, place[None])[0] for t in turns])
        best = int(np.nanargmin(np.where(np.isfinite(at[:, 0]), np.abs(at[:, 0] - MIDDLE_PX[0]), np.inf)))
        names.append(f"cone {k}")
        picture.append(best)
        clicked.append(at[best] + rng.normal(0.0, click_px, 2))
        where.append(place + rng.normal(0.0, 0.01 * (click_px > 0), 3) * [1, 0, 1])
    marks = Sighted(names=tuple(names), picture=np.array(picture), pixel_px=np.array(clicked), runway_m=np.array(where))
    return matches, marks, turns


def test_exact_observations_give_the_cameras_back() -> None:
    matches, marks, turns = observed(np.random.default_rng(1), 0.0, 0.0)

    found = solved_panorama(matches, marks, len(turns), SIZE_PX, 1.0)

    assert found.centre_m == pytest.approx(CENTRE_M, abs=1e-4)
    assert np.exp(found.log_focal) == pytest.approx(FOCAL_PX, rel=1e-5)
    assert np.abs(found.turns - turns).max() < 1e-5
    camera = camera_of_picture(found, 3)
    assert position_m(camera) == pytest.approx(CENTRE_M, abs=1e-4)
    assert project(camera, marks.runway_m[:4]) == pytest.approx(
        project(camera_of_picture(found, 3), marks.runway_m[:4]), nan_ok=True
    )


def test_noisy_observations_miss_by_what_they_say() -> None:
    """Centre, lens and turns within three of their SDs, and the centre within 10 cm: clicks of 1 px, tape of 1 cm."""
    for seed in range(3):
        matches, marks, turns = observed(np.random.default_rng(seed), 0.3, 1.0)

        found = solved_panorama(matches, marks, len(turns), SIZE_PX, 1.0)

        sd = np.sqrt(np.diag(found.covariance))
        off = np.concatenate([found.centre_m - CENTRE_M, [found.log_focal - np.log(FOCAL_PX)]])
        assert (np.abs(off) < 3.5 * sd[:4]).all()
        assert np.abs(off[:3]).max() < 0.1
        turned = np.array(
            [Rotation.from_matrix(a @ b.T).as_rotvec() for a, b in zip(found.turns, turns, strict=True)]
        ).ravel()
        assert (np.abs(turned) < 3.5 * sd[5:]).all()


def test_a_mark_of_wrong_place_is_named_and_left_out() -> None:
    matches, marks, turns = observed(np.random.default_rng(2), 0.2, 1.0)
    places = np.array(marks.runway_m)
    places[4, 0] += 1.0  # a metre misread on the tape
    wrong = Sighted(names=marks.names, picture=marks.picture, pixel_px=marks.pixel_px, runway_m=places)

    found = solved_panorama(matches, wrong, len(turns), SIZE_PX, 1.0)

    assert found.left_out == ("cone 4",)
    assert found.centre_m == pytest.approx(CENTRE_M, abs=0.1)


def test_marks_on_one_line_are_refused() -> None:
    matches, marks, turns = observed(np.random.default_rng(3), 0.0, 0.0)
    near = [i for i, place in enumerate(marks.runway_m.tolist()) if place[2] > 0.0]
    line = Sighted(
        names=tuple(marks.names[i] for i in near),
        picture=marks.picture[near],
        pixel_px=marks.pixel_px[near],
        runway_m=marks.runway_m[near],
    )

    with pytest.raises(CalibrationError, match="one line"):
        solved_panorama(matches, line, len(turns), SIZE_PX, 1.0)


def test_pictures_that_do_not_hang_together_are_refused() -> None:
    matches, marks, turns = observed(np.random.default_rng(4), 0.0, 0.0)
    torn = [m for m in matches if not (m.first < 8 <= m.second)]

    with pytest.raises(CalibrationError, match="hang together"):
        solved_panorama(torn, marks, len(turns), SIZE_PX, 1.0)


def test_a_frame_between_two_pictures_is_found_although_a_third_of_its_points_moved() -> None:
    """Turn within 0.002 degrees, zoom within 1e-4: a person's points go their own way."""
    rng = np.random.default_rng(5)
    matches, marks, turns = observed(rng, 0.0, 0.0)
    panorama = solved_panorama(matches, marks, len(turns), SIZE_PX, 1.0)
    true = looking(float(TURNS_DEG[5]) + 2.3, 0.8)
    wall = np.column_stack([rng.uniform(-60.0, 30.0, 1500), rng.uniform(0.0, 6.0, 1500), np.full(1500, -8.0)])
    here, there = seen(turns[5], wall), seen(true, wall)
    both = np.isfinite(here).all(axis=1) & np.isfinite(there).all(axis=1)
    here, there = here[both], there[both] + rng.normal(0.0, 0.2, (both.sum(), 2))
    there[::3] += [25.0, -4.0]

    found = solved_turn(panorama, here, there, np.zeros(4))

    assert found is not None
    assert found.fits
    expected = Rotation.from_matrix(true @ turns[5].T).as_rotvec()
    assert np.degrees(np.abs(found.motion[:3] - expected)).max() < 0.01
    assert abs(found.motion[3]) < 3e-4


def test_a_level_camera_has_a_sound_covariance() -> None:
    """Half a turn from the runway's axes a rotation vector may jump to its opposite; turns known to 1e-4 must stay so."""
    level = np.diag([1.0, -1.0, -1.0])
    panorama = Panorama(
        centre_m=CENTRE_M,
        log_focal=float(np.log(FOCAL_PX)),
        k1=0.0,
        turns=level[None],
        covariance=1e-8 * np.eye(8),
        image_size_px=SIZE_PX,
        reference=0,
        noise_px=0.1,
    )

    camera = camera_of_picture(panorama, 0)

    # the derivative of a rotation vector by a turn is at most half a turn over two, pi / 2, at half a turn
    assert np.sqrt(np.diag(camera.covariance)[:3]).max() <= 1e-4 * np.pi / 2.0 * 1.01


def test_a_tripod_that_was_moved_is_no_turn() -> None:
    """Shifted by 20 cm, the ground moves by 49 px at 15.5 m and the wall by 32 at 23.5 m: no turn is said to fit both."""
    rng = np.random.default_rng(7)
    matches, marks, turns = observed(rng, 0.0, 0.0)
    panorama = solved_panorama(matches, marks, len(turns), SIZE_PX, 1.0)
    picture = 10
    wall = np.column_stack([rng.uniform(-60.0, 30.0, 1500), rng.uniform(0.0, 6.0, 1500), np.full(1500, -8.0)])
    floor = np.column_stack([rng.uniform(-60.0, 30.0, 600), np.zeros(600), rng.uniform(-1.2, 4.0, 600)])
    places = np.concatenate([wall, floor])
    here, there = seen(turns[picture], places), seen(turns[picture], places - [0.2, 0.0, 0.0])
    both = np.isfinite(here).all(axis=1) & np.isfinite(there).all(axis=1)
    here, there, floor_too = here[both], there[both], (np.arange(len(places)) >= 1500)[both]
    ground = on_ground(panorama, picture, here)

    found = solved_turn(panorama, here, there, np.zeros(4), ground)

    assert (ground == floor_too).mean() > 0.95
    assert found is not None
    assert not found.fits
    unmoved = solved_turn(panorama, here, here, np.zeros(4), ground)
    assert unmoved is not None
    assert unmoved.fits
