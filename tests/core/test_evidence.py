"""What contacts and flights show, from joints whose motion is known in closed form."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from penult.core.joints.body import knee_angle_deg, segment_table
from penult.core.measures import evidence
from penult.core.measures.contact import foot_speed_touchdown_m_per_s
from penult.core.measures.evidence import BodyDraws, ContactEvidence, Event, contact_evidence, with_place_if_seen
from penult.core.synthetic.run import Runner
from penult.model.arrays import Floats
from penult.model.skeleton import JOINTS, joint
from penult.model.track import RunwayTrack

DRAWS = 31


def _scene(time_s: Floats, xy_m: Floats) -> BodyDraws:
    return BodyDraws(
        time_s=time_s,
        xy_m=np.repeat(xy_m[None], DRAWS, axis=0),
        weight=np.ones(xy_m.shape[:2]),
        inside=np.ones(len(time_s), dtype=bool),
        table=segment_table(None),
    )


@pytest.fixture(scope="module")
def scene(runway: RunwayTrack) -> BodyDraws:
    """Return the synthetic runner without any noise."""
    seen = np.isfinite(runway.xy_m).all(axis=(1, 2))
    return _scene(runway.time_s[seen], runway.xy_m[seen])


def _event(runner: Runner, number: int) -> Event:
    """Return the true instants of a contact, drawn with an SD of 2 ms."""
    stance = 2 * (runner.zero + number)
    off = np.concatenate([[0.0], 0.002 * np.random.default_rng(0).normal(size=DRAWS - 1)])
    nothing = np.zeros(DRAWS)
    return Event(
        foot=runner.stances[runner.zero + number].foot,
        touchdown_s=runner.knots_s[stance] + off,
        toe_off_s=runner.knots_s[stance + 1] + off,
        toe_x_m=nothing,
        support_height_m=nothing,
        foot_angle_deg=nothing,
    )


@pytest.mark.parametrize("number", [-2, -1, 0])
def test_flight_has_the_velocity_that_the_run_was_planned_with(scene: BodyDraws, runner: Runner, number: int) -> None:
    """Speed and place of the mass centre at toe-off, in every draw at its own instant."""
    event = _event(runner, number)
    knot = 2 * (runner.zero + number) + 1
    end = runner.knots_s[knot + 1] if knot + 1 < len(runner.knots_s) else runner.knots_s[knot] + 0.3

    found = evidence.flight_evidence(scene, event.toe_off_s, float(end))

    late = (event.toe_off_s - event.toe_off_s[0])[:, None]
    assert not found.reason
    assert found.velocity_m_per_s == pytest.approx(
        runner.velocity_m_per_s[knot] + late * np.array([0.0, -9.81]), abs=0.02
    )
    assert found.position_m[0] == pytest.approx(runner.mass_centre_m[knot], abs=0.005)


def test_flight_out_of_the_picture_or_too_short_says_so(scene: BodyDraws, runner: Runner) -> None:
    """No body in the picture, and a flight of 20 ms."""
    off = _event(runner, -1).toe_off_s
    away = BodyDraws(time_s=scene.time_s, xy_m=scene.xy_m, weight=scene.weight, inside=~scene.inside, table=scene.table)

    assert "picture" in evidence.flight_evidence(away, off, float(off[0]) + 0.1).reason
    assert "short" in evidence.flight_evidence(scene, off, float(off[0]) + 0.02).reason


def test_row_that_was_filled_in_does_not_enter_a_flight(scene: BodyDraws, runner: Runner) -> None:
    """Draws of such a row are not numbers; the flight is fitted without it."""
    event = _event(runner, 0)
    row = int(np.searchsorted(scene.time_s, event.toe_off_s[0])) + 5
    xy = scene.xy_m.copy()
    xy[1:, row] = np.nan
    holed = BodyDraws(time_s=scene.time_s, xy_m=xy, weight=scene.weight, inside=scene.inside, table=scene.table)

    whole = evidence.flight_evidence(scene, event.toe_off_s, float(event.toe_off_s[0]) + 0.3)
    found = evidence.flight_evidence(holed, event.toe_off_s, float(event.toe_off_s[0]) + 0.3)

    assert np.isfinite(found.velocity_m_per_s).all()
    assert len(found.time_s) == len(whole.time_s) - 1


def test_joints_at_an_instant_between_frames_follow_a_quadratic_exactly() -> None:
    """x = 9 t, y = 1 + t - 4.9 t^2 at 1.2 ms after a frame; every draw at its own instant."""
    time_s = np.arange(60) / 240.0
    path = np.stack([9.0 * time_s, 1.0 + time_s - 4.9 * time_s**2], axis=-1)
    scene = _scene(time_s, np.repeat(path[:, None], len(JOINTS), axis=1))
    instant = time_s[30] + np.linspace(0.0012, 0.005, DRAWS)

    found = evidence.joints_at(scene, instant)

    assert found[..., 0] == pytest.approx(np.repeat(9.0 * instant[:, None], len(JOINTS), axis=1))
    assert found[:, 3, 1] == pytest.approx(1.0 + instant - 4.9 * instant**2)
    assert np.isnan(evidence.joints_at(scene, instant + 1.0)).all()


def test_lowest_hip_and_smallest_knee_of_a_support(scene: BodyDraws, runner: Runner, runway: RunwayTrack) -> None:
    """Against the least of the very samples in the support (no noise): within 3 mm and 1.5 degrees."""
    event = _event(runner, -1)
    inner = (scene.time_s >= event.touchdown_s[0]) & (scene.time_s <= event.toe_off_s[0])
    hips = scene.xy_m[0][inner][:, [joint("left", "hip"), joint("right", "hip")], 1].mean(axis=1)

    found = evidence.contact_evidence(scene, event, scene)

    assert found.hips.lowest_m[0] == pytest.approx(hips.min(), abs=0.003)
    assert found.wholly_seen
    assert event.touchdown_s[0] <= found.hips.lowest_s <= event.toe_off_s[0]
    assert found.knee_min_deg[0] == pytest.approx(knee_angle_deg(scene.xy_m[0][inner], event.foot).min(), abs=1.5)


def test_a_knee_seen_too_far_back_while_it_is_most_bent_spoils_the_smallest_angle_little(
    scene: BodyDraws, runner: Runner
) -> None:
    """3 cm behind its place for a part of the support: 4 degrees and more too straight there; hip and ankle tell better."""
    event = _event(runner, -1)
    inner = (scene.time_s >= event.touchdown_s[0]) & (scene.time_s <= event.toe_off_s[0])
    true_deg = knee_angle_deg(scene.xy_m[0][inner], event.foot).min()
    share = (scene.time_s - event.touchdown_s[0]) / (event.toe_off_s[0] - event.touchdown_s[0])
    xy_m = np.array(scene.xy_m)
    xy_m[:, (share > 0.5) & (share < 0.9), joint(event.foot, "knee"), 0] -= 0.03
    astray = dataclasses.replace(scene, xy_m=xy_m)

    most_bent = knee_angle_deg(scene.xy_m[0][inner], event.foot).argmin()
    assert knee_angle_deg(xy_m[0][inner][most_bent], event.foot) > true_deg + 4.0
    assert evidence.contact_evidence(astray, event, astray).knee_min_deg[0] == pytest.approx(true_deg, abs=2.5)


@pytest.mark.parametrize("at", range(6))
def test_six_samples_of_a_support_are_not_followed_one_by_one(scene: BodyDraws, runner: Runner, at: int) -> None:
    """At 60 Hz, the other leg passing, the ankle lies 5 cm too high in one of them."""
    event = _event(runner, -1)
    true_deg = evidence.contact_evidence(scene, event, scene).knee_min_deg[0]
    when_s = event.touchdown_s[0] + np.arange(-3, 10) * (event.toe_off_s[0] - event.touchdown_s[0]) / 5.2
    rows = np.abs(scene.time_s - when_s[:, None]).argmin(axis=1)
    few = _scene(scene.time_s[rows], scene.xy_m[0][rows])
    assert evidence._within(few, event).sum() == 6
    xy_m = np.array(few.xy_m)
    xy_m[:, 3 + at, joint(event.foot, "ankle"), 1] += 0.05
    astray = dataclasses.replace(few, xy_m=xy_m)

    assert evidence.contact_evidence(few, event, few).knee_min_deg[0] == pytest.approx(true_deg, abs=1.5)
    assert evidence.contact_evidence(astray, event, astray).knee_min_deg[0] == pytest.approx(true_deg, abs=4.0), (
        "a cubic: 6"
    )


def test_the_smallest_angle_follows_a_knee_that_a_person_put(scene: BodyDraws, runner: Runner) -> None:
    """All joints of the leg by hand, the knee 3 cm behind: the angle of those very joints counts; without a hand it does not."""
    event = _event(runner, -1)
    inner = (scene.time_s >= event.touchdown_s[0]) & (scene.time_s <= event.toe_off_s[0])
    xy_m, hand = np.array(scene.xy_m), np.zeros(scene.xy_m.shape[1:3])
    xy_m[:, inner, joint(event.foot, "knee"), 0] -= 0.03
    put_deg = knee_angle_deg(xy_m[0][inner], event.foot).min()
    moved = dataclasses.replace(scene, xy_m=xy_m)
    late = inner & (scene.time_s > (event.touchdown_s[0] + event.toe_off_s[0]) / 2.0)
    partly, wholly = hand.copy(), hand.copy()
    partly[late, joint(event.foot, "knee")] = 1.0
    wholly[inner, joint(event.foot, "knee")] = 1.0
    straight = dataclasses.replace(scene, xy_m=np.where(late[None, :, None, None], xy_m, scene.xy_m))

    free, half, whole = (
        evidence.contact_evidence(dataclasses.replace(given, hand=by_hand), event, given).knee_min_deg[0]
        for given, by_hand in ((straight, None), (straight, partly), (moved, wholly))
    )
    assert whole == pytest.approx(put_deg, abs=1.5)
    assert free < half < whole


@pytest.mark.parametrize(("astray_m", "given"), [(0.0, True), (0.15, False)])
def test_a_foot_speed_that_depends_on_single_sample_frame_is_not_given(
    scene: BodyDraws, runner: Runner, astray_m: float, given: bool
) -> None:
    """The pose model looked at every second frame; one ankle 15 cm astray would decide the speed alone."""
    event = _event(runner, -1)
    rows = np.arange(len(scene.time_s))
    xy_m, weight = np.array(scene.xy_m), np.array(scene.weight)
    weight[rows % 2 != 0] = 0.0
    before = np.flatnonzero((scene.time_s < event.touchdown_s[0]) & (rows % 2 == 0))
    xy_m[:, before[-1], joint(event.foot, "ankle"), 0] += astray_m
    xy_m[:, rows % 2 != 0] = np.nan
    thin = dataclasses.replace(scene, xy_m=xy_m, weight=weight)

    speed = foot_speed_touchdown_m_per_s(evidence.contact_evidence(thin, event, thin))[0]

    whole = foot_speed_touchdown_m_per_s(evidence.contact_evidence(scene, event, scene))[0]
    assert (abs(speed - whole) < 1.5) if given else np.isnan(speed)


def test_a_foot_that_is_not_certain_in_a_body_partly_out_of_the_picture_has_no_place(
    scene: BodyDraws, runner: Runner
) -> None:
    """A pose model squeezes such a body into the picture: the toe of a skip's contact was 0.43 m off with 0.03 stated."""
    whole = contact_evidence(scene, _event(runner, -2), scene)
    part = dataclasses.replace(whole, wholly_seen=False)

    def told(contact: ContactEvidence, sure: float) -> bool:
        event = dataclasses.replace(contact.event, foot_sure=sure)
        return bool(np.isfinite(with_place_if_seen(dataclasses.replace(contact, event=event)).event.toe_x_m).all())

    assert not told(part, 0.6)
    assert told(part, 0.99)
    assert told(whole, 0.6)


SEEN_BESIDE_M = {
    "hip": ((0.005, -0.007), (0.003, -0.001), (-0.005, 0.002)),
    "knee": ((0.002, -0.005), (0.000, 0.009), (0.014, -0.005)),
    "ankle": ((-0.021, 0.018), (0.006, 0.013), (0.000, 0.009)),
}
"""What a pose model puts a standing leg beside its place, forward and up, at touchdown, in the middle and at toe-off: measured on
films with known truth, written down here so that the product's own list can be wrong."""


def _as_a_pose_model_sees(scene: BodyDraws, event: Event) -> BodyDraws:
    share = (scene.time_s - event.touchdown_s[0]) / (event.toe_off_s[0] - event.touchdown_s[0])
    at = np.clip(share, 0.0, 1.0)[:, None]
    xy_m = np.array(scene.xy_m)
    for part, ends in SEEN_BESIDE_M.items():
        first, middle, last = (np.array(end) for end in ends)
        off = first * (1 - at) * (1 - 2 * at) + middle * 4 * at * (1 - at) + last * at * (2 * at - 1)
        xy_m[:, :, joint(event.foot, part)] += off
    return dataclasses.replace(scene, xy_m=xy_m, model_scale=1.0)


@pytest.mark.parametrize("number", [-2, -1])
def test_what_a_pose_model_puts_beside_a_standing_leg_is_taken_out(
    scene: BodyDraws, runner: Runner, number: int
) -> None:
    """The ankle at both ends within 8 mm (the knee's place at touchdown goes with the posture, `test_joint_bias`), the smallest
    knee angle within 0.2 degrees of the leg's own."""
    event = _event(runner, number)
    leg = [joint(event.foot, "ankle")]
    own = contact_evidence(scene, event, scene)

    seen = _as_a_pose_model_sees(scene, event)
    found = contact_evidence(seen, event, seen)

    assert found.touchdown_joints_m[0, leg] == pytest.approx(own.touchdown_joints_m[0, leg], abs=0.008)
    assert found.toe_off_joints_m[0, leg] == pytest.approx(own.toe_off_joints_m[0, leg], abs=0.008)
    assert found.knee_min_deg[0] == pytest.approx(own.knee_min_deg[0], abs=0.2)
