"""Square patches: against pictures painted by the same closed-form pinhole, and against the geometry of the view."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from penult.adapters.pictures.patches import ABOVE_M, AROUND_S, BEHIND_M, BELOW_M, PatchCollector, rectify
from penult.adapters.pictures.torso import TrunkCollector
from penult.app.footage import ROOM_PX, box_about
from penult.core.lane.camera import project
from penult.model.calibration import Camera
from penult.model.clip import Frame
from penult.model.shoe import RoughContact
from penult.model.trunk import TrunkWindow

SIZE_PX = (1280, 720)
FOCAL_PX, AWAY_M, HEIGHT_M, AT_X_M = 1000.0, 10.0, 1.2, -3.0


def camera(turn_rad: float = 0.0) -> Camera:
    """A level camera 10 m to the right of the lane, its axis at x = -3 and 1.2 m up, perhaps turned to the left."""
    # looking along -z: x right, y down in the picture; half a turn about x maps (x, y, z) to (x, -y, -z)
    cos, sin = np.cos(turn_rad / 2.0), np.sin(turn_rad / 2.0)
    half_turn, yaw = np.array([0.0, 1.0, 0.0, 0.0]), np.array([cos, 0.0, sin, 0.0])
    w, x, y, z = _product(yaw, half_turn)
    angle = 2.0 * np.arctan2(np.sqrt(x * x + y * y + z * z), w)
    vector = angle * np.array([x, y, z]) / np.sqrt(x * x + y * y + z * z)
    turn = np.array([[np.cos(turn_rad), 0, np.sin(turn_rad)], [0, 1, 0], [-np.sin(turn_rad), 0, np.cos(turn_rad)]])
    move = -turn @ np.diag([1.0, -1.0, -1.0]) @ np.array([AT_X_M, HEIGHT_M, AWAY_M])
    return Camera(
        parameters=np.array([*vector, *move, np.log(FOCAL_PX), 0.0, 0.0]),
        covariance=np.zeros((9, 9)),
        image_size_px=SIZE_PX,
        centre_px=(639.5, 359.5),
    )


def _product(a: np.ndarray, b: np.ndarray) -> np.ndarray:
    """Product of quaternions (w, x, y, z)."""
    w = a[0] * b[0] - a[1:] @ b[1:]
    return np.array([w, *(a[0] * b[1:] + b[0] * a[1:] + np.cross(a[1:], b[1:]))])


def contact(**change: float) -> RoughContact:
    values = {"start_s": 1.0, "end_s": 1.1, "toe_x_m": -3.0, "heel_x_m": -3.28, "y_m": 0.0, "z_m": 0.05} | change
    return RoughContact(foot="right", **values)


def flight() -> TrunkWindow:
    return TrunkWindow(
        rows=np.array([4]),
        time_s=np.array([1.05]),
        path_m=np.array([[-3.1, 1.2]]),
        z_m=0.1,
        centre_z_m=0.0,
        lens_m=np.array([AT_X_M, HEIGHT_M, AWAY_M]),
        length_m=0.5,
    )


def ramp() -> np.ndarray:
    """A picture whose red is the column and whose green is the row, each halved to fit into a byte by parts."""
    columns, rows = np.meshgrid(np.arange(SIZE_PX[0]), np.arange(SIZE_PX[1]))
    return np.stack([columns // 8, rows // 4, np.zeros_like(rows)], axis=-1).astype(np.uint8)


def frame(index: int, time_s: float, image: np.ndarray | None = None) -> Frame:
    return Frame(index=index, time_s=time_s, image=ramp() if image is None else image)


def test_a_patch_shows_what_the_camera_sees_there() -> None:
    """Proves the map: the ramp read in the patch is the pixel to which the pinhole, worked by hand, sends the point."""
    x_m, y_m, z_m = np.array([-3.4, -3.0, -2.6]), np.array([0.25, 0.0]), 0.05

    patch = rectify(ramp(), camera(), x_m, y_m, z_m)

    u = 639.5 + FOCAL_PX * (x_m - AT_X_M) / (AWAY_M - z_m)
    v = 359.5 + FOCAL_PX * (HEIGHT_M - y_m) / (AWAY_M - z_m)
    assert patch.shape == (2, 3, 3)
    assert patch[0, :, 0] == pytest.approx(u / 8.0 - 0.5, abs=1.0)
    assert patch[:, 0, 1] == pytest.approx(v / 4.0 - 0.5, abs=1.0)


def test_a_painted_mark_lands_on_its_place_to_a_tenth_of_a_pixel() -> None:
    """Proves that a soft spot painted where the camera sees (x, y, z) has its centre at (x, y) in the patch."""
    place = np.array([-2.9, 0.08, 0.05])
    u, v = project(camera(0.1), place)
    columns, rows = np.meshgrid(np.arange(SIZE_PX[0]), np.arange(SIZE_PX[1]))
    spot = 200.0 * np.exp(-((columns - u) ** 2 + (rows - v) ** 2) / (2.0 * 3.0**2))
    image = np.repeat(spot[..., None], 3, axis=2).round().astype(np.uint8)
    x_m, y_m = np.arange(-3.2, -2.6, 0.004), np.arange(0.25, -0.08, -0.004)

    patch = rectify(image, camera(0.1), x_m, y_m, 0.05)[..., 0].astype(float)

    assert (patch.sum(0) @ x_m) / patch.sum() == pytest.approx(place[0], abs=0.001)
    assert (patch.sum(1) @ y_m) / patch.sum() == pytest.approx(place[1], abs=0.001)


def test_right_to_left_runs_still_point_to_the_right_in_the_patch() -> None:
    """Proves that the run is undone of its sense: columns rise in x, so from the left side of the lane the picture is mirrored."""
    behind = camera()
    other_side = Camera(
        # from the left of the lane: half a turn about the upright axis before the half turn about x
        parameters=np.array([0.0, 0.0, np.pi, AT_X_M, HEIGHT_M, AWAY_M, np.log(FOCAL_PX), 0.0, 0.0]),
        covariance=np.zeros((9, 9)),
        image_size_px=SIZE_PX,
        centre_px=(639.5, 359.5),
    )
    x_m, y_m = np.array([-3.2, -2.8]), np.array([0.0])

    assert np.diff(rectify(ramp(), behind, x_m, y_m, 0.0)[0, :, 0].astype(int)) > 0
    assert np.diff(rectify(ramp(), other_side, x_m, y_m, 0.0)[0, :, 0].astype(int)) < 0


def test_the_collector_takes_the_frames_around_each_contact_and_no_other() -> None:
    """Proves the window in time, and that each contact gets its own."""
    contacts = [contact(), contact(start_s=1.5, end_s=1.62, toe_x_m=-2.0, heel_x_m=-2.3)]
    collector = PatchCollector(contacts)
    times = np.arange(0.5, 2.0, 0.01)

    assert not collector.wants(0.5)
    for index, time_s in enumerate(times):
        if collector.wants(float(time_s)):
            collector.add(frame(index, float(time_s)), camera())
    first, second = collector.patches()

    assert first.time_s.min() >= 1.0 - AROUND_S
    assert first.time_s.max() <= 1.1 + AROUND_S
    assert len(first.time_s) == len(first.images) == pytest.approx((0.1 + 2 * AROUND_S) / 0.01, abs=1)
    assert len(second.time_s) == pytest.approx((0.12 + 2 * AROUND_S) / 0.01, abs=1)
    assert first.x_m[0] == pytest.approx(-3.0 - BEHIND_M)
    assert first.y_m[0] == pytest.approx(ABOVE_M)
    assert first.y_m[-1] >= -BELOW_M
    assert np.all(np.diff(first.x_m) > 0)
    assert np.all(np.diff(first.y_m) < 0)


def test_of_a_part_of_the_picture_the_patches_are_those_of_the_whole() -> None:
    """Of a kept frame only the surroundings are there; OpenCV rounds places to 1/32 px, less than a grey level of this ramp."""
    whole, part = PatchCollector([contact()]), PatchCollector([contact()])
    trunks = TrunkCollector([flight()]), TrunkCollector([flight()])
    shown = frame(0, 1.05)
    cut = dataclasses.replace(shown, image=np.ascontiguousarray(shown.image[200:600, 500:800]), corner_px=(500, 200))
    for taken, shoes, trunk_of in ((shown, whole, trunks[0]), (cut, part, trunks[1])):
        shoes.add(taken, camera())
        trunk_of.add(taken, camera(), 4)

    for one, other in ((c.patches()[0].images.astype(int) for c in pair) for pair in ((whole, part), trunks)):
        assert np.ptp(one) > 10
        assert np.abs(one - other).max() <= 1


@pytest.mark.parametrize("turned_rad", [0.0, 0.15])
def test_a_frame_is_wanted_as_far_as_patches_are_cut_from_it(turned_rad: float) -> None:
    """Cut to the places that collectors ask for, and black beyond, a frame gives the patches of the whole one."""
    shoes, trunks = PatchCollector([contact(), contact(toe_x_m=-2.0, y_m=0.06)]), TrunkCollector([flight()])
    shown, seen_by = frame(0, 1.05), camera(turned_rad)
    places = np.concatenate([shoes.places_m(1.05), trunks.places_m(4)])
    x0, y0, x1, y1 = box_about(project(seen_by, places), SIZE_PX, ROOM_PX)
    black = np.zeros_like(shown.image)
    black[y0:y1, x0:x1] = shown.image[y0:y1, x0:x1]
    patches = []
    for taken in (shown, dataclasses.replace(shown, image=black)):
        of_shoes, of_trunk = PatchCollector([contact(), contact(toe_x_m=-2.0, y_m=0.06)]), TrunkCollector([flight()])
        of_shoes.add(taken, seen_by)
        of_trunk.add(taken, seen_by, 4)
        patches.append([p.images for p in (*of_shoes.patches(), *of_trunk.patches())])

    assert (x1 - x0) * (y1 - y0) < 0.5 * SIZE_PX[0] * SIZE_PX[1]
    assert all(np.array_equal(one, other) for one, other in zip(*patches, strict=True))
    assert shoes.places_m(3.0).shape == trunks.places_m(5).shape == (0, 3)


def test_pixels_are_as_fine_as_the_film_and_no_finer() -> None:
    """Proves the pixel size: 1000 pixels of focal length at 9.95 m is 9.95 mm a pixel; near by, 4 mm is enough."""
    far, near = PatchCollector([contact()]), PatchCollector([contact(z_m=7.0)])
    for collector in (far, near):
        collector.add(frame(0, 1.05), camera())

    assert np.diff(far.patches()[0].x_m).mean() == pytest.approx((AWAY_M - 0.05) / FOCAL_PX, rel=1e-3)
    assert np.diff(near.patches()[0].x_m).mean() == pytest.approx(0.004, rel=1e-3)


def test_obliqueness_is_that_of_the_line_of_sight() -> None:
    """Proves the slopes by similar triangles: a point nearer to the camera by 1 m seems further from its axis."""
    collector = PatchCollector([contact(toe_x_m=-1.0, heel_x_m=-1.28)])
    collector.add(frame(0, 1.05), camera())
    patch = collector.patches()[0]

    assert patch.slope_x == pytest.approx((-1.0 - AT_X_M) / (AWAY_M - 0.05), rel=0.01)
    assert patch.slope_y == pytest.approx((0.0 - HEIGHT_M) / (AWAY_M - 0.05), rel=0.01)


def test_a_moving_camera_is_followed() -> None:
    """Proves that every frame uses its own camera: a turned one shows the same ground at the same place."""
    place = np.array([-3.05, 0.02, 0.05])
    collector = PatchCollector([contact()])
    columns, rows = np.meshgrid(np.arange(SIZE_PX[0]), np.arange(SIZE_PX[1]))
    for index, turn_rad in enumerate((0.0, 0.02, -0.03)):
        u, v = project(camera(turn_rad), place)
        spot = 200.0 * np.exp(-((columns - u) ** 2 + (rows - v) ** 2) / (2.0 * 2.0**2))
        image = np.repeat(spot[..., None], 3, axis=2).round().astype(np.uint8)
        collector.add(frame(index, 1.0 + 0.01 * index, image), camera(turn_rad))
    patch = collector.patches()[0]
    grey = patch.images[..., 0].astype(float)

    centres = grey.sum(axis=1) @ patch.x_m / grey.sum(axis=(1, 2))
    assert centres == pytest.approx([place[0]] * 3, abs=0.002)


def test_a_contact_that_no_frame_shows_has_empty_patches() -> None:
    """Proves the missing-data case: nothing collected is an empty stack, not a failure."""
    empty = PatchCollector([contact()]).patches()[0]

    assert len(empty.time_s) == 0
    assert len(empty.images) == 0


def test_patches_do_not_keep_frames() -> None:
    """Proves that memory stays small: what is kept is the patch, a copy that does not hold the frame's pixels."""
    collector = PatchCollector([contact()])
    image = ramp()
    collector.add(frame(0, 1.05, image), camera())
    images = collector.patches()[0].images

    assert images.nbytes < 0.02 * image.nbytes
    assert not np.shares_memory(images, image)


def test_patches_are_locked() -> None:
    """Proves that no stage can change what another has seen."""
    collector = PatchCollector([contact()])
    collector.add(frame(0, 1.05), camera())

    with pytest.raises(ValueError, match="read-only"):
        collector.patches()[0].images[0, 0, 0, 0] = 1
