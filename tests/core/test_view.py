"""Pictures that lie on their side, and athletes too small to be read, are refused with the measured figure."""

from __future__ import annotations

import numpy as np
import pytest

from penult.core.lane.view import SMALLEST_PX, athlete_height_px, check_picture, check_upright
from penult.errors import ViewError
from penult.model.calibration import Camera

X_M = np.linspace(-8.0, 3.0, 50)


def camera(focal_px: float = 1000.0, roll_deg: float = 0.0) -> Camera:
    """Return a camera 10 m beside the runway at 1 m height, rolled about its axis; 1 m is focal / 10 pixels by closed form."""
    turn = np.radians(180.0)  # y up on the runway, down in the picture
    about_x = np.array([[1, 0, 0], [0, np.cos(turn), -np.sin(turn)], [0, np.sin(turn), np.cos(turn)]])
    roll = np.radians(roll_deg)
    about_z = np.array([[np.cos(roll), -np.sin(roll), 0], [np.sin(roll), np.cos(roll), 0], [0, 0, 1]])
    from scipy.spatial.transform import Rotation  # noqa: PLC0415

    whole = about_z @ about_x
    lens = np.array([-2.5, 1.0, 10.0])
    return Camera(
        parameters=np.concatenate(
            [Rotation.from_matrix(whole).as_rotvec(), -whole @ lens, [np.log(focal_px), 0.0, 0.0]]
        ),
        covariance=np.zeros((9, 9)),
        image_size_px=(1920, 1080),
        centre_px=(959.5, 539.5),
    )


def test_height_in_pixels_is_the_pinhole_s() -> None:
    assert athlete_height_px(camera(), X_M, 1.75) == pytest.approx(175.0, rel=0.01)


def test_a_large_athlete_raises_nothing_a_smaller_one_a_warning() -> None:
    assert check_picture(camera(), X_M, None) == ()
    assert [n.code for n in check_picture(camera(700.0), X_M, None)] == ["athlete-small"]


def test_too_small_an_athlete_is_refused_with_the_height() -> None:
    with pytest.raises(ViewError, match=r"5[23] pixels tall") as refused:
        check_picture(camera(300.0), X_M, 1.75)
    assert f"{SMALLEST_PX:.0f} are the least" in str(refused.value)


@pytest.mark.parametrize("roll_deg", [0.0, 10.0, -30.0])
def test_a_camera_held_a_little_askew_is_no_reason_to_refuse(roll_deg: float) -> None:
    check_upright(camera(roll_deg=roll_deg), -2.5)


@pytest.mark.parametrize(("roll_deg", "words"), [(90.0, "on its side"), (-90.0, "on its side"), (180.0, "upside down")])
def test_a_picture_that_lies_is_refused_with_its_lean(roll_deg: float, words: str) -> None:
    with pytest.raises(ViewError, match=words) as refused:
        check_upright(camera(roll_deg=roll_deg), -2.5)
    assert f"{abs(roll_deg):.0f} degrees" in str(refused.value)
