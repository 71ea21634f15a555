"""What a coder lost goes into the uncertainty of instants and edges, or the clip is refused (TRAPS T41)."""

from __future__ import annotations

import numpy as np
import pytest

from penult.core.checks.compression import Loss, coarser, hides_movement, loss_notice, loss_of, refuse_lost
from penult.core.synthetic.film import square_camera
from penult.errors import NotMeasurableError
from penult.model.arrays import Floats
from penult.model.shoe import ShoeContact

SIZE_PX = (1920, 1080)
FACTOR = 16  # pixels of the film in one of the pictures that are compared


def changed(count: int = 120, px: float = 800.0) -> Floats:
    return np.column_stack([np.full(count, px), np.full(count, 1.5 * px), np.ones(count)])


def coded(bits: float, count: int = 120, px: float = 800.0) -> Floats:
    """Bytes of every picture where each changed pixel costs so many bits; sizes vary from picture to picture as coders have it."""
    uneven = np.where(np.arange(count) % 4 == 0, 2.5, 0.5)
    return bits * px * FACTOR * uneven / 8.0


@pytest.mark.parametrize("bits", [0.1, 0.21, 0.3, 1.0, 8.0])
def test_the_bits_of_a_changed_pixel_are_found(bits: float) -> None:
    """Closed form; fails if the sizes of single pictures are believed."""
    loss = loss_of(changed(), coded(bits), SIZE_PX, 0, 119)

    assert loss is not None
    assert loss.bits == pytest.approx(bits, rel=0.05)


@pytest.mark.parametrize(
    ("bits", "is_told", "is_refused"),
    [(5.6, False, False), (0.75, False, False), (0.24, True, False), (0.16, False, True)],
)
def test_what_is_lost_is_told_or_refused(bits: float, is_told: bool, is_refused: bool) -> None:
    """Bits of one film with known truth as it is, and coded anew at CRF 22; between 28 and 34; at 42."""
    loss = loss_of(changed(), coded(bits), SIZE_PX, 0, 119)
    if is_refused:
        with pytest.raises(NotMeasurableError, match="compressed too strongly"):
            refuse_lost(loss)
        return
    refuse_lost(loss)
    assert (loss_notice(loss) is not None) == is_told


def test_a_picture_that_changes_as_a_whole_tells_nothing() -> None:
    """A camera that turns: all of it changes, and most of that costs no bits."""
    px = 0.1 * SIZE_PX[0] * SIZE_PX[1] / FACTOR

    assert loss_of(changed(px=px), coded(0.1, px=px), SIZE_PX, 0, 119) is None


def test_instants_and_edges_become_less_sure_and_stay_where_they_are() -> None:
    """Three pixels at 3 m/s; at twice the distance a pixel is twice as long."""
    camera = square_camera()
    pixel_m = float(np.linalg.norm(camera.parameters[3:6]) / np.exp(camera.parameters[6]))
    shoe = ShoeContact(
        touchdown_s=0.1,
        touchdown_sd_s=0.001,
        toe_off_s=0.2,
        toe_off_sd_s=0.001,
        toe_x_m=-2.0,
        toe_x_sd_m=0.003,
        heel_x_m=-2.27,
        support_height_m=0.0,
        support_height_sd_m=0.003,
        foot_angle_touchdown_deg=3.0,
        foot_angle_touchdown_sd_deg=1.0,
        quality=0.9,
        toe_seen=True,
    )

    (wide, none) = coarser([shoe, None], Loss(bits=0.21, lost_px=3.0), camera)

    assert none is None
    assert wide is not None
    assert wide.touchdown_s == shoe.touchdown_s
    assert wide.touchdown_sd_s == pytest.approx(np.hypot(0.001, 3.0 * pixel_m / 3.0))
    assert wide.toe_x_sd_m == pytest.approx(np.hypot(0.003, 3.0 * pixel_m))
    assert wide.foot_angle_touchdown_sd_deg > 1.0


def test_the_quantiser_tells_where_the_bits_do_not() -> None:
    """720 lines at CRF 38: 0.24 bits a pixel as at CRF 33 of 1080 lines, quantiser 47 (measured on a film with known truth)."""
    plain = loss_of(changed(), coded(0.24), SIZE_PX, 0, 119)
    told = loss_of(changed(), coded(0.24), SIZE_PX, 0, 119, quantiser=47.0)
    sound = loss_of(changed(), coded(5.0), SIZE_PX, 0, 119, quantiser=28.0)

    refuse_lost(plain)
    with pytest.raises(NotMeasurableError, match="quantiser is 47"):
        refuse_lost(told)
    assert not hides_movement(sound)
    assert hides_movement(plain)
