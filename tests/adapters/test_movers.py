"""Movers over the lane in made pictures: where they are, where they stand, and what is no mover at all."""

from __future__ import annotations

from collections.abc import Callable, Iterator

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from penult.adapters.pictures.movers import movement
from penult.adapters.pictures.movers import profile_of as profile_of_movement
from penult.core.joints.runs import find_runs
from penult.core.lane.camera import project
from penult.core.synthetic.film import square_camera
from penult.errors import NoAthleteError
from penult.model.calibration import Camera
from penult.model.lane_profile import LaneProfile

REDUCE = 4
RATE_HZ = 30.0
Grey = NDArray[np.uint8]
Where = Callable[[float], tuple[float, float, float] | None]
"""Place at a time: x and z on the runway and height of the feet; None when out of the picture."""


def hall(seed: int = 0) -> NDArray[np.float64]:
    """A wall with some structure, darker below."""
    rng = np.random.default_rng(seed)
    rows = np.linspace(150.0, 90.0, 270)[:, None]
    return rows + np.repeat(np.repeat(rng.normal(0.0, 12.0, (27, 48)), 10, axis=0), 10, axis=1)


def pictures(
    camera: Camera,
    *people: Where,
    seconds: float = 1.5,
    light: Callable[[float], object] = lambda t: 1.0,
    noise: float = 2.0,
    seed: int = 0,
) -> Iterator[tuple[float, Grey]]:
    """Film people as dark boxes of 1.75 m by 0.4 m before the wall."""
    wall, rng = hall(seed), np.random.default_rng(seed)
    for i in range(int(seconds * RATE_HZ)):
        time_s = i / RATE_HZ
        picture = wall.copy()
        for where in people:
            place = where(time_s)
            if place is None:
                continue
            x_m, z_m, feet_m = place
            corners = project(camera, [[x_m - 0.2, feet_m, z_m], [x_m + 0.2, feet_m + 1.75, z_m]]) / REDUCE
            (left, right), (top, bottom) = sorted(corners[:, 0]), sorted(corners[:, 1])
            picture[max(round(top), 0) : max(round(bottom), 0), max(round(left), 0) : max(round(right), 0)] = 45.0
        picture = picture * light(time_s) + rng.normal(0.0, noise, picture.shape)
        yield time_s, np.clip(picture, 0, 255).astype(np.uint8)


def running(speed: float = 8.4, z_m: float = 0.0, from_m: float = -8.5) -> Where:
    """Return somebody who runs through, off the ground in every other fifth of a second."""
    return lambda t: (from_m + speed * t, z_m, 0.15 * (int(10.0 * t) % 2))


def profile_of(camera: Camera, *people: Where, **given: object) -> LaneProfile:
    return profile_of_movement(movement(pictures(camera, *people, **given)), camera, REDUCE)  # type: ignore[arg-type]


@pytest.mark.parametrize("from_left", [False, True])
def test_a_runner_covers_the_lane_where_they_are_and_stands_on_it(from_left: bool) -> None:
    """The covered bins follow the runner within 15 cm, most of a body high, and the feet read within 0.5 m of the lane."""
    camera = square_camera(from_left=from_left)

    profile = profile_of(camera, running())

    rows = [i for i, t in enumerate(profile.time_s) if -6.5 < -8.5 + 8.4 * t < 2.0]
    middle = (profile.cover[rows] * profile.x_m).sum(axis=1) / profile.cover[rows].sum(axis=1)
    assert middle == pytest.approx(-8.5 + 8.4 * profile.time_s[rows], abs=0.15)
    assert np.median(profile.cover[rows].max(axis=1)) > 0.8
    grounded = [i for i in rows if int(10.0 * profile.time_s[i]) % 2 == 0]
    feet = [profile.ground_z_m[i, profile.cover[i].argmax()] for i in grounded]
    assert np.median(np.abs(feet)) < 0.5
    (path,) = find_runs(profile)
    assert path.x_m == pytest.approx(-8.5 + 8.4 * path.time_s, abs=0.35)


@pytest.mark.parametrize("z_m", [-3.0, 3.0])
def test_somebody_in_another_lane_reads_at_their_own_depth(z_m: float) -> None:
    """Where the lowest pixel meets the runway tells lanes apart: within 0.7 m. Fails if near and far are exchanged."""
    profile = profile_of(square_camera(), lambda t: (-7.0 + 7.0 * t, z_m, 0.0))

    best = profile.cover.argmax(axis=1)
    seen = profile.cover.max(axis=1) > 0.3
    depth = profile.ground_z_m[np.arange(len(best)), best][seen]
    assert seen.sum() > 20
    assert np.nanmedian(depth) == pytest.approx(z_m, abs=0.7)


def flicker(time_s: float) -> object:
    """Return bands of light that roll over the rows, as lamps do under a rolling shutter, on a drifting exposure."""
    rows = np.arange(270)[:, None]
    return (1.0 + 0.08 * np.sin(2.0 * np.pi * (rows / 90.0 + 7.3 * time_s))) * (1.0 + 0.1 * np.sin(3.0 * time_s))


def test_people_who_stand_light_and_noise_are_no_movers() -> None:
    """Spectators, flicker in bands, a drifting exposure and sensor noise leave the profile empty (2 % of the bins at most)."""
    camera = square_camera()

    profile = profile_of(
        camera, lambda t: (-5.0, 1.2, 0.0), lambda t: (0.5, -1.5, 0.0), light=flicker, noise=4.0, seconds=2.0
    )

    assert (profile.cover > 0.15).mean() < 0.02
    with pytest.raises(NoAthleteError, match="nothing crosses"):
        find_runs(profile)


def test_a_runner_is_found_before_all_that() -> None:
    """The same hall with a runner in it. Fails if the correction for light takes the runner away."""
    profile = profile_of(square_camera(), lambda t: (-5.0, 1.2, 0.0), running(), light=flicker, noise=4.0, seconds=2.0)

    (path,) = find_runs(profile)

    inside = path.x_m < 2.5
    assert np.median(np.abs(path.x_m - (-8.5 + 8.4 * path.time_s))[inside]) < 0.2


@settings(max_examples=4)
@given(speed=st.floats(4.0, 11.0), seed=st.integers(0, 20))
def test_any_runner_in_any_hall_makes_one_run(speed: float, seed: int) -> None:
    """Property: one runner, one path, at their own speed (5 %)."""
    profile = profile_of(square_camera(), running(speed), seconds=12.0 / speed, seed=seed)

    (path,) = find_runs(profile)

    way, lasted = path.x_m[-1] - path.x_m[0], path.time_s[-1] - path.time_s[0]
    assert way > 8.0
    assert way / lasted == pytest.approx(speed, rel=0.05)


def test_a_long_clip_is_measured_in_blocks(monkeypatch: pytest.MonkeyPatch) -> None:
    """The whole of it, block by block, so that memory stays bounded; a shift of light between blocks is no mover."""
    monkeypatch.setattr("penult.adapters.pictures.movers.BLOCK_S", 0.5)
    camera = square_camera()

    profile = profile_of(camera, seconds=2.0, light=lambda t: 1.0 if t < 1.0 else 1.15)

    assert len(profile.time_s) == 60
    assert profile.cover.shape == (60, len(profile.x_m))
    assert (np.diff(profile.time_s) > 0).all()
    assert (profile.cover > 0.15).mean() < 0.02


def test_without_pictures_or_lane_the_reason_is_given() -> None:
    """No picture at all, and a lane file from another place: each its own sentence and exit status 3."""
    camera = square_camera()
    elsewhere = Camera(
        parameters=camera.parameters + np.array([0, 0, 0, 500.0, 0, 0, 0, 0, 0]),
        covariance=camera.covariance,
        image_size_px=camera.image_size_px,
        centre_px=camera.centre_px,
    )

    with pytest.raises(NoAthleteError, match="no picture"):
        profile_of_movement(movement(iter([])), camera, REDUCE)
    with pytest.raises(NoAthleteError, match="less than 1 m of the calibrated lane") as caught:
        profile_of_movement(movement(pictures(camera)), elsewhere, REDUCE)
    assert caught.value.exit_status == 3
