"""Measures of a step against their definitions (MEASURES.md section 3), identities and published ratios."""

from __future__ import annotations

import dataclasses
from itertools import pairwise
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from penult.core.measures.step import STEP_MEASURES, StepEvidence, step_measures
from penult.model.measured import Measured, NotMeasured

Made = Any  # the class of tests/core/conftest.py


def step(made: Made, start: tuple[float, float, float], end: tuple[float, float, float], **given: Any) -> StepEvidence:
    """Return a step between two contacts given as (touchdown, toe-off, toe)."""
    a, b = (made.event(touchdown_s=td, toe_off_s=to, toe_x_m=x) for td, to, x in (start, end))
    known = {"flight": made.flight((9.2, 0.4)), "interval_s": 1.0 / 240.0} | given
    return StepEvidence(start=a, end=b, **known)


def values(evidence: StepEvidence) -> dict[str, float]:
    return {name: m.value for name, m in step_measures(evidence).items() if isinstance(m, Measured)}


def reasons(evidence: StepEvidence) -> dict[str, str]:
    return {name: m.reason for name, m in step_measures(evidence).items() if isinstance(m, NotMeasured)}


def test_a_step_worked_by_hand(made: Made) -> None:
    """Toe -4.56 to -2.21, down at 0.440 and 0.696, off at 0.544: 2.35 m in 0.256 s, 0.152 s of it in the air."""
    got = values(step(made, (0.440, 0.544, -4.56), (0.696, 0.808, -2.21)))

    assert got["step_length_m"] == pytest.approx(2.35)
    assert got["step_time_s"] == pytest.approx(0.256)
    assert got["flight_time_s"] == pytest.approx(0.152)
    assert got["step_rate_hz"] == pytest.approx(1.0 / 0.256)
    assert got["step_length_over_time_m_per_s"] == pytest.approx(2.35 / 0.256)
    assert got["step_speed_m_per_s"] == 9.2  # of the mass centre in flight, not length over time
    assert {f.__name__ for f in STEP_MEASURES} == set(got) | {
        "step_length_ratio",
        "step_time_ratio",
    }  # MEASURES.md section 3


def test_a_flight_time_of_no_use_is_not_given(made: Made) -> None:
    """The push-off known to 45 ms (SD): 0.152 s +- 0.09 says nothing; the step's own time stays."""
    blind = step(made, (0.440, 0.544, -4.56), (0.696, 0.808, -2.21))
    spread = np.concatenate(
        [[0.544], 0.544 + 0.045 * np.random.default_rng(4).normal(size=len(blind.end.toe_off_s) - 1)]
    )
    blind = dataclasses.replace(blind, start=dataclasses.replace(blind.start, toe_off_s=spread))

    assert "half of itself" in reasons(blind)["flight_time_s"]
    assert values(blind)["step_time_s"] == pytest.approx(0.256)


def test_published_last_step_is_shorter_than_the_penultimate(made: Made) -> None:
    """Panoutsakopoulos 2021 (abstract): the penultimate step is 12.2 % longer than the last, so last / penultimate 0.891."""
    before = step(made, (0.44, 0.54, -4.30), (0.69, 0.80, -4.30 + 1.122 * 1.95))
    last = step(made, (0.69, 0.80, -4.30 + 1.122 * 1.95), (0.91, 1.03, -0.162), before=before)

    got = values(last)

    assert got["step_length_ratio"] == pytest.approx(0.891, abs=0.0005)
    assert got["step_time_ratio"] == pytest.approx(0.22 / 0.25)


@given(
    contact_s=st.floats(0.07, 0.2),
    flight_s=st.floats(0.02, 0.25),
    length_m=st.floats(1.0, 3.0),
    place_m=st.floats(-30.0, 0.0),
)
def test_identities_of_any_step(made: Made, contact_s: float, flight_s: float, length_m: float, place_m: float) -> None:
    """Collected references, section 8: contact + flight = step time; speed = length x rate. Fails if instants are mixed up."""
    down = 0.3 + contact_s + flight_s

    got = values(step(made, (0.3, 0.3 + contact_s, place_m), (down, down + 0.1, place_m + length_m)))

    assert contact_s + got["flight_time_s"] == pytest.approx(got["step_time_s"])
    assert got["step_length_over_time_m_per_s"] == pytest.approx(got["step_length_m"] * got["step_rate_hz"])


def test_steps_add_up_to_the_way_of_the_feet(made: Made) -> None:
    """Collected references, section 8: the sum of the steps is the distance from the first toe to the last."""
    places = [-6.76, -4.56, -2.21, -0.06]
    steps = [step(made, (0.1, 0.2, a), (0.35, 0.45, b)) for a, b in pairwise(places)]

    assert sum(values(s)["step_length_m"] for s in steps) == pytest.approx(6.70)


def test_what_two_steps_share_enters_their_ratio_once(made: Made) -> None:
    """The middle toe lengthens one step and shortens the other: JCGM 100, 5.2, covariance of the ratio in closed form."""
    rng = np.random.default_rng(2)
    toes = [np.concatenate([[x], x + 0.01 * rng.normal(size=6000)]) for x in (-4.0, -2.0, 0.0)]
    a, b, c = (
        made.event(toe_x_m=x, touchdown_s=np.full(6001, t), toe_off_s=np.full(6001, t + 0.1))
        for x, t in zip(toes, (0.1, 0.35, 0.6), strict=True)
    )
    flight = made.flight((9.0, 0.5))
    before = StepEvidence(start=a, end=b, flight=flight, interval_s=0.004)

    measure = step_measures(StepEvidence(start=b, end=c, flight=flight, interval_s=0.004, before=before))[
        "step_length_ratio"
    ]

    # r = (c - b) / (b - a), L = 2: dr = (dc - db)/L - (db - da)/L
    assert isinstance(measure, Measured)
    assert measure.u95 / 2.0 == pytest.approx(0.01 * np.sqrt(1.0 + 4.0 + 1.0) / 2.0, rel=0.04)


def test_missing_parts_say_why(made: Made) -> None:
    """First step seen, slow camera, no fitted flight, a contact seen in part: each leaves the rest measured."""
    ends = (0.44, 0.54, -4.5), (0.69, 0.80, -2.2)

    first = reasons(step(made, *ends))
    slow = reasons(step(made, *ends, interval_s=1.0 / 30.0))
    short = step(
        made, *ends, flight=made.flight((np.nan, np.nan), reason="the flight is too short for this frame rate")
    )
    part = reasons(step(made, *ends, part=True))
    after = reasons(step(made, *ends, before=step(made, *ends, part=True)))

    assert set(first) == {"step_length_ratio", "step_time_ratio"}
    assert "frame rate too low" in slow["flight_time_s"]
    assert "step_time_s" not in slow
    assert reasons(short)["step_speed_m_per_s"] == "the flight is too short for this frame rate"
    assert {"flight_time_s", "step_time_s", "step_rate_hz", "step_length_over_time_m_per_s"} <= set(part)
    assert "step_length_m" not in part
    assert set(after) == {"step_time_ratio"}
