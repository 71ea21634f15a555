"""Who is the athlete, on made profiles of a lane: runners, walkers, people who stand, other lanes, the other direction."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from penult.core.joints.runs import BIN_M, MIN_TRAVEL_M, Path, find_runs, position_at
from penult.errors import NoAthleteError
from penult.model.arrays import Floats
from penult.model.lane_profile import LaneProfile

LANE_M = (-8.0, 3.0)
RATE_HZ = 30.0


@dataclass(frozen=True)
class Person:
    """Somebody in the picture: where along the lane when (NaN: not there), at what depth, how tall in the mask, step rate."""

    x_m: Callable[[Floats], Floats]
    z_m: float = 0.0
    cover: float = 0.8
    rate_hz: float = 0.0


def runner(
    start_s: float, speed_m_per_s: float = 8.4, z_m: float = 0.0, from_m: float = -9.0, cover: float = 0.8
) -> Person:
    """Return somebody who runs through from `start_s` on."""
    rate_hz = 4.3 * abs(speed_m_per_s) / 8.4
    return Person(lambda t: np.where(t < start_s, np.nan, from_m + speed_m_per_s * (t - start_s)), z_m, cover, rate_hz)


def standing(x_m: float, z_m: float = 3.0) -> Person:
    """Return somebody who shifts from foot to foot on one spot."""
    return Person(lambda t: x_m + 0.15 * np.sin(2.0 * t), z_m, 0.5)


def profile(*people: Person, seconds: float = 4.0, seed: int = 0) -> LaneProfile:
    """Return what movers leave in the profile of a lane, with a little noise in every bin."""
    rng = np.random.default_rng(seed)
    time_s = np.arange(int(seconds * RATE_HZ)) / RATE_HZ
    x_m = np.arange(*LANE_M, BIN_M) + BIN_M / 2.0
    cover = 0.03 * rng.random((len(time_s), len(x_m)))
    ground = np.full(cover.shape, np.nan)
    for person in people:
        away = np.abs(x_m[None, :] - person.x_m(time_s)[:, None])
        trunk, limbs = away < 0.25, away < 0.5
        cover = np.maximum(cover, person.cover * trunk + 0.4 * person.cover * (limbs & ~trunk))
        flying = np.sin(2.0 * np.pi * person.rate_hz * time_s)[:, None] > 0.0  # no foot down: seems farther away
        seen = person.z_m - 2.5 * flying + rng.normal(0.0, 0.2, cover.shape)
        ground = np.where(limbs & (np.isnan(ground) | (seen > ground)), seen, ground)
    return LaneProfile(time_s=time_s, x_m=x_m, cover=cover, ground_z_m=ground)


def off_m(path: Path, person: Person) -> float:
    return float(np.nanmedian(np.abs(path.x_m - person.x_m(path.time_s))))


@pytest.mark.parametrize("speed", [1.05, 2.1, 6.5, 8.4, 10.5, 16.8, 21.0])
def test_a_lone_runner_is_followed_at_every_speed_that_a_wrong_clock_makes(speed: float) -> None:
    """8.4 m/s played eight times too slowly to twice too fast. Fails if a speed is written into the search."""
    person = runner(0.5, speed)

    (path,) = find_runs(profile(person, seconds=0.5 + 12.0 / speed + 0.5))

    assert off_m(path, person) < 0.15
    assert path.x_m[-1] - path.x_m[0] > 8.0


def test_standing_and_other_lanes_people_do_not_take_the_athlete_s_place() -> None:
    """Spectators beside the lane, a walker behind it and a runner two lanes farther are passed over."""
    athlete = runner(1.0)
    walker = Person(lambda t: -6.0 + 1.4 * t, z_m=-3.2, cover=0.9)
    rival = runner(0.2, 8.8, z_m=-3.0)

    (path,) = find_runs(profile(standing(-5.0), standing(-1.0), walker, rival, athlete))

    assert off_m(path, athlete) < 0.2


def test_two_runs_are_told_apart_and_come_in_the_order_of_time() -> None:
    """Fails if the stronger streak comes first, or if two runs are joined into one."""
    first, second = runner(0.3, 7.0, cover=0.5), runner(3.0, 9.0, cover=0.9)

    paths = find_runs(profile(second, first, seconds=5.0))

    assert len(paths) == 2
    assert off_m(paths[0], first) < 0.2
    assert off_m(paths[1], second) < 0.2


def test_pointing_at_somebody_takes_them_in_whatever_lane() -> None:
    """`at` picks the rival in the next lane; a place where nobody is gets a message with the gap, not the nearest person."""
    athlete, rival = runner(0.5, 8.0), runner(1.4, 9.0, z_m=-3.0)
    both = profile(athlete, rival)

    (path,) = find_runs(both, at=(2.0, float(rival.x_m(np.array([2.0]))[0])))

    assert off_m(path, rival) < 0.2
    with pytest.raises(NoAthleteError, match=r"--at(?s:.)*m away"):
        find_runs(both, at=(2.0, -7.5))
    with pytest.raises(NoAthleteError, match=r"nobody moves at 3\.9"):
        find_runs(both, at=(3.9, 0.0))


@pytest.mark.parametrize(
    ("people", "words"),
    [
        ((), "nothing crosses 2 m"),
        ((standing(-4.0), standing(0.0)), "nothing crosses 2 m"),
        ((runner(0.5, 8.0, z_m=-2.5),), "another lane"),
        ((runner(0.5, 8.0, z_m=4.5),), "another lane"),
        ((runner(0.2, -8.0, from_m=4.0),), "other way"),
        ((Person(lambda t: np.where(t < 1.5, -8.0 + t, np.nan)),), "nothing crosses 2 m"),
    ],
    ids=[
        "nobody",
        "only standing people",
        "a farther lane only",
        "a nearer lane only",
        "the other direction",
        "1.5 m only",
    ],
)
def test_without_a_run_along_the_lane_the_message_says_what_was_seen(people: tuple[Person, ...], words: str) -> None:
    """Exit status 3 and one sentence on what moved instead; never somebody who did not run along the lane."""
    with pytest.raises(NoAthleteError, match=words) as caught:
        find_runs(profile(*people))
    assert caught.value.exit_status == 3
    assert caught.value.next_step


@given(speed=st.floats(3.0, 11.0), start_s=st.floats(0.0, 1.5), seed=st.integers(0, 50))
def test_the_path_lies_within_a_body_and_reads_out_smoothly(speed: float, start_s: float, seed: int) -> None:
    """Property: within the path and a frame beyond it the athlete is where the crop will be cut (0.1 m); nowhere else."""
    person = runner(start_s, speed)
    (path,) = find_runs(profile(person, seconds=start_s + 12.0 / speed + 0.4, seed=seed))

    time_s = np.linspace(path.time_s[0] - 0.2, path.time_s[-1] + 0.2, 300)
    x_m = position_at(path, time_s)

    known = np.isfinite(x_m)
    assert np.abs(x_m - person.x_m(time_s))[known].max() < 0.7  # a frame's way beyond the ends, and a bin
    assert np.median(np.abs(x_m - person.x_m(time_s))[known]) < 0.1
    assert known[(time_s > path.time_s[0]) & (time_s < path.time_s[-1])].all()
    assert not known[(time_s < path.time_s[0] - 0.05) | (time_s > path.time_s[-1] + 0.05)].any()


def test_few_samples_are_read_out_too() -> None:
    """Five or fewer samples of a fast run on a slow camera. Fails if the ends of a short path lose the run's speed."""
    for count in (1, 3, 5, 7):
        time_s = np.arange(count) / 10.0
        path = Path(time_s=time_s, x_m=9.0 * time_s)

        x_m = position_at(path, time_s)

        assert x_m == pytest.approx(9.0 * time_s, abs=1e-9)
    assert MIN_TRAVEL_M > 0.0
