"""Legs that the pose model confuses: on a synthetic run whose contacts are known, with the faults put in by hand."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from penult.core.joints import supports
from penult.core.joints.clean import trust
from penult.core.joints.confusion import confused, misshapen, straying, without_joints
from penult.core.joints.locate import joint_depths, to_runway
from penult.core.joints.supports import find_supports
from penult.core.synthetic.film import film, frame_times_s
from penult.core.synthetic.run import Runner
from penult.model.arrays import Floats
from penult.model.calibration import Camera
from penult.model.skeleton import JOINTS, joint
from penult.model.track import RunwayTrack

LEG = ("knee", "ankle", "heel", "toe")


@pytest.fixture
def run_60(runner: Runner, camera: Camera) -> RunwayTrack:
    """60 pictures a second, without noise."""
    track = film(runner, camera, frame_times_s(runner, 60.0), None, np.random.default_rng(3))
    return to_runway(track, (camera,), joint_depths(0.0))


def changed(track: RunwayTrack, row: int, places: dict[str, Floats]) -> RunwayTrack:
    xy_m = np.array(track.xy_m)
    for name, place in places.items():
        xy_m[row, JOINTS.index(name)] = place
    return dataclasses.replace(track, xy_m=xy_m)


def leg_of(track: RunwayTrack, row: int, side: str) -> dict[str, Floats]:
    return {part: np.array(track.xy_m[row, joint(side, part)]) for part in LEG}


def middle_row(track: RunwayTrack, runner: Runner) -> tuple[int, str]:
    """Mid-support of a contact in the middle of the run, and the standing foot."""
    stance = list(runner.shown().values())[1]
    return int(np.abs(track.time_s - (stance.touchdown_s + stance.toe_off_s) / 2.0).argmin()), stance.foot


def test_a_clear_run_has_no_confused_leg(run_60: RunwayTrack) -> None:
    supports, _ = find_supports(run_60)

    assert not confused(run_60).any()
    assert not misshapen(run_60).any()
    assert not straying(run_60, supports).any()
    assert trust(run_60).all()


def test_both_feet_seen_at_one_leg_are_not_trusted_below_the_hips(run_60: RunwayTrack, runner: Runner) -> None:
    row, foot = middle_row(run_60, runner)
    other = "left" if foot == "right" else "right"
    near = {f"{other}_{part}": place + 0.05 for part, place in leg_of(run_60, row, foot).items()}

    track = changed(run_60, row, near)
    refused = confused(track)

    assert refused.any(axis=1).nonzero()[0].tolist() == [row]
    assert {JOINTS[k] for k in np.flatnonzero(refused[row])} == {f"{s}_{p}" for s in ("left", "right") for p in LEG}
    assert not trust(track)[row, refused[row]].any()
    assert trust(track)[row, ~refused[row]].all()


def test_a_foot_of_half_its_length_is_none(run_60: RunwayTrack, runner: Runner) -> None:
    row, foot = middle_row(run_60, runner)
    leg = leg_of(run_60, row, foot)

    refused = misshapen(changed(run_60, row, {f"{foot}_toe": (leg["toe"] + leg["ankle"]) / 2.0}))

    assert refused.any(axis=1).nonzero()[0].tolist() == [row]
    assert {JOINTS[k] for k in np.flatnonzero(refused[row])} == {f"{foot}_{p}" for p in ("ankle", "heel", "toe")}


@pytest.mark.parametrize(("off_m", "is_refused"), [(0.08, False), (0.20, True)])
def test_a_standing_leg_put_beside_its_place_is_not_trusted(
    run_60: RunwayTrack, runner: Runner, off_m: float, is_refused: bool
) -> None:
    row, foot = middle_row(run_60, runner)
    supports, _ = find_supports(run_60)
    beside = {f"{foot}_{p}": place - np.array([off_m, 0.0]) for p, place in leg_of(run_60, row, foot).items()}

    refused = straying(changed(run_60, row, beside), supports)

    assert refused.any() == is_refused
    assert not np.delete(refused, row, axis=0).any()


def test_of_two_stays_that_last_as_long_the_one_is_kept_in_which_the_foot_stands_still() -> None:
    """Rows and places as on a blurred film at 60 Hz: the swinging foot is seen here and there 35 cm before the other."""
    way_m = 0.143 * np.arange(40)
    share_m = np.full(40, 0.143)
    swings = np.array([[-4.99, 0.25], [-4.93, 0.18], [-4.90, 0.20], [-4.86, 0.24]])
    stands = np.array([[-4.57, 0.05], [-4.60, 0.04], [-4.61, 0.02], [-4.60, 0.02], [-4.59, 0.03]])
    one = supports._stay(np.array([16, 17, 20, 23]), np.array([1, 1, 1, 0]), swings, share_m)
    other = supports._stay(np.array([20, 23, 24, 25, 26]), np.array([0, 1, 1, 1, 1]), stands, share_m)

    assert [s.toe_x_m for s in supports._one_foot_at_a_time([one, other], way_m)] == [other.toe_x_m]


def test_a_support_whose_first_rows_are_missing_begins_midway_across_the_gap(
    run_60: RunwayTrack, runner: Runner
) -> None:
    """Three rows about the touchdown are missing; without the gap it would begin 30 ms late."""
    stance = list(runner.shown().values())[1]
    rows = np.flatnonzero((run_60.time_s > stance.touchdown_s - 0.03) & (run_60.time_s < stance.touchdown_s + 0.03))
    refused = np.zeros(run_60.xy_m.shape[:2], dtype=bool)
    refused[np.ix_(rows, [joint(side, part) for side in ("left", "right") for part in LEG])] = True

    supports, _ = find_supports(run_60, without_joints(run_60, refused))

    first = supports[1]
    assert rows.size == 3
    assert first.start_s == pytest.approx(stance.touchdown_s, abs=0.025)
    assert not first.start_seen
    assert run_60.time_s[rows[-1] + 1] - first.start_s == pytest.approx(rows.size / 120.0, abs=1e-3)
