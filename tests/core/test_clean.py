"""Which samples are trusted, how gaps are filled, and that nothing that is sound is touched."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.signal import savgol_filter

from penult.core.joints.clean import DRAWN_S, GAP_S, fill_gaps, smooth_path, trust
from penult.core.joints.locate import joint_depths, to_runway
from penult.core.synthetic.film import Faults, film, frame_times_s
from penult.core.synthetic.run import Runner
from penult.model.arrays import Floats
from penult.model.calibration import Camera
from penult.model.skeleton import JOINTS, joint
from penult.model.track import RunwayTrack


def with_xy(track: RunwayTrack, xy_m: Floats) -> RunwayTrack:
    return dataclasses.replace(track, xy_m=xy_m)


@pytest.mark.parametrize("rate_hz", [240.0, 120.0, 60.0, 30.0])
def test_a_sound_run_is_trusted_whole_at_every_frame_rate(runner: Runner, camera: Camera, rate_hz: float) -> None:
    """A swing foot at twice the running speed is no outlier. Fails if a threshold on steps ignores the frame interval."""
    track = film(runner, camera, frame_times_s(runner, rate_hz))

    assert trust(to_runway(track, (camera,), joint_depths())).all()


def test_usual_noise_of_a_pose_model_costs_few_samples(runner: Runner, camera: Camera) -> None:
    """2 cm at every joint (the noise of foot joints on films) may cost 2 % of the samples, and none of them systematically:

    a joint that is refused for 25 ms takes the mass centre with it (seen at the heel, whose segment is only 8 cm long)."""
    rng = np.random.default_rng(4)
    flat = to_runway(film(runner, camera, frame_times_s(runner, 240.0)), (camera,), joint_depths())

    weight = trust(with_xy(flat, flat.xy_m + rng.normal(0.0, 0.02, flat.xy_m.shape)))

    assert weight.mean() > 0.98
    assert weight.mean(axis=0).min() > 0.93


@given(row=st.integers(4, 200), k=st.integers(0, len(JOINTS) - 1), angle_rad=st.floats(0.0, 6.28))
def test_one_wild_sample_is_refused_and_its_neighbours_in_time_are_not(
    runway: RunwayTrack, row: int, k: int, angle_rad: float
) -> None:
    """Property: a joint thrown off by 0.5 m for one frame loses that sample; the frames beside it keep theirs."""
    if JOINTS[k].endswith("hip"):
        return  # the hips are the body's own place; all else is judged against them
    xy_m = np.array(runway.xy_m)
    xy_m[row, k] += 0.5 * np.array([np.cos(angle_rad), np.sin(angle_rad)])

    weight = trust(with_xy(runway, xy_m))

    assert weight[row, k] == 0.0
    assert weight[[row - 1, row + 1]].all()


def test_a_shank_of_another_length_is_not_trusted_and_a_row_of_another_body_is_refused_whole(
    runway: RunwayTrack,
) -> None:
    """Limbs keep their length; a row in which most joints jumped shows somebody else. Missing samples weigh nothing."""
    xy_m = np.array(runway.xy_m)
    ankle, knee = joint("left", "ankle"), joint("left", "knee")
    rows = slice(50, 60)
    xy_m[rows, ankle] = xy_m[rows, knee] + 1.6 * (xy_m[rows, ankle] - xy_m[rows, knee])
    xy_m[100, [k for k, name in enumerate(JOINTS) if not name.endswith("hip")]] += 2.0
    xy_m[120] = np.nan

    weight = trust(with_xy(runway, xy_m))

    assert not weight[rows, ankle].any()
    assert not weight[100].any()
    assert not weight[120].any()
    assert weight[[49, 60, 99, 101, 119, 121]].all()


@given(first=st.integers(5, 150), count=st.integers(1, 14))
def test_short_gaps_become_straight_lines_and_are_marked_long_ones_stay(
    runway: RunwayTrack, first: int, count: int
) -> None:
    """Closed form: a straight, even path is filled exactly; a gap longer than GAP_S stays a gap; sound samples stay."""
    time_s = runway.time_s
    even = np.repeat((np.array([2.0, 0.5]) * time_s[:, None])[:, None], len(JOINTS), axis=1)
    holed, weight = np.array(even), np.ones(even.shape[:2])
    gap = slice(first, first + count)
    holed[gap, 7], weight[gap, 7] = np.nan, 0.0

    filled = fill_gaps(with_xy(runway, holed), weight)

    short = time_s[first + count] - time_s[first - 1] <= GAP_S
    assert filled.filled.sum() == (count if short else 0)
    assert np.isnan(filled.xy_m[gap, 7]).all() != short
    if short:
        assert filled.xy_m == pytest.approx(even, abs=1e-12)
    assert (filled.xy_m[weight > 0] == even[weight > 0]).all()


def test_a_refused_sample_is_replaced_and_a_joint_never_seen_stays_missing(runway: RunwayTrack) -> None:
    """Fails if a refused sample is drawn as it was, or if a joint without two sound samples crashes."""
    weight = np.ones(runway.xy_m.shape[:2])
    weight[80, 3], weight[:, 5] = 0.0, 0.0
    xy_m = np.array(runway.xy_m)
    xy_m[80, 3], xy_m[:, 5] = 99.0, np.nan

    filled = fill_gaps(with_xy(runway, xy_m), weight)

    assert filled.xy_m[80, 3] == pytest.approx(runway.xy_m[[79, 81], 3].mean(axis=0), abs=1e-9)
    assert filled.filled[80, 3]
    assert np.isnan(filled.xy_m[:, 5]).all()


def test_the_path_that_is_drawn_is_scipy_s_filter_keeps_parabolas_and_gaps(runway: RunwayTrack) -> None:
    """Source: scipy.signal.savgol_filter; a local quadratic leaves a parabola as it is (Savitzky and Golay 1964)."""
    time_s = np.arange(100) / 240.0
    parabola = np.stack([8.0 * time_s, 1.0 + 3.0 * time_s - 9.81 * time_s**2 / 2.0], axis=1)
    wavy = parabola + np.sin(900.0 * time_s)[:, None]
    holed = np.array(parabola)
    holed[30:34] = np.nan
    span = int(DRAWN_S * 240.0) | 1

    assert smooth_path(parabola, time_s) == pytest.approx(parabola, abs=1e-9)
    assert smooth_path(wavy, time_s) == pytest.approx(savgol_filter(wavy, span, 2, axis=0), abs=1e-12)
    assert np.isnan(smooth_path(holed, time_s)[30:34]).all()
    assert np.isfinite(smooth_path(holed, time_s)[[29, 34]]).all()
    assert (smooth_path(wavy, time_s * 12.0) == wavy).all()  # 20 Hz: nothing to smooth over


def test_outliers_and_gaps_of_a_whole_film_are_found(runner: Runner, camera: Camera) -> None:
    """Of samples thrown off by more than 0.3 m nearly all are refused; of the sound ones whose own limb is sound, 2 %.

    A wild hip costs its whole row and a wild knee its ankle: they are what the others are judged against."""
    time_s = frame_times_s(runner, 240.0)
    faults = Faults(noise_px=1.5, outlier_share=0.02, outlier_px=150.0, gap_share=0.03)
    track = to_runway(film(runner, camera, time_s, faults, np.random.default_rng(8)), (camera,), joint_depths())
    sound = to_runway(film(runner, camera, time_s), (camera,), joint_depths())
    off_m = np.linalg.norm(track.xy_m - sound.xy_m, axis=2)

    weight = trust(track)

    hips = np.array([name.endswith("hip") for name in JOINTS])
    whole = np.nan_to_num(off_m[:, hips], nan=9.0).max(axis=1) < 0.05
    wild, near = off_m > 0.3, off_m < 0.05
    limbs_sound = near & whole[:, None] & (near.mean(axis=1) == 1.0)[:, None]
    assert weight[:, ~hips][wild[:, ~hips]].mean() < 0.03
    assert weight[limbs_sound].mean() > 0.98
    assert not weight[np.isnan(off_m)].any()
