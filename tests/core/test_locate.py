"""From the picture to the runway: each joint at its own depth, and whether the whole body is in the picture."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from penult.core.joints.clean import fill_gaps, trust
from penult.core.joints.locate import HALF_WIDTH_M, inside_picture, joint_depths, to_picture, to_runway
from penult.core.lane.camera import project
from penult.core.synthetic.body import joints_at
from penult.core.synthetic.film import square_camera
from penult.core.synthetic.run import Runner
from penult.model.arrays import Floats
from penult.model.calibration import Camera
from penult.model.skeleton import JOINTS, joint
from penult.model.track import PixelTrack


def track_of(xy_px: Floats) -> PixelTrack:
    rows = len(xy_px)
    return PixelTrack(
        frame=np.arange(rows),
        time_s=np.arange(rows) / 240.0,
        xy_px=xy_px,
        score=np.ones(xy_px.shape[:2]),
        filled=np.zeros(xy_px.shape[:2], dtype=bool),
    )


def test_left_is_left_of_the_run_and_bodies_scale() -> None:
    """z points to the athlete's right (Wu & Cavanagh 1995). Fails if the sides are exchanged or a joint has no depth."""
    z_m = joint_depths()

    for name, k in ((name, i) for i, name in enumerate(JOINTS)):
        part = name.removeprefix("left_").removeprefix("right_")
        sign = -1.0 if name.startswith("left") else 1.0 if name.startswith("right") else 0.0
        assert z_m[k] == pytest.approx(sign * HALF_WIDTH_M[part])
    assert joint_depths(1.1) == pytest.approx(1.1 * z_m)
    assert not joint_depths(0.0).any()


@given(x_m=st.floats(-6.0, 1.5), y_m=st.floats(0.0, 2.2), from_left=st.booleans(), size=st.floats(0.8, 1.2))
def test_there_and_back(x_m: float, y_m: float, from_left: bool, size: float) -> None:
    """Property: what the camera shows of joints at their depths maps back to where they were, from either side."""
    camera = square_camera(from_left=from_left)
    z_m = joint_depths(size)
    place_m = np.column_stack([np.full(len(z_m), x_m), np.full(len(z_m), y_m), z_m])

    back = to_runway(track_of(project(camera, place_m)[None]), (camera,), z_m)

    assert back.xy_m[0] == pytest.approx(place_m[:, :2], abs=1e-9)
    assert (back.z_m == z_m).all()


def test_frames_that_the_pose_model_skipped_are_drawn_where_the_body_was(runner: Runner) -> None:
    """Two of three frames at 240 Hz are left out: the picture has their joints within 3 cm (158 px a metre), most within 1."""
    camera, z_m = square_camera(), joint_depths()
    truth_m = joints_at(runner, np.arange(runner.shown_s[0], runner.shown_s[1], 1 / 240.0))
    depth = np.broadcast_to(z_m[None, :, None], (*truth_m.shape[:2], 1))
    whole = project(camera, np.concatenate([truth_m, depth], axis=2))
    seen = whole.copy()
    seen[1::3], seen[2::3] = np.nan, np.nan
    track = track_of(seen)
    flat = to_runway(track, (camera,), z_m)

    drawn = to_picture(fill_gaps(flat, trust(flat)), track, (camera,))

    last = 3 * ((len(whole) - 1) // 3)
    assert np.abs(drawn.xy_px - whole)[: last + 1].max() < 4.75
    assert np.quantile(np.abs(drawn.xy_px - whole)[: last + 1], 0.95) < 1.6
    assert (drawn.xy_px[::3] == whole[::3]).all(), "what was seen stays as it was"
    assert drawn.filled[1].all()
    assert not drawn.filled[0].any()


@pytest.mark.parametrize(
    ("distance_m", "depth_m", "axis_m", "off_m"), [(15.0, 0.10, 4.0, 0.027), (20.0, 0.30, 4.0, 0.061)]
)
def test_a_joint_out_of_the_plane_is_misplaced_as_the_closed_form_says(
    distance_m: float, depth_m: float, axis_m: float, off_m: float
) -> None:
    """Closed form: a point d towards the camera at distance D moves by (distance from the axis) x d / (D - d).

    Collected references, section 8: D 15 m, d 0.10 m, 4 m off the axis: 2.7 cm. Own depth takes the error away."""
    camera = square_camera(distance_m=distance_m)
    pixel = project(camera, [-2.4 + axis_m, 0.0, depth_m])
    track = track_of(np.tile(pixel, (1, len(JOINTS), 1)))

    flat = to_runway(track, (camera,), np.zeros(len(JOINTS)))
    deep = to_runway(track, (camera,), np.full(len(JOINTS), depth_m))

    assert flat.xy_m[0, 0, 0] - (-2.4 + axis_m) == pytest.approx(axis_m * depth_m / (distance_m - depth_m), rel=1e-9)
    assert flat.xy_m[0, 0, 0] - (-2.4 + axis_m) == pytest.approx(off_m, abs=0.0007)
    assert deep.xy_m[0, 0, 0] == pytest.approx(-2.4 + axis_m, abs=1e-9)


def test_a_moving_camera_has_one_camera_a_row(runner: Runner) -> None:
    """Fails if one camera is used for all rows, or rows and cameras are not paired."""
    time_s = np.linspace(*runner.shown_s, 5)
    truth_m = joints_at(runner, time_s)
    z_m = joint_depths()
    still = square_camera()
    cameras = tuple(
        Camera(
            parameters=still.parameters + np.array([0.0, 0.004 * i, 0.002 * i, 0.01 * i, 0, 0, 0, 0, 0]),
            covariance=still.covariance,
            image_size_px=still.image_size_px,
            centre_px=still.centre_px,
        )
        for i in range(5)
    )
    places = np.concatenate([truth_m, np.broadcast_to(z_m[:, None], (5, len(z_m), 1))], axis=2)
    track = track_of(np.stack([project(c, p) for c, p in zip(cameras, places, strict=True)]))

    assert to_runway(track, cameras, z_m).xy_m == pytest.approx(truth_m, abs=1e-9)
    with pytest.raises(ValueError, match="zip"):
        to_runway(track, cameras[:3], z_m)


def test_the_whole_body_is_in_the_picture_or_it_is_not(pixels: PixelTrack) -> None:
    """A trusted joint beyond the margin puts the row outside; a misplaced one does not, nor does one odd row between.

    A body lost for 46 ms is taken to have stayed, one lost for 54 ms is not: GAP_S."""
    size_px, margin_px = (1920, 1080), 10.0
    xy_px = np.tile(np.linspace([300.0, 300.0], [600.0, 900.0], len(JOINTS)), (60, 1, 1))
    toe = joint("left", "toe")
    xy_px[5:9, toe] = (600.0, 1075.0)  # trusted, beyond the lower margin
    xy_px[12:16, toe] = (-40.0, 900.0)  # not trusted
    xy_px[20, toe] = (500.0, 1075.0)  # one odd row
    xy_px[25:35] = xy_px[40:52] = np.nan
    weight = np.ones((60, len(JOINTS)))
    weight[12:16, toe] = 0.0

    inside = inside_picture(track_of(xy_px), weight, size_px, margin_px)

    assert [i for i in range(60) if not inside[i]] == [5, 6, 7, 8, *range(40, 52)]
    assert inside_picture(pixels, np.ones(pixels.score.shape), size_px, margin_px)[60:200].all()
    everywhere = dataclasses.replace(pixels, xy_px=np.full_like(pixels.xy_px, np.nan))
    assert not inside_picture(everywhere, np.ones(pixels.score.shape), size_px, margin_px).any()


@pytest.mark.parametrize("every", [1, 3, 6])
def test_rows_that_the_pose_model_did_not_look_at_go_with_their_neighbours(every: int) -> None:
    """Two odd looks in a row are bridged at any spacing of the looks, three are not; nothing is made up at the ends.

    Fails if the odd ones are counted in rows and not looks: a flight then ends there, and free fall loses most of its length."""
    xy_px = np.full((30 * every, len(JOINTS), 2), np.nan)
    xy_px[every // 2 :: every] = np.linspace([300.0, 300.0], [600.0, 900.0], len(JOINTS))
    seen = np.flatnonzero(np.isfinite(xy_px[:, 0, 0]))
    toe = joint("left", "toe")
    xy_px[seen[[8, 9, 15, 16, 17]], toe] = (500.0, 1075.0)

    inside = inside_picture(track_of(xy_px), np.ones(xy_px.shape[:2]), (1920, 1080), 10.0)

    assert inside[seen[0] : seen[14] + 1].all()
    assert not inside[seen[14] + 1 : seen[18]].any()
    assert inside[seen[18] : seen[-1] + 1].all()
    assert not inside[: seen[0]].any()
    assert not inside[seen[-1] + 1 :].any()


@pytest.mark.parametrize("way", [1.0, -1.0])
def test_a_body_that_has_touched_the_edge_ahead_is_not_whole_any_more(way: float) -> None:
    """It runs out of the picture; what has left is squeezed back in, as pose models do. And the same where it comes in."""
    size_px, margin_px, count = (1000, 800), 6.0, 90
    body_px = np.linspace([-80.0, 300.0], [80.0, 700.0], len(JOINTS))
    middle_px = np.linspace(-60.0, 1060.0, count)
    true_px = middle_px[:, None, None] * np.array([1.0, 0.0]) + body_px
    seen_px = true_px.copy()
    seen_px[..., 0] = np.clip(true_px[..., 0], 4.0, 996.0)  # touches
    for row in (4, 6, 80, 83, 84, 88):  # ... or not even that
        seen_px[row, :, 0] = np.clip(true_px[row, :, 0], 15.0, 985.0)
    if way < 0:
        seen_px[..., 0], true_px[..., 0] = 999.0 - seen_px[..., 0], 999.0 - true_px[..., 0]

    inside = inside_picture(track_of(seen_px), np.ones((count, len(JOINTS))), size_px, margin_px)

    whole = ((true_px[..., 0] > margin_px) & (true_px[..., 0] < 999.0 - margin_px)).all(axis=1)
    assert np.array_equal(inside, whole)


def test_odd_looks_on_either_side_of_a_long_gap_are_not_bridged() -> None:
    """A body that leaves by the lower edge and is back a second later: the look before and the look after stay outside."""
    xy_px = np.tile(np.linspace([300.0, 300.0], [600.0, 900.0], len(JOINTS)), (300, 1, 1))
    xy_px[20:260] = np.nan
    xy_px[[19, 260], joint("left", "toe")] = (500.0, 1075.0)

    inside = inside_picture(track_of(xy_px), np.ones(xy_px.shape[:2]), (1920, 1080), 10.0)

    assert inside[:19].all()
    assert not inside[19:261].any()
    assert inside[261:].all()
