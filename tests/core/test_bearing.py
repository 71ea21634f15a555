"""When a shoe bears, from trained networks: their arithmetic against scipy's, and two rendered contacts with exact truth."""

from __future__ import annotations

import dataclasses
import json
import math
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest
from scipy.signal import correlate

from penult.adapters.files.network_file import shoe_networks
from penult.core.shoe.bearing import Bearing, bearing
from penult.core.shoe.contact import CONTRADICTED, _plausible, refine_all
from penult.core.shoe.fused import CONTRARY, ROUGH_SD_S, together
from penult.core.shoe.network import _convolved, _folded, _in_time
from penult.model.shoe import RoughContact, ShoeContact, ShoePatches

FEET = Path(__file__).parents[1] / "feet"
"""Pictures of two contacts of rendered films with exact truth, cut as the product cuts them: a sprint at 120 frames a second whose
far foot lands rolled on its outer edge, and one outdoors in the sun. `truth` is that of the films."""

ROLLED, SUN = "rolled_120", "sun_far_120"


def contact(name: str) -> tuple[ShoePatches, RoughContact, dict[str, float]]:
    said: dict[str, Any] = json.loads((FEET / f"{name}.json").read_text())
    x, y = (at + step * np.arange(n) for at, step, n in (said["x_m"], said["y_m"]))
    strip = cv2.imread(str(FEET / f"{name}.jpg"))[:, :, ::-1]
    patches = ShoePatches(
        time_s=np.array(said["time_s"]),
        images=np.ascontiguousarray(strip).reshape(-1, len(y), len(x), 3),
        x_m=x,
        y_m=y,
        z_m=said["z_m"],
        slope_x=said["slope_x"],
        slope_y=said["slope_y"],
    )
    return patches, RoughContact(**said["rough"]), said["truth"]


def test_a_convolution_is_that_of_scipy() -> None:
    """Correlation with every kernel, summed over colours, at every second place, as scipy.signal has it."""
    rng = np.random.default_rng(1)
    seen = rng.normal(size=(2, 9, 12, 3)).astype(np.float32)
    kernel = rng.normal(size=(4, 3, 5, 5)).astype(np.float32)
    bias = rng.normal(size=4).astype(np.float32)

    out = _convolved(seen, _folded(kernel), bias, (5, 2, 2))

    wide = np.pad(seen, ((0, 0), (2, 2), (2, 2), (0, 0)))
    for n in range(2):
        for k in range(4):
            whole = sum(correlate(wide[n, :, :, c], kernel[k, c], mode="valid") for c in range(3))
            assert out[n, :, :, k] == pytest.approx(np.maximum(whole[::2, ::2] + bias[k], 0.0), abs=1e-4)


def test_a_convolution_in_time_takes_rows_a_span_away() -> None:
    """By hand: one channel, kernel (1, 10, 100), span 2."""
    state = np.arange(1.0, 6.0, dtype=np.float32)[:, None]
    kernel = np.array([[[1.0, 10.0, 100.0]]], dtype=np.float32)

    out = _in_time(state, kernel, np.zeros(1, dtype=np.float32), 2)

    assert out[:, 0].tolist() == [310.0, 420.0, 531.0, 42.0, 53.0]


@pytest.mark.parametrize("name", [ROLLED, SUN])
def test_a_rolled_landing_is_timed_when_it_first_bears(name: str) -> None:
    """Both instants within 2.5 ms (0.3 of a frame) and inside what is stated; stillness is 6 to 22 ms late and 5 to 7 early."""
    patches, rough, truth = contact(name)

    (found,) = refine_all([patches], [rough], shoe_networks())
    (still,) = refine_all([patches], [rough])

    for at_s, sd_s, true_s in (
        (found.touchdown_s, found.touchdown_sd_s, truth["touchdown_s"]),
        (found.toe_off_s, found.toe_off_sd_s, truth["toe_off_s"]),
    ):
        assert at_s == pytest.approx(true_s, abs=0.0025)
        assert abs(at_s - true_s) < 2.0 * sd_s < 0.006
    assert found.toe_x_m == pytest.approx(truth["toe_x_m"], abs=0.012)
    assert found.foot_angle_touchdown_deg == pytest.approx(truth["foot_angle_touchdown_deg"], abs=2.0)
    assert still.touchdown_s > truth["touchdown_s"] + 0.005
    assert still.toe_off_s < truth["toe_off_s"] - 0.004


@pytest.mark.parametrize("off_m", [-0.04, 0.04])
def test_the_toe_is_found_from_a_rough_place_4_cm_off(off_m: float) -> None:
    """The film's own toe, whichever side the joints place it; the instants stay."""
    patches, rough, truth = contact(ROLLED)
    moved = dataclasses.replace(rough, toe_x_m=truth["toe_x_m"] + off_m)

    found = bearing(shoe_networks(), patches, moved, 0.0)

    assert found is not None
    assert found.toe_x_m == pytest.approx(truth["toe_x_m"], abs=0.015)
    assert found.touchdown_s == pytest.approx(truth["touchdown_s"], abs=0.003)


@pytest.mark.parametrize("name", [ROLLED, SUN])
def test_30_pictures_a_second_are_left_to_the_networks_for_few_pictures(name: str) -> None:
    """Every fourth of 120 a second: the film's own instants inside what is stated, which is a third of a frame at least."""
    patches, rough, truth = contact(name)
    slow = dataclasses.replace(patches, time_s=patches.time_s[::4], images=patches.images[::4])

    found = bearing(shoe_networks(), slow, rough, 0.0)

    assert found is not None
    for at_s, sd_s, true_s in (
        (found.touchdown_s, found.touchdown_sd_s, truth["touchdown_s"]),
        (found.toe_off_s, found.toe_off_sd_s, truth["toe_off_s"]),
    ):
        assert at_s == pytest.approx(true_s, abs=2.0 * sd_s)
        assert 1.0 / 90.0 < 2.0 * sd_s < 1.0 / 30.0


def test_fewer_pictures_a_second_than_were_learned_from_are_left_to_the_edges() -> None:
    """Every sixth of 120 a second are 20, and without the slow networks 30 are too few, as six pictures in all are."""
    patches, rough, _ = contact(ROLLED)
    slowest = dataclasses.replace(patches, time_s=patches.time_s[::6], images=patches.images[::6])
    slow = dataclasses.replace(patches, time_s=patches.time_s[::4], images=patches.images[::4])
    few = dataclasses.replace(patches, time_s=patches.time_s[14:20], images=patches.images[14:20])

    assert bearing(shoe_networks(), slowest, rough, 0.0) is None
    assert bearing([n for n in shoe_networks() if not n.slow], slow, rough, 0.0) is None
    assert bearing(shoe_networks(), few, rough, 0.0) is None


def test_joints_far_from_what_both_looks_tell_are_overruled_and_one_look_alone_is_not_believed() -> None:
    """The film's own toe-off with rough times 50 ms late of which joints were once sure; a look alone gives no instant at all."""
    patches, rough, truth = contact(ROLLED)
    late = dataclasses.replace(rough, end_s=truth["toe_off_s"] + 0.050)
    edges = refine_all([patches], [rough])[0]
    seen = bearing(shoe_networks(), patches, rough, 0.0)
    assert seen is not None
    agreeing = dataclasses.replace(edges, toe_off_s=seen.toe_off_s + 0.001)

    believed = _plausible(together(agreeing, seen, patches, late), late, patches, agreeing, seen)
    alone = _plausible(together(agreeing, seen, patches, late), late, patches, None, seen)

    assert believed.toe_off_s == pytest.approx(truth["toe_off_s"], abs=0.0025)
    assert alone.reason == CONTRADICTED
    assert np.isnan(alone.toe_off_s)
    assert np.isfinite(alone.touchdown_s)


def test_a_stay_too_short_for_a_contact_does_not_contradict_the_pictures() -> None:
    """The film's own touchdown, 60 ms before joints that show the foot for its last 30 ms only."""
    patches, rough, truth = contact(ROLLED)
    part = dataclasses.replace(rough, start_s=truth["toe_off_s"] - 0.030, end_s=truth["toe_off_s"])

    (found,) = refine_all([patches], [part], shoe_networks())

    assert found.reason == ""
    assert truth["touchdown_s"] < part.start_s - 0.050
    assert found.touchdown_s == pytest.approx(truth["touchdown_s"], abs=2.0 * found.touchdown_sd_s)


def test_more_pictures_a_second_are_thinned_out() -> None:
    """Each picture shown four times within a frame is 480 a second with nothing new: the same instants to a frame."""
    patches, rough, truth = contact(ROLLED)
    time_s = (patches.time_s[:, None] + np.arange(4) / 480.0).ravel()
    fast = dataclasses.replace(patches, time_s=time_s, images=np.repeat(patches.images, 4, axis=0))

    found = bearing(shoe_networks(), fast, rough, 0.0)

    assert found is not None
    assert found.touchdown_s == pytest.approx(truth["touchdown_s"], abs=1.0 / 120.0)


SEEN = Bearing(
    touchdown_s=0.100,
    touchdown_sd_s=0.001,
    toe_off_s=0.210,
    toe_off_sd_s=0.002,
    toe_x_m=-2.0,
    toe_x_sd_m=0.006,
    heel_x_m=-2.28,
    foot_angle_touchdown_deg=3.0,
    foot_angle_touchdown_sd_deg=1.5,
)


def put_together(edges: ShoeContact, seen: Bearing | None) -> ShoeContact:
    patches, rough, _ = contact(SUN)
    square = dataclasses.replace(patches, slope_x=0.0)
    return together(edges, seen, square, dataclasses.replace(rough, start_s=0.105, end_s=0.2))


def edges_of(**changes: Any) -> ShoeContact:
    patches, rough, _ = contact(SUN)
    (found,) = refine_all([patches], [rough])
    agreeing = {"touchdown_s": 0.1, "toe_off_s": 0.21, "toe_x_m": -2.0, "toe_seen": True, "reason": ""}
    return dataclasses.replace(found, **{**agreeing, **changes})


def test_a_later_rest_is_explained_and_an_earlier_one_widens() -> None:
    """By hand: the variance of a second answer 10 ms away that is right once in twenty; 20 ms later hardly counts."""
    late = put_together(edges_of(touchdown_s=0.120), SEEN)
    early = put_together(edges_of(touchdown_s=0.090), SEEN)

    assert late.touchdown_s == early.touchdown_s == 0.100
    assert late.touchdown_sd_s < 0.0016
    assert early.touchdown_sd_s == pytest.approx(math.sqrt(0.001**2 + CONTRARY * 0.010**2))


def test_toes_that_agree_are_averaged_and_others_doubted() -> None:
    """By hand: 1 cm apart, seven parts to three; 6 cm apart, the networks' with 0.05 of 6 cm squared more variance."""
    near = put_together(edges_of(toe_x_m=-2.01), SEEN)
    far = put_together(edges_of(toe_x_m=-2.06), SEEN)

    assert near.toe_x_m == pytest.approx(-2.003)
    assert far.toe_x_m == -2.0
    assert far.toe_x_sd_m == pytest.approx(math.sqrt(0.006**2 + 0.05 * 0.06**2))


def test_an_instant_that_no_network_saw_is_that_of_the_joints() -> None:
    """The other instant stays; with neither seen, nothing is changed."""
    blind = dataclasses.replace(SEEN, toe_off_sd_s=0.05)
    neither = dataclasses.replace(blind, touchdown_sd_s=0.05)

    found = put_together(edges_of(), blind)

    assert (found.touchdown_s, found.toe_off_s) == (0.100, 0.2)
    assert found.toe_off_sd_s >= ROUGH_SD_S
    assert (found.touchdown_seen, found.toe_off_seen) == (True, False)
    assert put_together(edges_of(), neither) == edges_of()
    assert put_together(edges_of(), None) == edges_of()


def test_a_contact_that_edges_did_not_see_has_no_height() -> None:
    """The networks tell when it bears, not on what."""
    found = put_together(edges_of(reason="not clear", touchdown_s=math.nan, toe_off_s=math.nan), SEEN)

    assert found.reason == ""
    assert (found.touchdown_s, found.toe_off_s) == (0.100, 0.210)
    assert math.isnan(found.support_height_m)
