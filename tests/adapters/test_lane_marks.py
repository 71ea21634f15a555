"""A lane without a still: its marks are looked for in the clip (TRAPS T48). Pictures are drawn here, so every place is known."""

from __future__ import annotations

import dataclasses

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from penult.adapters.pictures.lane_marks import looked_for
from penult.adapters.pictures.markers import marker_cells
from penult.core.checks.camera_place import camera_unchecked, refuse_elsewhere
from penult.errors import ViewError
from penult.model.calibration import LaneFile, Mark

SIZE = (1280, 720)
BOARD = np.array(
    [[820.0, 470.0], [846.0, 470.0], [866.0, 490.0], [838.0, 490.0]]
)  # as a camera sees it a little from above


def hall(corners: NDArray[np.float64], seed: int = 1) -> NDArray[np.uint8]:
    """Draw a runway with a white board and grain, and a wall with boards and bars behind it."""
    rng = np.random.default_rng(seed)
    picture = np.full((SIZE[1], SIZE[0]), 120, dtype=np.uint8)
    picture[:400] = cv2.resize(
        rng.integers(60, 200, (10, 20), dtype=np.uint8), (SIZE[0], 400), interpolation=cv2.INTER_NEAREST
    )
    picture[470:490] = 90
    cv2.fillConvexPoly(picture, corners.round().astype(np.int32), 230)
    grain = rng.normal(0.0, 3.0, picture.shape)
    return np.clip(cv2.GaussianBlur(picture, (0, 0), 0.8) + grain, 0, 255).astype(np.uint8)


def lane(corners: NDArray[np.float64] = BOARD) -> LaneFile:
    places = [(-0.2, -0.61), (0.0, -0.61), (0.0, 0.61), (-0.2, 0.61)]
    marks = [
        Mark(name=f"board, corner {i}", pixel_px=(float(p[0]), float(p[1])), runway_m=(x, 0.0, z))
        for i, (p, (x, z)) in enumerate(zip(corners, places, strict=True))
    ]
    poles = [Mark(name=f"pole {x}", pixel_px=(640.0 + 100 * x, 480.0), runway_m=(x, 0.0, 0.0)) for x in (-5.0, -2.0)]
    return LaneFile(image_size_px=SIZE, marks=(*marks, *poles))


def test_a_board_seen_at_its_place_is_said_and_nothing_is_refused() -> None:
    seen = looked_for([hall(BOARD, seed) for seed in range(3)], lane(BOARD + np.array([0.6, -0.5])))

    assert seen is not None
    assert seen.in_place
    refuse_elsewhere(seen)
    told = camera_unchecked(None, seen)
    assert told is not None
    assert "its board is seen where it says" in told.text


@pytest.mark.parametrize("off", [(12.0, 0.0), (-9.0, 4.0), (0.0, -9.0)])
def test_a_knock_is_told_with_its_size(off: tuple[float, float]) -> None:
    """Fails where a lane without a still is measured though its own board stands elsewhere in the clip."""
    seen = looked_for([hall(BOARD + np.array(off), seed) for seed in range(3)], lane())

    assert seen is not None
    assert seen.off_px == pytest.approx(off, abs=2.5)
    with pytest.raises(ViewError, match="does not stand where"):
        refuse_elsewhere(seen)


def test_another_zoom_is_told() -> None:
    middle = (np.array(SIZE) - 1) / 2.0
    seen = looked_for([hall(1.04 * (BOARD - middle) + middle)], lane())

    assert seen is not None
    assert not seen.in_place


def test_a_board_that_is_covered_tells_nothing() -> None:
    """A mat over the board: another outline nearby is not taken for it."""
    picture = hall(BOARD)
    picture[440:520, 760:930] = 60

    assert looked_for([picture], lane()) is None
    assert camera_unchecked("still.jpg") is None
    told = camera_unchecked(None)
    assert told is not None
    assert "nobody can tell" in told.text


@pytest.mark.parametrize(("off_px", "in_place"), [(0.0, True), (10.0, False)])
def test_printed_markers_that_were_left_are_found_by_their_numbers(off_px: float, *, in_place: bool) -> None:
    picture = hall(BOARD)
    side, at = 96, (300, 500)
    sheet = np.full((side + 32, side + 32), 255, dtype=np.uint8)
    sheet[16:-16, 16:-16] = cv2.resize(marker_cells(7), (side, side), interpolation=cv2.INTER_NEAREST)
    picture[at[1] - 16 : at[1] + side + 16, at[0] - 16 : at[0] + side + 16] = sheet
    corners = {"top left": (0, 0), "top right": (1, 0), "bottom right": (1, 1), "bottom left": (0, 1)}
    marks = tuple(
        Mark(
            name=f"marker 7 {name}",
            pixel_px=(at[0] + right * side - 0.5 - off_px, at[1] + down * side - 0.5),
            runway_m=(0.15 * right, 0.5 - 0.15 * down, 0.0),
        )
        for name, (right, down) in corners.items()
    )
    seen = looked_for([picture], dataclasses.replace(lane(), marks=marks))

    assert seen is not None
    assert seen.in_place == in_place
    assert seen.off_px[0] == pytest.approx(off_px, abs=1.0)
