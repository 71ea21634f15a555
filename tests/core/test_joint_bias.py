"""What the pose model's joints are off on average: turned shoulders, and a standing leg in its posture."""

from __future__ import annotations

import numpy as np
import pytest

from penult.core.joints.joint_bias import (
    BY_OTHER_KNEE,
    LEAST_AHEAD_M,
    STANDING_M,
    TURNED,
    USUAL,
    Posture,
    far_lead_m,
    mean_m,
    posture_of,
    standing_m,
    unseen_m,
    without_mean,
)
from penult.model.skeleton import JOINTS, joint
from penult.model.track import RunwayTrack


def track(xy_m: np.ndarray) -> RunwayTrack:
    count = len(xy_m)
    return RunwayTrack(
        frame=np.arange(count),
        time_s=np.arange(count) / 240.0,
        xy_m=xy_m,
        z_m=np.zeros(len(JOINTS)),
        filled=np.zeros(xy_m.shape[:2], dtype=bool),
    )


@pytest.mark.parametrize(("lens_z_m", "far"), [(12.0, "left"), (-12.0, "right")])
def test_shoulders_go_back_by_a_share_of_how_far_the_hidden_one_is_ahead(lens_z_m: float, far: str) -> None:
    """The lens on the athlete's right hides the left shoulder. 10 cm ahead: both 1.4 cm back, beyond the mean; no other joint."""
    seen = np.zeros((3, len(JOINTS), 2))
    seen[:, joint(far, "shoulder"), 0] = 0.10

    away = seen - without_mean(track(seen), lens_z_m=lens_z_m).xy_m - mean_m()

    assert far_lead_m(seen, lens_z_m) == pytest.approx(0.10)
    wanted = np.zeros_like(away)
    for side in ("left", "right"):
        wanted[:, joint(side, "shoulder"), 0] = TURNED * 0.10
    assert away == pytest.approx(wanted)


def test_what_a_person_placed_is_left_alone() -> None:
    seen = np.zeros((2, len(JOINTS), 2))
    seen[:, joint("left", "shoulder"), 0] = 0.10

    out = without_mean(track(seen), hand=np.ones((2, len(JOINTS))), lens_z_m=12.0)

    assert np.array_equal(out.xy_m, seen)


def standing(posture: Posture, share: float = 0.0) -> dict[str, np.ndarray]:
    off = standing_m("left", share, posture=posture)
    return {part: off[joint("left", part)] for part in STANDING_M}


def test_in_running_a_leg_is_off_as_running_legs_are() -> None:
    """At touchdown, in the middle and at toe-off the values measured there; the other leg and the arms by nothing."""
    for share, column in ((0.0, 0), (0.5, 1), (1.0, 2)):
        for part, off in standing(USUAL, share).items():
            assert off == pytest.approx(STANDING_M[part][column])
    others = [k for k, name in enumerate(JOINTS) if not name.startswith("left") or name.split("_")[1] not in STANDING_M]
    assert (standing_m("left", 0.3)[others] == 0.0).all()


def test_a_knee_far_behind_counts_as_one_at_the_end_of_what_was_measured() -> None:
    """0.15 m farther behind than in running the standing knee lies 0.15 x 0.128 m farther ahead, and no more than that at 0.6 m."""
    behind = Posture(other_knee_ahead_m=-0.30, shank_lean_deg=0.0, knee_toe_off_deg=150.0)
    farther = Posture(other_knee_ahead_m=-0.60, shank_lean_deg=0.0, knee_toe_off_deg=150.0)

    moved = standing(behind)["knee"] - standing(USUAL)["knee"]

    assert LEAST_AHEAD_M == -0.30
    assert moved == pytest.approx(-0.15 * np.array(BY_OTHER_KNEE["knee"]))
    assert moved[0] == pytest.approx(0.15 * 0.128)
    assert standing(farther)["knee"] == pytest.approx(standing(behind)["knee"])


def test_a_posture_beyond_the_measured_ones_is_less_sure() -> None:
    """The other knee 0.20 m ahead, as in a skip: 4 cm; in running nothing."""
    skip = Posture(other_knee_ahead_m=0.20, shank_lean_deg=0.0, knee_toe_off_deg=150.0)

    assert unseen_m(USUAL) == 0.0
    assert unseen_m(skip) == pytest.approx(0.04)


def test_posture_is_read_off_the_joints() -> None:
    """A shank that leans 45 degrees back, the other knee 0.2 m ahead; at toe-off a right angle at the knee."""
    landing, leaving = np.zeros((2, len(JOINTS), 2))
    landing[joint("left", "ankle")] = (0.4, 0.0)
    landing[joint("left", "knee")] = (0.0, 0.4)
    landing[joint("right", "knee")] = (0.2, 0.4)
    leaving[joint("left", "hip")] = (0.0, 0.8)
    leaving[joint("left", "knee")] = (0.0, 0.4)
    leaving[joint("left", "ankle")] = (-0.4, 0.4)

    seen = posture_of(landing, leaving, "left")

    assert (seen.other_knee_ahead_m, seen.shank_lean_deg, seen.knee_toe_off_deg) == pytest.approx((0.2, -45.0, 90.0))
    assert posture_of(landing, leaving, "left", 0.5).other_knee_ahead_m == pytest.approx(0.4)
    assert posture_of(np.full_like(landing, np.nan), np.full_like(landing, np.nan), "left") == USUAL
