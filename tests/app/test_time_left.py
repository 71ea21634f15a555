"""The time left of a clip and of those behind it, on a clock that the test moves."""

from __future__ import annotations

import pytest

from penult.app.time_left import STAGES, USUAL_S, TimeLeft


class Clock:
    def __init__(self) -> None:
        self.s = 100.0

    def __call__(self) -> float:
        return self.s


def test_the_clips_before_tell_how_long_the_next_one_takes() -> None:
    """Three that took 10, 12 and 30 s: 12 each from then on, less what has gone."""
    clock = Clock()
    left = TimeLeft(clock)
    for number, took_s in enumerate((10.0, 12.0, 30.0)):
        left.begin()
        clock.s += took_s
        left.end(f"{number}", is_measured=True)
    left.begin()
    clock.s += 4.0

    assert left.left_s("new", ["a", "b"]) == (8.0, 8.0 + 2 * 12.0)
    assert left.left_s("", ["a"]) == (0.0, 12.0)


def test_of_the_first_clip_its_stage_tells_once_it_has_come_far_enough() -> None:
    """A third of its time gone in 20 s leaves twice as much; at the beginning only the usual time is known."""
    clock = Clock()
    left = TimeLeft(clock)
    left.begin()
    assert left.left_s("a", []) == (USUAL_S, USUAL_S)
    clock.s += 20.0
    begin, end = STAGES["following the joints"]
    left.progress("following the joints", (1.0 / 3.0 - begin) / (end - begin))

    assert left.left_s("a", [])[0] == pytest.approx(40.0)


def test_a_clip_that_takes_longer_than_the_others_is_not_said_to_be_done() -> None:
    clock = Clock()
    left = TimeLeft(clock)
    left.begin()
    clock.s += 10.0
    left.end("a", is_measured=True)
    left.begin()
    clock.s += 15.0
    left.progress("drawing", 0.0)

    assert left.left_s("b", [])[0] == pytest.approx(max(1.0, 15.0 * (1.0 / STAGES["drawing"][0] - 1.0)))
    assert list(STAGES.values()) == sorted(STAGES.values())
    assert next(iter(STAGES.values()))[0] == 0.0
    assert list(STAGES.values())[-1][1] == 1.0
