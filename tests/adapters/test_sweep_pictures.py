"""A made-up wall seen by a camera that turns: its pictures are found again, and somebody who moves before it."""

from __future__ import annotations

import math

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.spatial.transform import Rotation

from penult.adapters.pictures.movers import panned_movement
from penult.adapters.pictures.panned import PannedFollower
from penult.adapters.pictures.sweep import all_matches, chosen_keys, evened
from penult.adapters.pictures.veil import runway_strip
from penult.core.lane.camera import project
from penult.model.arrays import Floats
from penult.model.calibration import Camera
from penult.model.panorama import Panorama

SIZE_PX = (960, 540)
FOCAL_PX = 1900.0
LENS = np.array([[FOCAL_PX, 0.0, 479.5], [0.0, FOCAL_PX, 269.5], [0.0, 0.0, 1.0]])

Grey = NDArray[np.uint8]


@pytest.fixture(scope="module")
def wall() -> Grey:
    """A wide wall with things on it, as one camera of 90 degrees would see it."""
    rng = np.random.default_rng(1)
    wide = np.full((1400, 4800), 120, np.uint8)
    for _ in range(2500):
        x, y = int(rng.integers(0, 4800)), int(rng.integers(0, 1400))
        w, h = int(rng.integers(6, 60)), int(rng.integers(6, 60))
        cv2.rectangle(wide, (x, y), (x + w, y + h), int(rng.integers(20, 235)), -1)
    return np.asarray(cv2.GaussianBlur(wide, (5, 5), 0.0), dtype=np.uint8)


def turned(turn_deg: float) -> Floats:
    return np.asarray(Rotation.from_euler("y", -turn_deg, degrees=True).as_matrix())


def picture(wall: Grey, turn_deg: float) -> Grey:
    """The wall's homography K R K0^-1 for a camera that only turns (closed form)."""
    wide = np.array([[FOCAL_PX, 0.0, 2400.0], [0.0, FOCAL_PX, 700.0], [0.0, 0.0, 1.0]])
    matrix = LENS @ turned(turn_deg) @ np.linalg.inv(wide)
    return np.asarray(cv2.warpPerspective(wall, matrix, SIZE_PX), dtype=np.uint8)


def test_a_sweep_is_shown_by_few_pictures_whose_points_are_found_again(wall: Grey) -> None:
    """Points of one picture lie in the next where the closed form puts them, within 0.15 px in the median."""
    turns = np.arange(-20.0, 20.0, 0.5)
    keys = chosen_keys((i, evened(picture(wall, t), 1)) for i, t in enumerate(turns.tolist()))

    matches = all_matches(keys, 1)

    assert 5 <= len(keys) <= 14
    assert {(m.first, m.second) for m in matches} >= {(i, i + 1) for i in range(len(keys) - 1)}
    for m in matches:
        between = turned(float(turns[keys[m.second].frame])) @ turned(float(turns[keys[m.first].frame])).T
        whole = np.column_stack([m.first_px, np.ones(len(m.first_px))]) @ (LENS @ between @ np.linalg.inv(LENS)).T
        off = np.linalg.norm(whole[:, :2] / whole[:, 2:] - m.second_px, axis=1)
        assert np.median(off) < 0.15


def test_frames_are_laid_on_the_panorama_wherever_they_look(wall: Grey) -> None:
    """Within 0.005 degrees, with a person-sized block before the wall; a picture of something else is found nowhere."""
    turns = np.arange(-20.0, 20.0, 0.5)
    keys = chosen_keys((i, evened(picture(wall, t), 1)) for i, t in enumerate(turns.tolist()))
    panorama = Panorama(
        centre_m=np.array([0.0, 1.4, 15.0]),
        log_focal=math.log(FOCAL_PX),
        k1=0.0,
        turns=np.stack([turned(float(turns[k.frame])) for k in keys]),
        covariance=1e-10 * np.eye(5 + 3 * len(keys)),
        image_size_px=SIZE_PX,
        reference=0,
        noise_px=0.1,
    )
    follower = PannedFollower(panorama, keys, 1)

    for turn in (7.3, 8.1, 9.2, -15.4):  # the last one from anywhere
        frame = picture(wall, turn)
        frame[200:420, 430:520] = 30
        found = follower.frame_of(frame)
        assert found is not None
        off = Rotation.from_matrix(found.rotation @ turned(turn).T).magnitude()
        assert np.degrees(off) < 0.005
    noise = np.random.default_rng(2).integers(0, 255, SIZE_PX[::-1], dtype=np.uint8)
    assert follower.frame_of(noise) is None


def test_what_moves_before_a_turning_camera_is_seen_and_the_wall_is_not(wall: Grey) -> None:
    views = []
    for i in range(30):
        turn = -10.0 + 0.7 * i
        frame = picture(wall, turn)
        frame[180:420, 440:500] = 255  # followed by the camera: always in the middle
        rotvec = Rotation.from_matrix(turned(turn)).as_rotvec()
        camera = Camera(
            parameters=np.array([*rotvec, 0.0, 0.0, 0.0, math.log(FOCAL_PX), 0.0, 0.0]),
            covariance=np.zeros((9, 9)),
            image_size_px=SIZE_PX,
            centre_px=(479.5, 269.5),
        )
        views.append((i / 30.0, np.ascontiguousarray(frame[::2, ::2]), camera))

    masks = [mask for _, mask, _ in panned_movement(views, 2)]

    for mask in masks[5:25]:
        assert mask[100:200, 225:245].mean() > 0.9
        assert mask[:, 40:180].mean() < 0.02


def test_the_runway_of_a_turned_camera_leaves_nothing_else_sharp() -> None:
    """A camera that looks along a run-up of 40 m has its other end behind it: above a metre and a half nothing stays sharp."""
    turn = np.diag([1.0, -1.0, -1.0])
    rotation = turned(-60.0) @ turn
    rotvec = Rotation.from_matrix(rotation).as_rotvec()
    shift = -rotation @ np.array([-5.0, 1.4, 15.0])
    camera = Camera(
        parameters=np.array([*rotvec, *shift, math.log(FOCAL_PX), 0.0, 0.0]),
        covariance=np.zeros((9, 9)),
        image_size_px=SIZE_PX,
        centre_px=(479.5, 269.5),
    )

    strip = runway_strip(camera, np.linspace(-45.0, 5.0, 40))

    head = project(camera, np.array([[x, 1.5, 0.0] for x in (-38.0, -34.0, -30.0, -27.0)]))
    feet = project(camera, np.array([[x, 0.05, 0.0] for x in (-34.0, -30.0)]))
    assert not any(strip[round(y), round(x)] for x, y in head if 0 <= x < SIZE_PX[0])
    assert all(strip[round(y), round(x)] for x, y in feet)
