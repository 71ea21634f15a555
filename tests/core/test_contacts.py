"""Rough supports against a synthetic run whose contacts are known to the millisecond."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from penult.core.joints.locate import joint_depths, to_runway
from penult.core.joints.sides import LEG, exchange
from penult.core.joints.supports import Support, feet_m, find_supports, hip_way_m
from penult.core.synthetic.film import Faults, film, frame_times_s, square_camera
from penult.core.synthetic.run import RUN_THROUGH, Plan, Runner, make_runner
from penult.model.calibration import Camera
from penult.model.skeleton import JOINTS, joint
from penult.model.track import RunwayTrack

TIME_OFF_S, TOE_OFF_M = 0.025, 0.04
"""How far rough contacts may be off (`RoughContact`)."""

MODEL_TOE_M = 0.035
"""The joint 'toe' of the synthetic body lies this far behind the tip of the shoe."""

NOISY = Faults(noise_px=3.0, outlier_share=0.02, gap_share=0.05)


def seen(
    runner: Runner, camera: Camera, faults: Faults | None = None, rate_hz: float = 240.0, seed: int = 3
) -> RunwayTrack:
    track = film(runner, camera, frame_times_s(runner, rate_hz), faults, np.random.default_rng(seed))
    return to_runway(track, (camera,), joint_depths(0.0))


def check(supports: tuple[Support, ...], runner: Runner, slack_s: float = TIME_OFF_S, slow: float = 1.0) -> None:
    known = runner.shown()
    assert [s.foot for s in supports] == [stance.foot for stance in known.values()]
    for support, stance in zip(supports, known.values(), strict=True):
        assert support.start_s / slow == pytest.approx(stance.touchdown_s, abs=slack_s)
        assert support.end_s / slow == pytest.approx(stance.toe_off_s, abs=slack_s)
        assert support.toe_x_m + MODEL_TOE_M == pytest.approx(stance.tip_m[0], abs=TOE_OFF_M)


@pytest.mark.parametrize("rate_hz", [240.0, 120.0, 60.0])
def test_every_contact_is_found_with_its_foot_and_none_is_invented(
    runner: Runner, camera: Camera, rate_hz: float
) -> None:
    """Fails if a contact is missed, made up, given to the wrong foot, or off by more than its stated roughness."""
    supports, swap = find_supports(seen(runner, camera, NOISY, rate_hz))

    check(supports, runner, TIME_OFF_S + 1.0 / rate_hz)
    assert not swap.any() or swap.mean() < 0.02


@pytest.mark.parametrize(
    ("speed", "contact_s", "ahead_m"), [(4.6, 0.11, 0.30), (9.4, 0.09, 0.44)], ids=["slow drill", "sprint"]
)
def test_short_ways_of_the_hips_over_a_support_are_enough(
    camera: Camera, speed: float, contact_s: float, ahead_m: float
) -> None:
    """Half a metre in a drill at 4.6 m/s, 0.85 m in a sprint. Fails if the search asks for a longer support than a coach sees."""
    plan = dataclasses.replace(RUN_THROUGH, speed_m_per_s=speed, contacts_s=(contact_s,) * 8, ahead_m=(ahead_m,) * 8)
    run = make_runner(plan)

    supports, _ = find_supports(seen(run, camera, NOISY))

    check(supports, run, TIME_OFF_S + 0.01)  # a slow foot nears its place earlier


@pytest.mark.parametrize(("rate_hz", "every"), [(240.0, 4), (480.0, 8), (960.0, 16), (300.0, 4)])
@pytest.mark.parametrize(
    ("speed", "contact_s", "ahead_m"), [(4.6, 0.13, 0.32), (9.4, 0.10, 0.46)], ids=["slow drill", "sprint"]
)
def test_frames_that_were_not_looked_at_are_no_time_without_a_foot(
    camera: Camera, rate_hz: float, every: int, speed: float, contact_s: float, ahead_m: float
) -> None:
    """60 to 75 looks a second at any rate. Fails if rows without joints stand for a share of the way: contacts are then lost."""
    plan = dataclasses.replace(RUN_THROUGH, speed_m_per_s=speed, contacts_s=(contact_s,) * 8, ahead_m=(ahead_m,) * 8)
    run = make_runner(plan)
    track = film(run, camera, frame_times_s(run, rate_hz), NOISY, np.random.default_rng(3))
    looked = np.arange(len(track.time_s)) % every == 0
    track = dataclasses.replace(track, xy_px=np.where(looked[:, None, None], track.xy_px, np.nan))

    supports, _ = find_supports(to_runway(track, (camera,), joint_depths(0.0)))

    check(supports, run, TIME_OFF_S + 0.01 + every / rate_hz)


@pytest.mark.parametrize("from_left", [False, True])
def test_mats_and_the_side_of_the_camera_do_not_matter(from_left: bool) -> None:
    """A foot that stops 5 cm above the runway stands on a mat; a run from right to left counts the same."""
    run = make_runner(Plan(mats_m={-1: 0.05, 0: 0.05}, last_foot="right"))

    supports, _ = find_supports(seen(run, square_camera(from_left=from_left), NOISY))

    check(supports, run)
    heights = {number: s.toe_y_m for number, s in zip(run.shown(), supports, strict=True)}
    assert heights[-1] - heights[-2] > 0.02  # both feet are seen at one depth here, which costs 1 cm, noise as much


@pytest.mark.parametrize("slow", [8.0, 4.0, 2.0, 0.5])
def test_a_wrong_clock_neither_hides_nor_invents_a_contact(runner: Runner, camera: Camera, slow: float) -> None:
    """The same film on another clock: contacts are told by ways of the hips, not by seconds."""
    track = seen(runner, camera, NOISY)

    supports, _ = find_supports(dataclasses.replace(track, time_s=track.time_s * slow))

    check(supports, runner, slow=slow)


@pytest.mark.parametrize("share", [0.1, 0.3, 0.45])
def test_swapped_labels_are_found_row_by_row(runner: Runner, camera: Camera, share: float) -> None:
    """Legs that changed labels in many rows are put right: ankles end up with their own leg in 97 % of the rows."""
    time_s = frame_times_s(runner, 240.0)
    mixed = film(runner, camera, time_s, Faults(swap_share=share), np.random.default_rng(1))
    truth = film(runner, camera, time_s)

    supports, swap = find_supports(to_runway(mixed, (camera,), joint_depths(0.0)))

    check(supports, runner)
    righted = exchange(mixed, swap, LEG)
    right_rows = (righted.xy_px[:, joint("left", "ankle")] == truth.xy_px[:, joint("left", "ankle")]).all(axis=1)
    assert right_rows.mean() > 0.97


@given(x_m=st.floats(-40.0, 20.0), time_s=st.floats(-5.0, 500.0))
def test_moving_place_and_time_moves_the_supports_and_nothing_else(
    runway: RunwayTrack, x_m: float, time_s: float
) -> None:
    """Property: no absolute place or time is written into the search."""
    base, base_swap = find_supports(runway)

    moved = dataclasses.replace(runway, time_s=runway.time_s + time_s, xy_m=runway.xy_m + np.array([x_m, 0.0]))
    supports, swap = find_supports(moved)

    assert (swap == base_swap).all()
    for a, b in zip(base, supports, strict=True):
        assert (a.foot, a.toe_x_m + x_m) == (b.foot, pytest.approx(b.toe_x_m, abs=1e-6))
        assert (a.start_s + time_s, a.end_s + time_s) == pytest.approx((b.start_s, b.end_s), abs=1e-6)


def test_somebody_who_stands_still_or_is_not_seen_has_no_supports(runway: RunwayTrack) -> None:
    """Fails if standing on one spot, or an empty or very short track, is taken for a contact of a run or crashes."""
    rng = np.random.default_rng(2)
    standing = np.repeat(runway.xy_m[:1], 200, axis=0) + rng.normal(0.0, 0.01, (200, len(JOINTS), 2))
    time_s = np.arange(200) / 240.0

    for xy_m, rows in ((standing, 200), (np.full_like(standing, np.nan), 200), (standing, 3), (standing, 2)):
        track = RunwayTrack(
            frame=np.arange(rows),
            time_s=time_s[:rows],
            xy_m=xy_m[:rows],
            z_m=runway.z_m,
            filled=np.zeros((rows, len(JOINTS)), dtype=bool),
        )
        supports, swap = find_supports(track)
        assert supports == ()
        assert swap.shape == (rows,)
        assert not swap.any()


def test_the_way_of_the_hips_goes_with_the_run_s_speed(runner: Runner, runway: RunwayTrack) -> None:
    """Closed form: at an even 8.4 m/s the way is 8.4 m a second, whatever single wild samples say (Theil and Sen's slope)."""
    early = runway.time_s < runner.shown()[-1].touchdown_s
    xy_m = np.array(runway.xy_m[early])
    xy_m[::10] += 3.0
    track = dataclasses.replace(
        runway, frame=runway.frame[early], time_s=runway.time_s[early], xy_m=xy_m, filled=runway.filled[early]
    )

    way = hip_way_m(track)

    assert (way[-1] - way[0]) / (track.time_s[-1] - track.time_s[0]) == pytest.approx(8.4, rel=0.02)
    assert feet_m(track, "toe").shape == (early.sum(), 2, 2)
