"""Labels of legs and arms: exchanging is exact and undone by itself, arms are put right along time."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from penult.core.joints.sides import ARM, LEG, exchange, settle_arms
from penult.model.skeleton import JOINTS, joint
from penult.model.track import PixelTrack

ARM_COLUMNS = [joint(side, part) for side in ("left", "right") for part in ARM]


@given(seed=st.integers(0, 1000), parts=st.sampled_from([LEG, ARM, ("hip",)]))
def test_exchange_touches_marked_rows_and_named_parts_only_and_undoes_itself(seed: int, parts: tuple[str, ...]) -> None:
    """Property: twice is nothing; scores go with their joints. Fails if an assignment overwrites before it is read."""
    rng = np.random.default_rng(seed)
    track = PixelTrack(
        frame=np.arange(12),
        time_s=np.arange(12) / 240.0,
        xy_px=rng.normal(size=(12, len(JOINTS), 2)),
        score=rng.random((12, len(JOINTS))),
        filled=np.zeros((12, len(JOINTS)), dtype=bool),
    )
    rows = rng.random(12) < 0.5

    once = exchange(track, rows, parts)
    twice = exchange(once, rows, parts)

    columns = [joint(side, part) for side in ("left", "right") for part in parts]
    others = [k for k in range(len(JOINTS)) if k not in columns]
    assert (once.xy_px[:, others] == track.xy_px[:, others]).all()
    assert (once.xy_px[~rows] == track.xy_px[~rows]).all()
    for part in parts:
        left, right = joint("left", part), joint("right", part)
        assert (once.xy_px[rows, left] == track.xy_px[rows, right]).all()
        assert (once.score[rows, right] == track.score[rows, left]).all()
    assert (twice.xy_px == track.xy_px).all()
    assert (twice.score == track.score).all()


@pytest.mark.parametrize(("share", "noise_px"), [(0.0, 2.0), (0.2, 2.0), (0.4, 1.0)])
def test_arms_are_put_right_along_time(pixels: PixelTrack, share: float, noise_px: float) -> None:
    """Swinging arms whose labels changed at random get their own side back in at least 97 % of the rows."""
    rng = np.random.default_rng(5)
    rows = rng.random(len(pixels.time_s)) < share
    noisy = dataclasses.replace(pixels, xy_px=pixels.xy_px + rng.normal(0.0, noise_px, pixels.xy_px.shape))

    settled = settle_arms(exchange(noisy, rows, ARM))

    own = (settled.xy_px[:, ARM_COLUMNS] == noisy.xy_px[:, ARM_COLUMNS]).all(axis=(1, 2))
    assert own.mean() >= 0.97


def test_uneven_frame_times_do_not_swap_arms(pixels: PixelTrack) -> None:
    """Every third frame dropped: straight motion is judged by time, not by row. Fails if the interval ratio is turned over."""
    keep = np.arange(len(pixels.time_s)) % 3 != 1
    track = PixelTrack(
        frame=pixels.frame[keep],
        time_s=pixels.time_s[keep],
        xy_px=pixels.xy_px[keep],
        score=pixels.score[keep],
        filled=pixels.filled[keep],
    )

    assert (settle_arms(track).xy_px == track.xy_px).all()


def test_missing_rows_stay_missing_and_short_tracks_stay_as_they_are(pixels: PixelTrack) -> None:
    """Fails if a gap is filled, if labels go wrong beside one, or if two rows crash the path search."""
    xy_px = np.array(pixels.xy_px)
    xy_px[40:60] = np.nan
    gappy = dataclasses.replace(pixels, xy_px=xy_px)

    settled = settle_arms(gappy)

    assert np.isnan(settled.xy_px[40:60]).all()
    assert (settled.xy_px[60:] == gappy.xy_px[60:]).all()
    two = PixelTrack(
        frame=pixels.frame[:2],
        time_s=pixels.time_s[:2],
        xy_px=pixels.xy_px[:2],
        score=pixels.score[:2],
        filled=pixels.filled[:2],
    )
    assert (settle_arms(two).xy_px == two.xy_px).all()
