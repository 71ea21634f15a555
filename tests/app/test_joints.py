"""Which frames the pose model looks at, first, again and from the cache; the model is a stand-in that counts."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from types import SimpleNamespace
from typing import Any, cast

import numpy as np

from penult.app.footage import Footage, Shot
from penult.app.joints import Looking
from penult.app.poses import PosePool
from penult.core.joints.runs import Path as AthletePath
from penult.core.synthetic.film import clip_of, square_camera
from penult.model.arrays import Floats
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


def looking(stated_hz: float, off_m: float = 0.0) -> tuple[Looking, Counting]:
    """At a run of 9 m/s, filmed at 240 Hz, whose rate is said to be `stated_hz`, with a lane that puts it `off_m` farther on."""
    time_s = np.arange(FRAMES) / stated_hz
    run = AthletePath(time_s=time_s, x_m=off_m - 4.0 + 9.0 * np.arange(FRAMES) / 240.0)
    model = Counting()
    return Looking(clip_of(time_s, CAMERA), (CAMERA,), run, cast(PosePool, model)), model


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


def test_what_another_lane_file_looked_at_is_never_taken_for_this_one() -> None:
    """The lane says through which crop a frame is looked at, and the model's joints hang on the crop (2 to 112 px, TRAPS T49).

    Fails if joints are kept by the clip alone: the second lane then takes over those of the first.
    """
    alone, its_model = looking(240.0)
    wanted = first_track(alone, its_model)[1]
    other, other_model = looking(240.0, off_m=0.1)
    first_track(other, other_model)
    other.whole_track()

    after, model = looking(240.0)
    asked, xy_px = first_track(after, model)

    assert asked == list(range(0, FRAMES, 3))
    assert np.array_equal(xy_px, wanted, equal_nan=True)


def test_both_lanes_are_remembered() -> None:
    """Fails if the joints of the second lane file take the place of the first one's."""
    for off_m in (0.0, 0.1):
        one, model = looking(240.0, off_m)
        first_track(one, model)
        one.whole_track()

    for off_m in (0.0, 0.1):
        again, its_model = looking(240.0, off_m)
        assert first_track(again, its_model)[0] == []


def test_frames_looked_at_before_serve_another_stated_rate_where_they_are_wanted() -> None:
    """All frames of a slow-motion clip taken for 30 Hz are those wanted at 240, and none is looked at again; 480 left some out."""
    for before_hz, asked in ((480.0, 20), (30.0, 0)):
        one, model = looking(before_hz)
        first_track(one, model)
        one.whole_track()

        now, its_model = looking(240.0)

        assert len(first_track(now, its_model)[0]) == asked
