"""Results say how their scale was checked, and that a lane has no still; what says nothing is not given (TRAPS T47, T48, T50)."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from penult.core.checks.scale import camera_unchecked, scale_check
from penult.core.checks.withheld import without_vague
from penult.core.synthetic.invented import Form, trial
from penult.model.analysis import Analysis, Notice
from penult.model.measured import Measured, NotMeasured
from penult.model.trial import Said

TALL, UNSEEN = Measured(value=1.8, u95=0.05), NotMeasured(reason="nobody")


def result(visible: float | None = None, *codes: str) -> Analysis:
    one = trial(np.random.default_rng(1), Form(athlete="A1", kind="full approach"), Said()).analysis
    seen = {} if visible is None else {"smallest_visible_scale_error": visible}
    return replace(one, method={**one.method, **seen}, warnings=tuple(Notice(code=c, text=c) for c in codes))


def test_height_and_fall_say_what_they_could_have_shown() -> None:
    text = scale_check(result(0.09), TALL, 1.82)

    assert "stated height" in text
    assert "3 %" in text
    assert "free fall" in text
    assert "9 %" in text


def test_what_was_not_checked_is_said() -> None:
    assert "not checked" in scale_check(result(), TALL, None)
    assert "not checked" in scale_check(result(0.09, "clock-doubted"), UNSEEN, 1.82)
    assert "doubted" in scale_check(result(0.09, "scale-doubted"), TALL, 1.82)


def test_a_lane_without_a_still_says_that_nobody_can_tell() -> None:
    assert camera_unchecked("still.jpg") is None
    told = camera_unchecked(None)
    assert told is not None
    assert "nobody can tell" in told.text


@pytest.mark.parametrize(
    ("part", "name", "u95"),
    [("takeoff", "takeoff_velocity_y_m_per_s", 5.0), ("penultimate", "penultimate_hip_drop_m", 12_000.0)],
)
def test_a_value_whose_interval_says_nothing_is_not_given(part: str, name: str, u95: float) -> None:
    """Fails if a hip drop of 0.05 +- 12,000 m stands in a result."""
    one = result()
    measures = {**getattr(one, part), name: Measured(value=0.05, u95=u95)}
    sound = {**getattr(one, part), name: Measured(value=0.05, u95=0.02)}

    assert not getattr(without_vague(replace(one, **{part: measures})), part)[name]
    assert getattr(without_vague(replace(one, **{part: sound})), part)[name]
