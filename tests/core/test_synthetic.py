"""The synthetic runner is what it says: rigid limbs, a mass centre that falls with g, forefeet that stand still."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from penult.core.joints.body import mass_centre, segment_table
from penult.core.joints.locate import joint_depths, to_runway
from penult.core.synthetic.body import FLAT_FROM, FLAT_UNTIL, SHARE, joints_at
from penult.core.synthetic.film import Faults, film, frame_times_s
from penult.core.synthetic.run import Plan, Runner, make_runner
from penult.core.synthetic.truth import truth
from penult.model.calibration import Camera
from penult.model.skeleton import joint

LIMBS = {
    "thigh": ("hip", "knee"),
    "shank": ("knee", "ankle"),
    "upper_arm": ("shoulder", "elbow"),
    "forearm": ("elbow", "wrist"),
}


@pytest.mark.parametrize("height_m", [1.55, 1.75, 1.95])
def test_limbs_keep_the_length_of_that_body(height_m: float) -> None:
    """Fails if a leg is stretched to reach the ground or a segment is not scaled with the body."""
    run = make_runner(Plan(height_m=height_m, speed_m_per_s=7.0, takeoff_m_per_s=(6.4, 2.6)))

    body = joints_at(run, np.linspace(*run.shown_s, 200))

    for side in ("left", "right"):
        for name, (near, far) in LIMBS.items():
            length = np.linalg.norm(body[:, joint(side, near)] - body[:, joint(side, far)], axis=1)
            assert length == pytest.approx(np.full(200, SHARE[name] * height_m), abs=1e-9)


def test_the_mass_centre_falls_with_g_in_every_flight(runner: Runner) -> None:
    """Closed form: the second difference of a free fall is -g dt^2, of even motion 0. Fails if the hips were not solved for."""
    for off, down in zip(runner.knots_s[1:-1:2], runner.knots_s[2::2], strict=True):
        if off < runner.shown_s[0]:
            continue
        time_s = np.linspace(off + 1e-4, down - 1e-4, 12)
        centre = mass_centre(joints_at(runner, time_s), segment_table(runner.sex))

        bend = np.diff(centre, n=2, axis=0) / (time_s[1] - time_s[0]) ** 2

        assert bend[:, 0] == pytest.approx(0.0, abs=1e-5)
        assert bend[:, 1] == pytest.approx(-9.81, abs=1e-5)


def test_a_standing_forefoot_does_not_move_and_a_plan_for_longer_legs_is_refused(runner: Runner) -> None:
    """Fails if a foot slides in support, or if an impossible plan gives a torn body instead of an error."""
    for stance in runner.shown().values():
        lasts = stance.toe_off_s - stance.touchdown_s
        flat = stance.touchdown_s + lasts * np.linspace(FLAT_FROM, FLAT_UNTIL, 5)
        toe = joints_at(runner, flat)[:, joint(stance.foot, "toe")]
        assert np.ptp(toe, axis=0) == pytest.approx([0.0, 0.0], abs=1e-9)
    with pytest.raises(ValueError, match="cannot reach"):
        joints_at(make_runner(Plan(ahead_m=(0.9,) * 6)), np.array([0.5]))


def test_truth_is_consistent_with_itself(runner: Runner) -> None:
    """Identities of any run: contact + flight = step time; steps add up; loss = approach - take-off speed."""
    known = truth(runner)

    for number in (-2, -1, 0):
        contact = known[f"contacts|{number - 1}|contact_time_s"]
        assert contact + known[f"steps|{number}|flight_time_s"] == pytest.approx(known[f"steps|{number}|step_time_s"])
    way = sum(known[f"steps|{number}|step_length_m"] for number in (-2, -1, 0))
    assert known["contacts|-3|toe_x_m"] + way == pytest.approx(-known["takeoff|-|toe_to_board_m"])
    loss = known["takeoff|-|approach_speed_m_per_s"] - known["takeoff|-|takeoff_velocity_x_m_per_s"]
    assert known["takeoff|-|speed_loss_m_per_s"] == pytest.approx(loss)


@settings(max_examples=12)
@given(seed=st.integers(0, 10_000), share=st.floats(0.0, 0.5))
def test_faults_come_in_the_share_that_was_asked_for(runner: Runner, camera: Camera, seed: int, share: float) -> None:
    """Fails if gaps or swapped legs are not put in, or touch other rows or joints (four SDs of a binomial)."""
    time_s = frame_times_s(runner, 120.0)
    perfect = film(runner, camera, time_s)

    faulty = film(runner, camera, time_s, Faults(swap_share=share, gap_share=share), np.random.default_rng(seed))

    gone = np.isnan(faulty.xy_px).all(axis=(1, 2))
    swapped = (faulty.xy_px[:, joint("left", "ankle")] == perfect.xy_px[:, joint("right", "ankle")]).all(axis=1)
    slack = 4.0 * np.sqrt(share * (1.0 - share) / len(time_s)) + 1e-9
    assert gone.mean() == pytest.approx(share, abs=slack)
    assert swapped[~gone].mean() == pytest.approx(share, abs=2.0 * slack)
    kept = ~gone & ~swapped
    assert faulty.xy_px[kept] == pytest.approx(perfect.xy_px[kept], abs=1e-9)


def test_a_perfect_film_maps_back_onto_the_body(runner: Runner, camera: Camera) -> None:
    """Fails if the film puts joints at other depths than the measuring side assumes."""
    time_s = frame_times_s(runner, 120.0)

    back = to_runway(film(runner, camera, time_s), (camera,), joint_depths())

    assert back.xy_m == pytest.approx(joints_at(runner, time_s), abs=1e-9)
