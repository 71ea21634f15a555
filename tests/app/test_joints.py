"""Which frames the pose model looks at, first, again and from the cache; the model is a stand-in that counts."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from types import SimpleNamespace
from typing import Any, cast

import numpy as np
import pytest

from penult.app.footage import Footage, Shot
from penult.app.joints import Looking
from penult.app.poses import PosePool
from penult.core.joints.runs import Path as AthletePath
from penult.core.synthetic.film import clip_of, square_camera
from penult.model.arrays import Floats
from penult.model.settings import Settings
from penult.model.skeleton import JOINTS

FRAMES = 120
CAMERA = square_camera()
NOBODY_FROM = 100


class Counting:
    """Stands in for film and pose model: what it is asked for, and joints that tell the frame; nobody in the last frames."""

    def __init__(self) -> None:
        self.frames: list[int] = []

    def passing(self, _threads: object, work: Callable[[Shot], int], wanted: Callable[[int], bool]) -> Iterator[int]:
        for index in range(FRAMES):
            if wanted(index):
                self.frames.append(index)
                yield work(cast(Shot, SimpleNamespace(index=index, square=lambda _crop, index=index: index)))

    def look(self, square: int, crop: Any, height_px: float) -> Floats | None:
        if square >= NOBODY_FROM:
            return None
        spread = np.linspace(-0.3, 0.3, len(JOINTS)) * height_px
        x_px, y_px = crop.centre_px
        return np.stack([x_px + spread, y_px + spread, np.full(len(JOINTS), 0.9)], axis=1)

    def in_order(self) -> None:
        """Not called: `passing` ignores its threads."""


def looking(stated_hz: float) -> tuple[Looking, Counting]:
    """At a run of 9 m/s, filmed at 240 Hz, whose rate is said to be `stated_hz`."""
    time_s = np.arange(FRAMES) / stated_hz
    run = AthletePath(time_s=time_s, x_m=-4.0 + 9.0 * np.arange(FRAMES) / 240.0)
    model = Counting()
    return Looking(clip_of(time_s, CAMERA), (CAMERA,), run, Settings(), cast(PosePool, model)), model


def first_track(one: Looking, model: Counting) -> tuple[list[int], Floats]:
    """Frames asked for in this look, and what came of it."""
    before = len(model.frames)
    track = one.first_track(cast(Footage, model), lambda *_: None)
    return model.frames[before:], track.xy_px


def test_of_a_clock_that_runs_too_fast_more_frames_are_looked_at_and_none_twice() -> None:
    """240 Hz that are said to be 480: every sixth frame first, as at 240 every third, and what was seen is kept."""
    one, model = looking(480.0)

    assert first_track(one, model)[0] == list(range(0, FRAMES, 6))
    assert one.as_at(240.0)
    again, xy_px = first_track(one, model)
    assert again == list(range(3, FRAMES, 6))
    assert np.isfinite(xy_px[:NOBODY_FROM:3]).all()
    assert np.isnan(xy_px[1::3]).all()
    assert np.isnan(xy_px[NOBODY_FROM:]).all()
    assert not one.as_at(240.0)
    assert not one.as_at(480.0)


def test_kept_joints_lead_to_the_same_and_ask_nothing() -> None:
    one, model = looking(480.0)
    first_track(one, model)
    one.as_at(240.0)
    xy_px = first_track(one, model)[1]
    one.whole_track()

    other, its_model = looking(480.0)
    first_track(other, its_model)
    other.as_at(240.0)

    assert np.array_equal(first_track(other, its_model)[1], xy_px, equal_nan=True)
    assert its_model.frames == []


@pytest.mark.parametrize(("before_hz", "now_hz", "serves"), [(30.0, 240.0, True), (480.0, 240.0, False)])
def test_joints_kept_at_another_stated_rate_serve_if_enough_were_looked_at(
    before_hz: float, now_hz: float, *, serves: bool
) -> None:
    """All frames of a slow-motion clip taken for 30 Hz do for 240; every sixth frame does not. Frames without a body count
    as looked at."""
    one, model = looking(before_hz)
    first_track(one, model)
    one.whole_track()

    now, its_model = looking(now_hz)
    xy_px = first_track(now, its_model)[1]

    assert its_model.frames == ([] if serves else list(range(0, FRAMES, 3)))
    assert np.isfinite(xy_px[:NOBODY_FROM:3]).all()
