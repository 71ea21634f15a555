"""Joints of the far side while the body hides them: on a synthetic run, with the faults put in by hand."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from penult.core.joints.hidden import BEHIND_M, FREE_M, LEAST_WORTH, knee_worth, with_far_elbow
from penult.model.arrays import Floats
from penult.model.skeleton import JOINTS, joint
from penult.model.track import RunwayTrack


def changed(track: RunwayTrack, row: int, places: dict[str, Floats]) -> RunwayTrack:
    """Return the track with joints of one row elsewhere."""
    xy_m = np.array(track.xy_m)
    for name, place in places.items():
        xy_m[row, JOINTS.index(name)] = place
    return dataclasses.replace(track, xy_m=xy_m)


def swinging(still_s: float = 0.0) -> RunwayTrack:
    """240 pictures a second of an upright trunk at 9 m/s; arms of 28 cm swing past it by a radian, or stay
    behind it for a while."""
    time_s = np.arange(200) / 240.0
    xy_m = np.zeros((len(time_s), len(JOINTS), 2))
    xy_m[..., 0] = 9.0 * time_s[:, None]
    for side in ("left", "right"):
        xy_m[:, joint(side, "shoulder"), 1], xy_m[:, joint(side, "hip"), 1] = 1.4, 0.9
    swing_rad = -1.0 * np.cos(2.0 * np.pi * time_s / 0.5)
    swing_rad[np.abs(time_s - 0.375) < still_s / 2.0] = 0.0
    for side, turn in (("left", 1.0), ("right", -1.0)):
        arm = 0.28 * np.stack([np.sin(turn * swing_rad), -np.cos(swing_rad)], axis=1)
        xy_m[:, joint(side, "elbow")] = xy_m[:, joint(side, "shoulder")] + arm
    frame = np.arange(len(time_s))
    return RunwayTrack(
        frame=frame, time_s=time_s, xy_m=xy_m, filled=np.zeros(xy_m.shape[:2], bool), z_m=np.zeros(len(JOINTS))
    )


def test_the_far_elbow_swings_on_evenly_while_it_is_behind_the_trunk() -> None:
    """Seen 10 cm too far forward there, it comes back to within 1 cm of a pendulum's way; the near one and all others stay."""
    true, elbow = swinging(), joint("left", "elbow")
    hidden = np.abs(true.xy_m[:, elbow, 0] - true.xy_m[:, joint("left", "shoulder"), 0]) < 0.1
    xy_m = np.array(true.xy_m)
    xy_m[hidden, elbow, 0] += np.where(
        xy_m[hidden, elbow, 0] - xy_m[hidden, joint("left", "shoulder"), 0] < 0.0, 0.1, 0.0
    )

    found = with_far_elbow(dataclasses.replace(true, xy_m=xy_m), 12.0).xy_m

    assert np.abs(found[:, elbow] - true.xy_m[:, elbow]).max() < 0.01
    others = np.setdiff1d(np.arange(len(JOINTS)), elbow)
    assert np.array_equal(found[:, others], true.xy_m[:, others])


def test_a_far_elbow_that_was_put_by_hand_or_stays_behind_the_trunk_is_left() -> None:
    """A person's sample stays to the millimetre; an arm behind the trunk for 0.3 s is no swing; a lens on the other side."""
    track, elbow = swinging(), joint("left", "elbow")
    sure = np.zeros(track.xy_m.shape[:2], bool)
    sure[90, elbow] = True
    by_hand = changed(track, 90, {"left_elbow": track.xy_m[90, elbow] + [0.05, 0.0]})
    resting = swinging(still_s=0.3)
    resting = changed(resting, 90, {"left_elbow": resting.xy_m[90, elbow] + [0.05, 0.0]})

    assert np.array_equal(with_far_elbow(by_hand, 12.0, sure).xy_m[90], by_hand.xy_m[90])
    assert np.array_equal(with_far_elbow(resting, 12.0).xy_m[90], resting.xy_m[90])
    assert np.array_equal(with_far_elbow(by_hand, -12.0).xy_m[:, elbow], by_hand.xy_m[:, elbow])
    assert BEHIND_M > 0.05  # or the sample by hand would not have been in question


@pytest.mark.parametrize(("lens_z_m", "far", "near"), [(12.0, "left", "right"), (-12.0, "right", "left")])
def test_the_far_knee_is_worth_little_behind_the_near_leg(lens_z_m: float, far: str, near: str) -> None:
    """Closed form: on the line of the nearer thigh LEAST_WORTH, FREE_M and more away from it 1, between in proportion."""
    track = swinging()
    for row, away_m in ((10, 0.0), (11, 0.5 * FREE_M), (12, 2.0 * FREE_M)):
        track = changed(
            track,
            row,
            {
                f"{near}_hip": np.array([0.0, 1.0]),
                f"{near}_knee": np.array([0.0, 0.6]),
                f"{near}_ankle": np.array([0.0, 0.2]),
                f"{far}_knee": np.array([away_m, 0.7]),
            },
        )
    track = changed(track, 13, {f"{far}_knee": np.full(2, np.nan)})

    knee, worth = knee_worth(track, lens_z_m)

    assert JOINTS[knee] == f"{far}_knee"
    assert worth[10:14] == pytest.approx([LEAST_WORTH, 0.5, 1.0, 1.0])
