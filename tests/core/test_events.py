"""Contacts as drawn events: exact value first, stated spread after it, the camera's share on top."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from penult.core.joints.supports import Support
from penult.core.lane.camera import at_depth, project
from penult.core.lane.camera_draws import sample_cameras
from penult.core.lane.fit import fit_lane
from penult.core.measures.events import COMMON_SHARE, FLAT_SD_M, make_event, nearest_camera, rough_contact
from penult.core.measures.evidence import Event
from penult.core.shoe.contact import CONTRADICTED
from penult.core.synthetic.film import lane_file, square_camera
from penult.core.uncertainty.draws import Draws
from penult.model.arrays import Floats
from penult.model.calibration import Camera
from penult.model.shoe import ShoeContact
from penult.model.skeleton import JOINTS

COUNT = 4000
SUPPORT = Support(foot="right", start_s=0.680, end_s=0.820, toe_x_m=-2.2, heel_x_m=-2.42, toe_y_m=0.03, ankle_x_m=-2.38)
SHOE = ShoeContact(
    touchdown_s=0.695,
    touchdown_sd_s=0.002,
    toe_off_s=0.810,
    toe_off_sd_s=0.003,
    toe_x_m=-2.163,
    toe_x_sd_m=0.009,
    heel_x_m=None,
    support_height_m=0.05,
    support_height_sd_m=0.004,
    foot_angle_touchdown_deg=-2.0,
    foot_angle_touchdown_sd_deg=1.5,
    quality=0.9,
    toe_seen=True,
)


def draws_of(camera: Camera, seed: int = 0) -> Draws:
    """Draws that only carry the camera's parameters, as many as a close check of an SD needs (1.1 %)."""
    rng = np.random.default_rng(seed)
    theta = rng.multivariate_normal(np.zeros(9), camera.covariance, COUNT, method="eigh")
    nothing_m = np.zeros((COUNT + 1, 1, len(JOINTS), 2))
    late = np.random.default_rng(seed + 100).normal(size=(2, COUNT))
    return Draws(
        xy_m=nothing_m,
        camera_theta=theta,
        generator=rng,
        lasting_m=nothing_m,
        noise_factor=1.0,
        shared_timing_error=late,
    )


def sd(draws: Floats) -> float:
    return float(draws[1:].std(ddof=1))


def test_the_shoe_s_pictures_count_where_they_answer() -> None:
    """First the value exactly, then draws with the stated SD; instants of a kind are late together by their common share."""
    still = square_camera()
    draws = draws_of(still)

    event = make_event(SUPPORT, SHOE, still, 0.05, draws)
    other = make_event(SUPPORT, SHOE, still, 0.05, draws)

    for one, two in ((event.touchdown_s, other.touchdown_s), (event.toe_off_s, other.toe_off_s)):
        assert np.corrcoef(one[1:], two[1:])[0, 1] == pytest.approx(COMMON_SHARE, abs=0.06)

    assert (event.foot, event.touchdown_s[0], event.toe_off_s[0]) == ("right", 0.695, 0.810)
    assert (event.toe_x_m[0], event.support_height_m[0], event.foot_angle_deg[0]) == (-2.163, 0.05, -2.0)
    for values, stated in (
        (event.touchdown_s, 0.002),
        (event.toe_off_s, 0.003),
        (event.toe_x_m, 0.009),
        (event.support_height_m, 0.004),
        (event.foot_angle_deg, 1.5),
    ):
        assert sd(values) == pytest.approx(stated, rel=0.05)
        assert values.shape == (COUNT + 1,)
    assert abs(np.corrcoef(event.touchdown_s[1:], event.toe_off_s[1:])[0, 1]) < 0.06
    assert abs(np.corrcoef(event.touchdown_s[1:], event.foot_angle_deg[1:])[0, 1]) < 0.06
    assert event.foot_angle_reason == ""


def test_an_instant_that_only_joints_tell_is_unseen_where_they_saw_only_the_rest_of_a_support() -> None:
    """Somebody ran past in front of the first 78 of 112 ms of a support: what the joints then call its start is no touchdown."""
    rest = dataclasses.replace(SUPPORT, start_s=0.758, end_s=0.817)
    late = dataclasses.replace(SHOE, touchdown_s=0.773, touchdown_sd_s=0.012, touchdown_seen=False)
    still = square_camera()

    event = make_event(rest, late, still, 0.05, draws_of(still))

    assert (event.touchdown_seen, event.toe_off_seen) == (False, True)
    assert make_event(SUPPORT, late, still, 0.05, draws_of(still)).touchdown_seen


def test_an_end_of_which_joints_and_pictures_tell_different_things_is_unseen_and_says_why() -> None:
    """The toe-off alone: the touchdown, of which nothing is said against the joints, stays theirs."""
    still = square_camera()
    torn = dataclasses.replace(SHOE, toe_off_s=np.nan, reason=CONTRADICTED)

    event = make_event(SUPPORT, torn, still, 0.05, draws_of(still))

    assert (event.touchdown_seen, event.toe_off_seen) == (True, False)
    assert event.touchdown_s[0] == pytest.approx(SUPPORT.start_s + 0.015)
    assert event.unseen_reason == CONTRADICTED


@pytest.mark.parametrize("shoe", [None, dataclasses.replace(SHOE, reason="hidden", touchdown_s=np.nan)])
def test_without_them_the_joints_serve_with_their_larger_spread(shoe: ShoeContact | None) -> None:
    """Rough instants and toe, corrected by their mean error; height and foot angle are not made up but say why."""
    still = square_camera()

    event = make_event(SUPPORT, shoe, still, 0.05, draws_of(still))

    assert event.touchdown_s[0] == pytest.approx(SUPPORT.start_s, abs=0.025)
    assert event.toe_off_s[0] == pytest.approx(SUPPORT.end_s, abs=0.025)
    assert SUPPORT.toe_x_m < event.toe_x_m[0] < SUPPORT.toe_x_m + 0.06  # the model's toe lies inside the shoe
    assert sd(event.touchdown_s) > 0.008
    assert abs(np.corrcoef(event.touchdown_s[1:], event.toe_off_s[1:])[0, 1]) < 0.06
    assert sd(event.toe_x_m) > 0.015
    assert np.isnan(event.support_height_m).all()
    assert np.isnan(event.foot_angle_deg).all()
    assert "cannot be told" in event.foot_angle_reason


def test_the_camera_s_share_is_that_of_refitted_cameras() -> None:
    """The toe's place under cameras drawn from the fit (`sample_cameras`) spreads as the event's linear share does.

    Neighbouring contacts share it: their step length hardly spreads by it. Fails if each contact draws its own camera."""
    fit = fit_lane(lane_file(square_camera(), 2.0, np.random.default_rng(5)))
    camera, sure = fit.camera, dataclasses.replace(SHOE, toe_x_sd_m=0.0, support_height_sd_m=0.0)
    draws = draws_of(camera)
    other = dataclasses.replace(sure, toe_x_m=SHOE.toe_x_m - 2.2)

    event, before = (make_event(SUPPORT, shoe, camera, 0.05, draws) for shoe in (sure, other))

    pixel = project(camera, [SHOE.toe_x_m, 0.05, 0.05])
    cameras = sample_cameras(camera, 800, np.random.default_rng(6))
    refitted = np.array([at_depth(c, pixel, 0.05) for c in cameras])
    assert sd(event.toe_x_m) == pytest.approx(refitted[:, 0].std(), rel=0.12)
    assert sd(event.support_height_m) == pytest.approx(refitted[:, 1].std(), rel=0.12)
    assert sd(event.toe_x_m - before.toe_x_m) < sd(event.toe_x_m) + sd(before.toe_x_m)
    alone = make_event(SUPPORT, other, camera, 0.05, draws_of(camera, seed=1))
    assert np.corrcoef(event.toe_x_m[1:], before.toe_x_m[1:])[0, 1] > 0.2
    assert abs(np.corrcoef(event.toe_x_m[1:], alone.toe_x_m[1:])[0, 1]) < 0.06


def test_on_the_bare_runway_the_camera_has_no_say_in_the_surface_s_height() -> None:
    """Its height is 0 by definition; what is left is how flat it is. A mat's height hangs on the camera."""
    fit = fit_lane(lane_file(square_camera(), 2.0, np.random.default_rng(5)))
    bare = dataclasses.replace(SHOE, support_height_m=0.0, support_height_sd_m=0.0)
    mat = dataclasses.replace(SHOE, support_height_m=0.05, support_height_sd_m=0.0)

    on_runway, on_mat = (make_event(SUPPORT, shoe, fit.camera, 0.05, draws_of(fit.camera)) for shoe in (bare, mat))

    assert on_runway.support_height_m[0] == 0.0
    assert sd(on_runway.support_height_m) == pytest.approx(FLAT_SD_M, rel=0.12)
    assert sd(on_mat.support_height_m) > FLAT_SD_M
    assert sd(on_runway.toe_x_m) == pytest.approx(sd(on_mat.toe_x_m), rel=0.12)


def test_where_to_look_for_the_shoe_encloses_it_and_the_nearest_row_s_camera_is_taken() -> None:
    """The shoe reaches beyond the model's toe and heel; a surface never lies below the runway."""
    rough = rough_contact(SUPPORT, 0.05)

    assert rough.heel_x_m < SUPPORT.heel_x_m < SUPPORT.toe_x_m < rough.toe_x_m
    assert rough.start_s < rough.end_s
    assert rough_contact(dataclasses.replace(SUPPORT, toe_y_m=-0.1), 0.05).y_m == 0.0
    assert rough_contact(SUPPORT, 0.05, noise_factor=2.0).toe_sd_m == pytest.approx(2.0 * rough.toe_sd_m)
    first, second = square_camera(), square_camera(distance_m=13.0)
    assert nearest_camera((first, second), np.array([0.0, 1.0]), 0.8) is second
    assert nearest_camera((first,), np.array([0.0, 1.0]), 0.8) is first
    assert isinstance(make_event(SUPPORT, SHOE, first, 0.05, draws_of(first)), Event)
