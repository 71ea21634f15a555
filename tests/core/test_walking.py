"""A walk is refused with its reason, a run is not: gait phases as textbooks have them, and what an eye read off a real walk."""

from __future__ import annotations

import dataclasses

import pytest

from penult.core.joints.supports import Support
from penult.core.joints.walking import refuse_walk
from penult.errors import NotMeasurableError


def steps(step_s: float, bears_s: float, count: int = 5) -> list[Support]:
    return [
        Support(
            foot="right" if i % 2 else "left",
            start_s=i * step_s,
            end_s=i * step_s + bears_s,
            toe_x_m=0.75 * i,
            heel_x_m=0.75 * i - 0.25,
            toe_y_m=0.03,
            ankle_x_m=0.75 * i - 0.2,
        )
        for i in range(count)
    ]


def test_a_walk_is_refused_and_says_why() -> None:
    """Landings 18 frames apart, each foot stays 21 to 23 of 30 a second (a real clip read by eye): both bear for 3 to 5 of 18."""
    with pytest.raises(NotMeasurableError, match="walk") as caught:
        refuse_walk(steps(18.0 / 30.0, 22.0 / 30.0))

    assert "22 % of a step" in str(caught.value)


def test_a_walk_of_which_every_second_support_is_missing() -> None:
    """Supports found in a real walk, frames of 29.6 a second: 7-28, 41-64, 60-83, 97-118, 133-150; one pair overlaps."""
    walk = steps(18.0 / 30.0, 22.0 / 30.0, count=5)
    frames = ((7, 28), (41, 64), (60, 83), (97, 118), (133, 150))
    found = [dataclasses.replace(s, start_s=a / 29.6, end_s=b / 29.6) for s, (a, b) in zip(walk, frames, strict=True)]

    with pytest.raises(NotMeasurableError, match="walk"):
        refuse_walk(found)
    short = dataclasses.replace(
        found[1], start_s=58.0 / 29.6, end_s=66.0 / 29.6
    )  # misread: a third as long as the others
    refuse_walk([found[0], short, *found[2:]])


@pytest.mark.parametrize(("step_s", "contact_s"), [(0.23, 0.11), (0.36, 0.25), (0.42, 0.32)])
def test_runs_and_slow_jogs_are_not(step_s: float, contact_s: float) -> None:
    """A sprint, a jog at 2.8 steps a second, a slow one that flies for 0.1 s; ends found 25 ms too far out, as rough ones may
    be."""
    refuse_walk(steps(step_s, contact_s + 0.05))


def test_two_supports_are_too_few_to_call_it_a_walk() -> None:
    refuse_walk(steps(0.6, 0.73, count=2))
