"""Finding printed markers: a drawn marker of known corners, the sample stills, and the films' own list of marks."""

from __future__ import annotations

import json
import os
from pathlib import Path

import cv2
import numpy as np
import pytest

from penult.adapters.pictures.markers import find_markers, marker_cells
from penult.adapters.pictures.still_source import read_picture
from penult.core.lane.camera import at_depth
from penult.core.lane.markers import CORNERS, fit_markers, marks_of
from penult.errors import CalibrationError
from penult.model.arrays import Floats, Image
from penult.model.calibration import LaneFile
from penult.model.marker import MarkerPlace

FILMS = Path(os.environ.get("PENULT_SHARED", "missing")) / "films"
SCALE = 8


def drawn(corners_px: dict[int, Floats], size_px: tuple[int, int] = (480, 320), blur_px: float = 0.8) -> Image:
    """A light picture with markers whose black squares have these corners; drawn large, then averaged down."""
    width, height = size_px
    large = np.full((height * SCALE, width * SCALE), 200, np.uint8)
    for number, corners in corners_px.items():
        cells = cv2.resize(marker_cells(number), None, fx=20, fy=20, interpolation=cv2.INTER_NEAREST)
        side = cells.shape[0]
        source = np.array([(0, 0), (side, 0), (side, side), (0, side)], np.float32) - 0.5
        target = ((corners + 0.5) * SCALE - 0.5).astype(np.float32)
        matrix = cv2.getPerspectiveTransform(source, target)
        cover = cv2.warpPerspective(np.full_like(cells, 255), matrix, large.shape[::-1])
        warped = cv2.warpPerspective(cells, matrix, large.shape[::-1])
        large = np.where(cover > 127, np.clip(warped, 20, 200), large).astype(np.uint8)
    small = cv2.resize(large, size_px, interpolation=cv2.INTER_AREA)
    return np.repeat(cv2.GaussianBlur(small, (0, 0), blur_px)[..., None], 3, axis=2)


QUADS = {
    3: np.array([(60.3, 50.7), (110.9, 55.2), (108.4, 104.6), (58.8, 101.1)]),
    17: np.array([(300.5, 200.2), (340.1, 200.4), (340.3, 240.9), (300.0, 240.3)]),
}


def test_corners_of_drawn_markers_are_found_well_within_a_pixel() -> None:
    seen = find_markers(drawn(QUADS))

    assert list(seen) == [3, 17]
    for number, corners in QUADS.items():
        assert seen[number].corners_px == pytest.approx(corners, abs=0.15)


def test_a_blurred_marker_keeps_its_corners() -> None:
    seen = find_markers(drawn(QUADS, blur_px=1.8))

    assert seen[3].corners_px == pytest.approx(QUADS[3], abs=0.3)


def test_a_bare_picture_has_no_markers() -> None:
    assert find_markers(np.full((200, 300, 3), 128, np.uint8)) == {}


def test_the_same_marker_twice_is_refused_by_its_number() -> None:
    image = drawn({3: QUADS[3]})
    image[180:300, 250:400] = image[20:140, 20:170]

    with pytest.raises(CalibrationError, match="marker 3 is in the picture twice"):
        find_markers(image)


def test_cells_are_those_of_opencv_with_a_black_border() -> None:
    cells = marker_cells(5)

    assert cells.shape == (6, 6)
    assert not cells[[0, -1]].any()
    assert not cells[:, [0, -1]].any()
    assert cells.any()


@pytest.mark.skipif(not FILMS.is_dir(), reason="films with known truth are not here (PENULT_SHARED)")
def test_markers_of_every_film_give_poles_and_board_within_a_centimetre() -> None:
    """Bar of the calibration: marks that were not used, RMS in the plane along the run, from the still alone."""
    errors_cm = {}
    for place in sorted(FILMS.glob("*/marks.json")):
        marks = json.loads(place.read_text())
        errors_cm[place.parent.name] = _rms_cm(place.with_name("still.jpg"), marks)

    assert len(errors_cm) >= 12
    assert max(errors_cm.values()) < 1.0, errors_cm


def _rms_cm(still: Path, marks: list[dict[str, object]]) -> float:
    corners: dict[int, list[object]] = {}
    for mark in marks:
        if mark["kind"] == "aruco_corner":
            corners.setdefault(int(str(mark["marker_id"])), []).append(mark["runway_m"])
    places = [
        MarkerPlace(number=n, centre_m=tuple(np.mean(np.array(c, float), axis=0)), side_m=0.3)
        for n, c in corners.items()
    ]
    image = read_picture(still)
    lane = LaneFile(image_size_px=(image.shape[1], image.shape[0]), marks=marks_of(find_markers(image), places))
    camera = fit_markers(lane).fit.camera
    off = []
    for mark in marks:
        if mark["kind"] in ("pole_mark", "board_corner"):
            x_m, y_m, z_m = np.array(mark["runway_m"], float)
            off.append(at_depth(camera, np.array(mark["pixel_true"], float), z_m) - (x_m, y_m))
    return float(100.0 * np.sqrt((np.array(off) ** 2).sum(axis=1).mean()))


def test_corner_names_follow_the_order_in_which_corners_are_found() -> None:
    assert CORNERS == ("top left", "top right", "bottom right", "bottom left")
