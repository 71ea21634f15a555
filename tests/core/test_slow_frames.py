"""Few frames a second. Truth: arithmetic of a leg that turns over the foot; a film of 240 frames a second with every eighth kept,
whose leg angle at take-off was given as 72 +- 6 degrees where it was 63."""

from __future__ import annotations

import math

import numpy as np
import pytest

from penult.core.checks.slow_frames import AT_TOUCHDOWN, is_slow, without_slow
from penult.core.synthetic.invented import Form, trial
from penult.model import catalogue
from penult.model.analysis import Analysis
from penult.model.measured import Measured, NotMeasured
from penult.model.trial import Said


@pytest.fixture
def analysis() -> Analysis:
    return trial(np.random.default_rng(4), Form(athlete="A1", kind="full approach"), Said(), file="a.mp4").analysis


@pytest.mark.parametrize(
    ("rate_hz", "slow"), [(24, True), (30, True), (48, True), (50, False), (60, False), (240, False)]
)
def test_fewer_than_fifty_frames_a_second_are_few(rate_hz: float, slow: bool) -> None:
    assert is_slow(1.0 / rate_hz) is slow


def test_thirty_frames_are_said_and_the_leg_at_touchdown_is_withheld(analysis: Analysis) -> None:
    found = without_slow(analysis, 1.0 / 30.0)

    assert found.warnings[0].code == "few-frames"  # what costs most is said first
    assert "30 frames a second" in found.warnings[0].text
    for contact in found.contacts:
        for name in AT_TOUCHDOWN & set(contact.measures):
            assert isinstance(contact.measures[name], NotMeasured)
    last = found.contact(0)
    assert last is not None
    assert any(isinstance(m, Measured) for m in last.measures.values())


def test_sixty_frames_change_nothing(analysis: Analysis) -> None:
    assert without_slow(analysis, 1.0 / 60.0) is analysis


def test_a_leg_turns_further_between_two_frames_than_any_interval_allows() -> None:
    """A leg of 0.9 m set down at 63 degrees, hips moving on at 9 m/s: one frame later it stands at 82, 19 degrees on."""
    foot_ahead_m, leg_m, moved_m = 0.9 * math.cos(math.radians(63.0)), 0.9, 9.0 / 30.0
    later = math.degrees(math.acos((foot_ahead_m - moved_m) / leg_m))

    assert later - 63.0 > 15.0


def test_every_withheld_measure_is_in_the_catalogue() -> None:
    assert not AT_TOUCHDOWN - {name for _, name in catalogue.ROWS}
