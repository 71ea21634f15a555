"""Stills: one scale, the right place, everything drawn where it is measured."""

from __future__ import annotations

import json
from dataclasses import replace
from typing import Any

import cv2
import numpy as np
import pytest

from penult.core.joints.body import knee_angle_deg
from penult.model.measured import Measure, Measured, NotMeasured
from penult.outputs.folder.contents import draw_all, result_files, wanted_frames
from penult.outputs.pictures import ink
from penult.outputs.pictures.figure import View, on_plane
from penult.outputs.pictures.stills import WIDTH_PX, draw_still, frames_wanted, index_json, stills_of, to_jpeg

FOCAL_PX, DISTANCE_M = 1400.0, 10.0  # of the made-up camera: a metre in the plane of the run is 140 pixels of the clip


def test_all_stills_of_a_clip_have_one_size_and_one_scale(scene: Any) -> None:
    stills = stills_of(scene.analysis, scene.motion)

    assert len(stills) == 9
    assert len({still.view.size_px for still in stills}) == 1
    assert len({still.metres_per_px for still in stills}) == 1
    assert stills[0].view.size_px[0] == WIDTH_PX


def test_the_scale_is_that_of_the_plane_of_the_run(scene: Any) -> None:
    """Pinhole by hand: f / distance clip pixels a metre, times the enlargement, is one over metres a pixel."""
    for still in stills_of(scene.analysis, scene.motion):
        drawn_px_per_m = FOCAL_PX / DISTANCE_M * still.view.scale
        assert drawn_px_per_m * still.metres_per_px == pytest.approx(1.0, rel=1e-6)


def test_the_index_says_where_hip_and_ground_are(scene: Any) -> None:
    """Hip height from the index alone (pixels above the ground row times the scale) is the hip height of the motion."""
    stills = stills_of(scene.analysis, scene.motion)
    rows = json.loads(index_json(stills, scene.analysis, scene.motion))["stills"]

    for still, row in zip(stills, rows, strict=True):
        height_m = (row["ground_y_px"] - row["hip_px"][1]) * row["metres_per_px"]
        assert height_m == pytest.approx(scene.motion.hip_m[still.moment.row, 1], abs=2e-3)
        assert row["direction"] == "left to right"
        assert row["frame"] == still.moment.frame


@pytest.mark.parametrize("which", ["scene", "leftward", "with_mats", "run_through", "doubted"])
def test_every_kind_of_clip_gives_stills(which: str, request: pytest.FixtureRequest) -> None:
    given = request.getfixturevalue(which)
    before = given.frame(20).image.copy()

    for still in stills_of(given.analysis, given.motion):
        frame = given.frame(still.moment.frame)
        drawn = draw_still(frame, still, given.analysis, given.motion)
        assert drawn.shape == (still.view.size_px[1], WIDTH_PX, 3)
        assert np.array_equal(frame.image, before), "the frame handed in is not drawn on"
        assert len(to_jpeg(drawn)) < 300_000


def test_the_supporting_leg_is_vermillion_at_its_joints_and_the_other_blue(scene: Any) -> None:
    """Rings of the supporting knee and of the other knee have their role's colour, whichever side they are."""
    for still in stills_of(scene.analysis, scene.motion):
        drawn = draw_still(scene.frame(0), still, scene.analysis, scene.motion)
        foot = still.moment.contact.foot
        for side, colour in ((foot, ink.SUPPORT), ("right" if foot == "left" else "left", ink.OTHER)):
            knee = 9 if side == "left" else 10  # the order of the joints is fixed
            x, y = still.view.of(scene.motion.pixels.xy_px[still.moment.row, knee])
            near = drawn[round(y) - 9 : round(y) + 10, round(x) - 9 : round(x) + 10].astype(int)
            assert (np.abs(near - np.array(colour)).sum(axis=2) < 60).any(), (still.name, side)


@pytest.mark.parametrize(("has_board", "colour"), [(True, ink.BLACK), (False, ink.RUNWAY)])
def test_without_a_board_no_take_off_line_is_drawn(scene: Any, has_board: bool, colour: ink.Colour) -> None:
    """Without a board in the lane file x = 0 is its first mark, which is nothing that a foot may be behind."""
    no_board = {"toe_to_board_m": NotMeasured(reason="the lane file has no board")}
    takeoff = scene.analysis.takeoff if has_board else {**scene.analysis.takeoff, **no_board}
    analysis = replace(scene.analysis, takeoff=takeoff)
    still = next(s for s in stills_of(analysis, scene.motion) if s.name == "8_take-off_lowest.jpg")
    x, y = still.view.project(scene.motion.camera_of(still.moment.row), on_plane(np.zeros((1, 2))))[0]

    drawn = draw_still(scene.frame(still.moment.frame), still, analysis, scene.motion)

    assert np.abs(drawn[round(y) + 9, round(x)].astype(int) - colour).max() < 12


def test_a_value_that_is_not_measured_is_not_drawn(scene: Any) -> None:
    still = next(s for s in stills_of(scene.analysis, scene.motion) if s.name == "5_penultimate_lowest.jpg")
    gone = replace(scene.analysis, penultimate={"penultimate_hip_drop_m": NotMeasured(reason="hidden")})

    with_drop = draw_still(scene.frame(0), still, scene.analysis, scene.motion)
    without = draw_still(scene.frame(0), still, gone, scene.motion)

    assert (with_drop != without).any()


def test_the_smallest_knee_angle_is_drawn_only_where_the_leg_is_as_bent(scene: Any) -> None:
    """A take-off leg bends on after the hips were lowest: 138 degrees beside a leg of 174 is another picture's number."""
    still = next(s for s in stills_of(scene.analysis, scene.motion) if s.name == "5_penultimate_lowest.jpg")
    contact = still.moment.contact
    shown_deg = float(knee_angle_deg(scene.motion.runway.xy_m[still.moment.row][None], contact.foot)[0])

    def drawn(measure: Measure) -> Any:
        moment = replace(
            still.moment, contact=replace(contact, measures={**contact.measures, "knee_angle_min_deg": measure})
        )
        return draw_still(scene.frame(0), replace(still, moment=moment), scene.analysis, scene.motion)

    nothing = drawn(NotMeasured(reason="hidden"))
    assert (drawn(Measured(value=shown_deg - 3.0, u95=8.0)) != nothing).any()
    assert np.array_equal(drawn(Measured(value=shown_deg - 36.0, u95=8.0)), nothing)


def test_the_same_input_draws_the_same_picture(scene: Any) -> None:
    still = stills_of(scene.analysis, scene.motion)[3]
    once, again = (draw_still(scene.frame(0), still, scene.analysis, scene.motion) for _ in range(2))

    assert np.array_equal(once, again)


def test_the_view_maps_pixels_there_and_back() -> None:
    view = View(origin_px=(100.0, 50.0), scale=2.0, size_px=(900, 800))

    assert view.of(np.array([[110.0, 60.0]])).tolist() == [[20.0, 20.0]]


def test_only_the_wanted_frames_are_needed(scene: Any) -> None:
    """The caller may stream: whatever else comes along is passed over, a frame that never comes is left out."""
    wanted = wanted_frames(scene.analysis, scene.motion)
    assert len(wanted) <= 9
    assert wanted == frames_wanted(stills_of(scene.analysis, scene.motion))

    drawn = draw_all(scene.analysis, scene.motion, (scene.frame(i) for i in range(wanted[0], wanted[-1])))

    assert 0 < len(drawn) < 9


def test_a_whole_result_has_every_file(scene: Any) -> None:
    frames = (scene.frame(i) for i in wanted_frames(scene.analysis, scene.motion))

    files = dict(result_files(scene.analysis, scene.motion, frames))

    assert {
        "analysis.json", "motion.npz", "contacts.csv", "steps.csv", "hip_path.csv", "tables.xlsx", "stills/index.json",
        "hip_height.png", "summary.html", "stills/5_penultimate_lowest.jpg",
    } <= set(files)  # fmt: skip
    listed = {f"stills/{row['file']}" for row in json.loads(files["stills/index.json"])["stills"]}
    assert listed == {name for name in files if name.endswith(".jpg")}
    picture = cv2.imdecode(np.frombuffer(files["stills/9_take-off_toe_off.jpg"], np.uint8), cv2.IMREAD_COLOR)
    assert picture.shape[1] == WIDTH_PX


@pytest.mark.parametrize("which", ["scene", "leftward"])
def test_lines_on_the_runway_lie_under_the_joints_that_were_seen(which: str, request: pytest.FixtureRequest) -> None:
    """Joints projected from metres fall on the joints in pixels, which the fixture projects by its own pinhole."""
    given = request.getfixturevalue(which)
    still = stills_of(given.analysis, given.motion)[4]
    row = still.moment.row
    places = np.concatenate([given.motion.runway.xy_m[row], given.motion.runway.z_m[:, None]], axis=1)

    drawn = still.view.project(given.motion.camera_of(row), places)

    seen = still.view.of(given.motion.pixels.xy_px[row])
    np.testing.assert_allclose(drawn, seen, atol=0.01)
