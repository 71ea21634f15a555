"""Heights of the hips from the trunk's pixels: a posture that fools the joints does not fool them; what is no use is left."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from penult.core.measures.takeoff import hip_drop_to_takeoff_m, penultimate_hip_drop_m
from penult.core.trunk import window as trunk_window
from penult.core.trunk.hip_heights import WANDER_M, hip_heights
from penult.core.uncertainty.draws import Draws, draw_track
from penult.model.arrays import Floats
from penult.model.calibration import Camera
from penult.model.skeleton import joint
from penult.model.track import PixelTrack, RunwayTrack
from penult.model.trunk import TrunkMotion, TrunkWindow

HIPS = [joint("left", "hip"), joint("right", "hip")]
UP_M = -0.25
"""Of the hips from the trunk's middle."""


def trunk_m(time_s: Floats) -> Floats:
    """A run of 9 m/s with a bounce, sinking by 4 cm in a second."""
    return np.stack([9.0 * time_s, 1.2 + 0.03 * np.cos(2.0 * np.pi * time_s / 0.25) - 0.04 * time_s], axis=1)


@pytest.fixture
def biased(runway: RunwayTrack) -> RunwayTrack:
    """Joints whose hips sit 1.5 cm too high in the first support and 1 cm too low in the second."""
    xy_m = np.array(runway.xy_m)
    middle = trunk_m(runway.time_s)
    xy_m[:, HIPS] = (middle + np.array([0.0, UP_M]))[:, None]
    xy_m[30:55, HIPS, 1] += 0.015
    xy_m[80:105, HIPS, 1] -= 0.010
    return dataclasses.replace(runway, xy_m=xy_m)


@pytest.fixture
def drawn(pixels: PixelTrack, biased: RunwayTrack, camera: Camera) -> Draws:
    """Draws about those joints."""
    weight = np.ones(biased.xy_m.shape[:2])
    return draw_track(pixels, (camera,), biased.z_m, biased.xy_m, weight)


def stride(track: RunwayTrack, first: int, last: int, *, lean_rad: float = 0.0) -> TrunkMotion:
    """What registration would find between two rows: a path a bit off, a shift that puts it right, a lean."""
    rows = np.arange(first, last)
    time_s = track.time_s[rows]
    true_m = trunk_m(time_s)
    share = np.linspace(-1.0, 1.0, len(rows))
    path_m = true_m + 0.01 * np.stack([share, share**2], axis=1)
    window = TrunkWindow(
        rows=rows,
        time_s=time_s,
        path_m=path_m,
        z_m=0.11,
        centre_z_m=0.0,
        lens_m=np.array([0.0, 1.2, 12.0]),
        length_m=0.5,
        is_stride=True,
    )
    return TrunkMotion(window=window, shift_m=true_m - path_m, turn_rad=lean_rad * share)


def test_the_change_comes_from_pixels_and_the_level_from_the_joints(biased: RunwayTrack, drawn: Draws) -> None:
    """Closed form: the trunk's own height and a fixed distance, at the joints' mean level."""
    found = hip_heights(drawn, biased, [stride(biased, 25, 110)])

    rows = np.arange(25, 110)
    true = trunk_m(biased.time_s[rows])[:, 1] + UP_M
    assert np.ptp(found.y_m[0, rows] - true) < 1e-3
    assert found.y_m[0, rows].mean() == pytest.approx(biased.xy_m[rows][:, HIPS, 1].mean(), abs=1e-6)
    assert np.isnan(found.y_m[0, :25]).all()
    assert (found.stretch[rows] == 0).all()
    assert (found.stretch[110:] == -1).all()
    change = found.y_m[1:, 92] - found.y_m[1:, 42]  # of two supports, 0.2 s apart: the same level in each draw
    assert np.std(change) == pytest.approx(np.sqrt(2.0) * WANDER_M, rel=0.35)


def test_strides_that_overlap_share_one_level_and_others_do_not(biased: RunwayTrack, drawn: Draws) -> None:
    motions = [stride(biased, 25, 75), stride(biased, 60, 110), stride(biased, 130, 170)]

    found = hip_heights(drawn, biased, motions)

    rows = np.arange(25, 110)
    true = trunk_m(biased.time_s)[:, 1] + UP_M
    assert np.ptp(found.y_m[0, rows] - true[rows]) < 1.5e-3
    assert set(found.stretch[rows]) == {0}
    assert set(found.stretch[130:170]) == {1}


def test_a_lean_moves_the_hips_against_the_middle_of_the_trunk(biased: RunwayTrack, drawn: Draws) -> None:
    """By the cosine of the lean: 0.25 m below the middle, leaning by 0.3 rad either way, the hips rise by 1.1 cm at the ends."""
    motion = stride(biased, 60, 80, lean_rad=0.3)

    found = hip_heights(drawn, biased, [motion])

    rise = found.y_m[0, 60:80] - trunk_m(biased.time_s[60:80])[:, 1]
    assert (rise[0] + rise[-1]) / 2.0 - rise[10] == pytest.approx(-UP_M * (1.0 - np.cos(0.3)), abs=2e-3)


@pytest.mark.parametrize("why", ["a reason", "too far from the joints", "placed by hand", "none"])
def test_what_cannot_be_used_leaves_the_joints(biased: RunwayTrack, drawn: Draws, why: str) -> None:
    motion, hand = stride(biased, 25, 110), None
    if why == "a reason":
        motion = dataclasses.replace(motion, reason="too dim", shift_m=np.zeros((0, 2)), turn_rad=np.zeros(0))
    elif why == "too far from the joints":
        far = np.linspace(-0.15, 0.15, len(motion.turn_rad))
        motion = dataclasses.replace(motion, shift_m=motion.shift_m + np.stack([0.0 * far, far], axis=1))
    elif why == "placed by hand":
        hand = np.zeros(biased.xy_m.shape[:2])
        hand[50, HIPS[0]] = 1.0

    found = hip_heights(drawn, biased, [] if why == "none" else [motion], hand)

    assert np.isnan(found.y_m).all()
    assert (found.stretch == -1).all()


def test_heights_of_different_levels_are_never_compared(made: type) -> None:
    """One support from pixels, the other from joints: the drop is that of the joints, for both."""
    body = made.posture()
    third, second = made.contact(body, hip_lowest_m=made.drawn(0.93)), made.contact(body, hip_lowest_m=made.drawn(0.87))
    pixels = dataclasses.replace(second.hips, lowest_m=made.drawn(0.80), touchdown_m=made.drawn(0.85), stretch=0)
    mixed = dataclasses.replace(second, hips=pixels)
    level = dataclasses.replace(third, hips=dataclasses.replace(third.hips, lowest_m=made.drawn(0.84), stretch=0))

    assert penultimate_hip_drop_m(third, mixed)[0] == pytest.approx(0.06)
    assert penultimate_hip_drop_m(level, mixed)[0] == pytest.approx(0.04)
    assert hip_drop_to_takeoff_m(mixed, third)[0] == pytest.approx(
        (second.joint_hips.touchdown_m - np.minimum(0.87, third.joint_hips.touchdown_m))[0]
    )


def test_a_stride_is_looked_at_from_support_to_support_or_not_at_all(runway: RunwayTrack) -> None:
    inside = np.ones(len(runway.time_s), dtype=bool)
    start, end = float(runway.time_s[30]), float(runway.time_s[110])
    lens_m = np.array([0.0, 1.2, 12.0])

    window = trunk_window.stride_window(runway, inside, start, end, lens_m)

    assert window is not None
    around = round(trunk_window.STRIDE_AROUND_S / float(np.median(np.diff(runway.time_s))))
    assert window.rows[0] == pytest.approx(30 - around, abs=1)
    assert window.rows[-1] == pytest.approx(110 + around, abs=1)
    assert window.is_stride
    assert len(trunk_window.chosen(window)) == trunk_window.STRIDE_PICTURES
    shoulder = runway.xy_m[window.rows][:, [joint("left", "shoulder"), joint("right", "shoulder")]].mean(axis=1)
    middle = (shoulder + runway.xy_m[window.rows][:, HIPS].mean(axis=1)) / 2.0
    assert np.abs(window.path_m - middle).max() < 0.05  # the pictures are cut about the trunk
    inside[100:] = False
    assert trunk_window.stride_window(runway, inside, start, end, lens_m) is None
