"""One body all along: somebody who crosses is refused, a cut is noticed, a plain run is left alone. Made tracks, known truth."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from penult.core.joints.identity import one_body, refuse_cut
from penult.core.joints.locate import joint_depths
from penult.errors import NotMeasurableError
from penult.model.skeleton import JOINTS
from penult.model.track import RunwayTrack

RATE_HZ, SPEED = 120.0, 8.5


def track(x_m: np.ndarray, noise_m: float = 0.015, seed: int = 0) -> RunwayTrack:
    """Joints of a stick that moves along x with noise."""
    time = np.arange(len(x_m)) / RATE_HZ
    height = np.linspace(0.1, 1.6, len(JOINTS))
    xy = np.stack(np.broadcast_arrays(x_m[:, None], height[None, :]), axis=-1)
    xy = xy + np.random.default_rng(seed).normal(0.0, noise_m, xy.shape)
    return RunwayTrack(
        frame=np.arange(len(x_m)), time_s=time, xy_m=xy, z_m=joint_depths(0.0), filled=np.zeros(xy.shape[:2], bool)
    )


def run_m(frames: int = 150) -> np.ndarray:
    return -8.0 + SPEED * np.arange(frames) / RATE_HZ


@given(seed=st.integers(0, 10_000), noise_m=st.floats(0.0, 0.02))
def test_a_plain_run_keeps_every_row_and_shows_no_cut(seed: int, noise_m: float) -> None:
    plain = track(run_m(), noise_m, seed)

    assert one_body(plain).all()
    refuse_cut(plain)


@given(first=st.integers(20, 100), seed=st.integers(0, 1000))
def test_rows_of_somebody_who_comes_the_other_way_are_refused(first: int, seed: int) -> None:
    x = run_m()
    hidden = np.arange(first, first + 20)
    x[hidden] = x[first + 10] - SPEED * (hidden - first - 10) / RATE_HZ
    good = one_body(track(x, seed=seed))

    assert not good[first : first + 6].any()
    assert not good[first + 14 : first + 20].any()
    assert good[: first - 2].all()
    assert good[first + 22 :].all()


@given(at=st.integers(30, 110), lost_s=st.floats(0.06, 0.5))
def test_a_piece_cut_out_of_the_run_is_refused_with_its_time(at: int, lost_s: float) -> None:
    x = run_m()
    x[at:] += SPEED * lost_s

    with pytest.raises(NotMeasurableError, match="cut in the run") as refused:
        refuse_cut(track(x))
    assert f"{(at / RATE_HZ):.2f} s" in str(refused.value)


def test_somebody_who_follows_is_no_cut() -> None:
    """The athlete leaves the picture and the model falls for the runner behind: a jump back."""
    x = run_m()
    x[130:] -= 1.5
    late = track(x)

    refuse_cut(late)
    assert one_body(late)[:130].all()
    assert not one_body(late)[130:].any()


def test_missing_rows_are_neither_refused_nor_taken() -> None:
    gap = track(run_m())
    xy = np.array(gap.xy_m)
    xy[40:60] = np.nan
    good = one_body(RunwayTrack(frame=gap.frame, time_s=gap.time_s, xy_m=xy, z_m=gap.z_m, filled=gap.filled))

    assert not good[40:60].any()
    assert good[:40].all()
    assert good[60:].all()
