"""Somebody crosses the athlete in the picture: when, and on which side; made profiles with known answers."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from penult.core.joints.crossing import HIDDEN, Crossing, crossing_notices, crossings, without_crossed
from penult.core.joints.runs import Path
from penult.model.lane_profile import LaneProfile
from penult.model.shoe import ShoeContact

TIME_S = np.arange(0.0, 1.3, 1.0 / 30.0)
X_M = np.arange(-8.0, 3.0, 0.1) + 0.05


def profile(*people: tuple[np.ndarray, float]) -> LaneProfile:
    """People as blobs half a metre wide: where (n,), and at what depth their feet are."""
    cover = np.zeros((len(TIME_S), len(X_M)))
    depth = np.full(cover.shape, np.nan)
    for x_m, z_m in people:
        near = np.abs(X_M[None, :] - x_m[:, None]) < 0.3
        cover[near] = 0.8
        depth[near] = z_m
    return LaneProfile(time_s=TIME_S, x_m=X_M, cover=cover, ground_z_m=depth)


ATHLETE = -8.0 + 8.5 * TIME_S
RUN = Path(time_s=TIME_S, x_m=ATHLETE)


@pytest.mark.parametrize(("z_m", "in_front"), [(1.2, True), (0.1, True), (-1.2, False), (np.nan, False)])
def test_the_other_way_is_seen_with_its_time_and_side(z_m: float, in_front: bool) -> None:
    """Both at 8.5 m/s towards each other: they meet where the closed form says, and overlap 1 m either way for 0.12 s."""
    other = 2.5 - 8.5 * TIME_S
    meet_s = 10.5 / 17.0
    (found,) = crossings(profile((other, z_m), (ATHLETE, 0.0)), RUN, lens_z_m=10.0)

    assert found.in_front is in_front
    assert found.start_s == pytest.approx(meet_s - 1.0 / 17.0, abs=0.035)
    assert found.end_s == pytest.approx(meet_s + 1.0 / 17.0, abs=0.035)


def test_a_camera_on_the_other_side_sees_front_and_back_exchanged() -> None:
    other = 2.5 - 8.5 * TIME_S
    (found,) = crossings(profile((other, 1.2), (ATHLETE, 0.0)), RUN, lens_z_m=-10.0)

    assert not found.in_front


def test_a_lone_athlete_and_a_shadow_beside_them_are_no_crossing() -> None:
    assert crossings(profile((ATHLETE, 0.0)), RUN, lens_z_m=10.0) == ()
    assert crossings(profile((ATHLETE, 0.0), (ATHLETE - 0.9, 0.0)), RUN, lens_z_m=10.0) == ()


def shoe(touchdown_s: float, toe_off_s: float) -> ShoeContact:
    nothing = 0.0
    return ShoeContact(
        touchdown_s=touchdown_s, touchdown_sd_s=0.002, toe_off_s=toe_off_s, toe_off_sd_s=0.002, toe_x_m=-2.0, toe_x_sd_m=0.01,
        heel_x_m=None, support_height_m=0.0, support_height_sd_m=0.01, foot_angle_touchdown_deg=nothing,
        foot_angle_touchdown_sd_deg=nothing, quality=0.8, toe_seen=True,
    )  # fmt: skip


def test_only_instants_in_a_crossing_in_front_are_taken_away() -> None:
    crossed = (Crossing(start_s=0.6, end_s=0.7),)
    clear, hit = without_crossed([shoe(0.2, 0.3), shoe(0.5, 0.65)], crossed)

    assert clear == shoe(0.2, 0.3)
    assert hit.reason == HIDDEN
    assert hit.touchdown_s == 0.5
    assert np.isnan(hit.toe_off_s)
    behind = (dataclasses.replace(crossed[0], in_front=False),)
    assert without_crossed([shoe(0.5, 0.65)], behind) == (shoe(0.5, 0.65),)


def test_the_notice_says_when() -> None:
    (notice,) = crossing_notices((Crossing(start_s=0.6, end_s=0.72),))

    assert notice.code == "crossed"
    assert "0.60 to 0.72 s" in notice.text
    times = ((0.3, 0.35), (0.6, 0.72), (0.65, 0.8), (0.62, 0.64))
    (notice,) = crossing_notices([Crossing(start_s=start, end_s=end) for start, end in times])
    assert "(0.30 to 0.35 s, 0.60 to 0.80 s)" in notice.text
    assert crossing_notices(()) == ()


def test_only_a_body_before_the_very_foot_hides_it() -> None:
    """Somebody walks at 1.4 m/s through x = -2 at 0.60 s: a foot at -2 is hidden then, one at -3.1 is not, none when behind."""
    way = ((0.0, -2.84), (1.2, -1.16))
    crossed = Crossing(start_s=0.3, end_s=0.9, way=way)

    assert crossed.hides(0.6, -2.0)
    assert not crossed.hides(0.6, -3.1)
    assert not crossed.hides(0.2, -2.0)
    assert not dataclasses.replace(crossed, in_front=False).hides(0.6, -2.0)
    assert Crossing(start_s=0.3, end_s=0.9).hides(0.6, -3.1)  # whose way is not known may be anywhere


def test_the_head_of_somebody_near_the_camera_is_no_foot_on_the_lane() -> None:
    """A walker 2.7 m behind the lane crosses; columns with next to nothing over the lane show a head 4 m before it."""
    other = 2.5 - 8.5 * TIME_S
    seen = profile((other, -2.7), (ATHLETE, 0.0))
    cover, depth = np.array(seen.cover), np.array(seen.ground_z_m)
    head = (np.abs(X_M[None, :] - other[:, None]) > 0.3) & (np.abs(X_M[None, :] - other[:, None]) < 0.5)
    cover[head], depth[head] = 0.05, 4.0

    (found,) = crossings(dataclasses.replace(seen, cover=cover, ground_z_m=depth), RUN, lens_z_m=10.0)

    assert not found.in_front
