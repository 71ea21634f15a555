"""Runs in another lane: standing feet that lie below the runway or all above it, beyond doubt or not."""

from __future__ import annotations

import numpy as np
import pytest

from penult.core.checks.other_lane import refuse_other_lane
from penult.core.joints.supports import Support
from penult.core.uncertainty.draws import COUNT, Draws
from penult.errors import NoAthleteError
from penult.model.skeleton import JOINTS, joint

TIME_S = np.arange(120) / 120.0
SUPPORTS = tuple(
    Support(
        foot="left" if i % 2 else "right",
        start_s=start,
        end_s=start + 0.12,
        toe_x_m=0.0,
        heel_x_m=0.0,
        toe_y_m=0.0,
        ankle_x_m=0.0,
    )
    for i, start in enumerate((0.1, 0.35, 0.6, 0.85))
)


def drawn(toes_m: tuple[float, ...], doubt_m: float) -> Draws:
    """Draws of a body whose toes stand at these heights in the four supports, and swing high above the runway else."""
    rng = np.random.default_rng(1)
    xy_m = np.full((COUNT + 1, len(TIME_S), len(JOINTS), 2), 0.5)
    for support, height_m in zip(SUPPORTS, toes_m, strict=True):
        rows = (support.start_s <= TIME_S) & (support.end_s >= TIME_S)
        xy_m[:, rows, joint(support.foot, "toe"), 1] = height_m
    xy_m[1:] += rng.normal(0.0, doubt_m, (COUNT, 1, 1, 1))  # of the camera: the same everywhere
    nothing = np.zeros_like(xy_m)
    return Draws(
        xy_m=xy_m,
        camera_theta=np.zeros((COUNT, 9)),
        generator=rng,
        lasting_m=nothing,
        noise_factor=1.0,
        shared_timing_error=np.zeros((2, COUNT)),
    )


def test_feet_11_cm_below_are_refused_with_the_number() -> None:
    """As of somebody 1.3 m nearer to a camera at 12 m, 1.2 m high: 1.22 x 1.3 / 10.8 = 15 cm, less a toe joint's 2 to 3 cm."""
    with pytest.raises(NoAthleteError, match="not on the calibrated lane") as caught:
        refuse_other_lane(drawn((-0.11, -0.10, -0.12, -0.11), 0.018), SUPPORTS, TIME_S)

    assert caught.value.details == (
        "the feet stand 11 cm below its surface, as those of somebody nearer to the camera",
    )


def test_feet_that_all_stand_14_cm_high_are_refused_with_the_number() -> None:
    """As of somebody 1.3 m behind: 1.22 x 1.3 / 13.3 = 12 cm, and a toe joint's 2 to 3 cm; three supports are the least."""
    draws = drawn((0.14, 0.15, 0.14, 0.13), 0.018)

    with pytest.raises(NoAthleteError, match="not on the calibrated lane") as caught:
        refuse_other_lane(draws, SUPPORTS, TIME_S)

    assert caught.value.details == (
        "every foot stands 13 cm or more above its surface, as those of somebody farther away",
    )
    refuse_other_lane(draws, SUPPORTS[:2], TIME_S)
    refuse_other_lane(draws, SUPPORTS, TIME_S, has_mats=True)  # the coach said so: under every step, then


def test_one_misplaced_toe_of_two_refuses_nothing() -> None:
    """Two supports are too few to tell a lane by."""
    refuse_other_lane(drawn((-0.30, -0.30, 0.02, 0.02), 0.018), SUPPORTS[:2], TIME_S)


@pytest.mark.parametrize(
    ("toes_m", "doubt_m"),
    [
        ((0.02, 0.02, 0.02, 0.02), 0.018),
        ((0.02, 0.07, 0.02, 0.07), 0.018),
        ((0.32, 0.32, 0.02, 0.32), 0.018),
        ((0.14, 0.14, 0.14, 0.14), 0.05),
        ((0.02, 0.02, -0.15, -0.12), 0.018),
        ((-0.11, -0.11, -0.11, -0.11), 0.05),
        ((-0.05, -0.05, -0.05, -0.05), 0.018),
    ],
    ids=[
        "on the lane",
        "mats",
        "boxes",
        "high with a doubtful camera",
        "feet misplaced in half of them",
        "a doubtful camera",
        "a little low",
    ],
)
def test_others_are_measured(toes_m: tuple[float, ...], doubt_m: float) -> None:
    refuse_other_lane(drawn(toes_m, doubt_m), SUPPORTS, TIME_S)


def test_feet_that_are_nowhere_seen_say_nothing() -> None:
    refuse_other_lane(drawn((np.nan,) * 4, 0.018), SUPPORTS, TIME_S)
