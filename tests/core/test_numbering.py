"""Which contact is the take-off, and which one is contact 0 (MEASURES.md section 1)."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from penult.core.measures.numbering import TAKEOFF_RISE_M_PER_S, reference_index, takeoff_index

NAN = float("nan")
PLACES_M = [-6.5, -4.4, -2.1, -0.1]


def test_running_flights_are_no_take_offs_and_flat_take_offs_are() -> None:
    """Closed form: a level flight of t leaves at g t / 2; 0.15 s: 0.74 m/s. Published: vy 2.93 (women), 3.4 (men) m/s.

    Panoutsakopoulos 2021 (computed from speed and angle), Linthorne 2008 (from memory); a flat junior jump of 14 degrees
    at 6.5 m/s leaves at 1.57 m/s."""
    running = [9.81 * t / 2.0 for t in (0.06, 0.12, 0.15, 0.2)]

    assert takeoff_index(running, PLACES_M, board=True) is None
    for rise in (2.93, 3.4, 6.5 * np.sin(np.radians(14.0))):
        assert takeoff_index([0.6, 0.7, 0.4, rise], PLACES_M, board=True) == 3


@pytest.mark.parametrize(
    ("rise", "board", "index"),
    [
        ([0.6, 2.2, 2.0, 1.9], True, 3),  # bounds: of several leaps the one nearest the line
        ([0.6, 2.2, 2.0, 1.9], False, 1),  # no line: the first leap
        ([0.6, NAN, 0.5, 3.1], True, 3),  # a flight that could not be fitted is no take-off
        ([NAN, NAN, NAN, NAN], True, None),
        ([], True, None),
    ],
)
def test_the_take_off_among_several_leaps(rise: list[float], board: bool, index: int | None) -> None:
    """Fails if NaN is taken for a leap, or if the last leap of a bounding run is taken without regard to the line."""
    assert takeoff_index(rise, PLACES_M[: len(rise)], board=board) == index


def test_contact_0_of_a_run_through_is_the_last_before_the_line_or_the_last_wholly_seen() -> None:
    """A foul keeps its number 0; without a take-off the line decides, without a line what the picture holds."""
    assert reference_index(3, [-6.0, -4.0, -2.0, 0.12], [True] * 4, board=True) == 3  # a foul
    assert reference_index(None, [-4.0, -2.0, -0.3, 1.7], [True] * 4, board=True) == 2
    assert reference_index(None, [-4.0, -2.0, 0.0, 1.7], [True] * 4, board=True) == 2  # toe on the line is not over it
    assert reference_index(None, [0.5, 2.4], [True, True], board=True) is None
    assert reference_index(None, PLACES_M, [True, True, True, False], board=False) == 2
    assert reference_index(None, PLACES_M, [False] * 4, board=False) is None


@given(
    rise=st.lists(st.floats(-2.0, 5.0) | st.just(NAN), min_size=1, max_size=9),
    first_m=st.floats(-15.0, 3.0),
    board=st.booleans(),
)
def test_only_a_contact_that_rises_is_ever_the_take_off(rise: list[float], first_m: float, board: bool) -> None:
    """Property: whatever the places, the take-off rises more than any running step, or there is none."""
    places = [first_m + 2.0 * i for i in range(len(rise))]

    index = takeoff_index(rise, places, board=board)

    if index is None:
        assert not any(r > TAKEOFF_RISE_M_PER_S for r in rise)
    else:
        assert rise[index] > TAKEOFF_RISE_M_PER_S
        assert reference_index(index, places, [True] * len(rise), board=board) == index


@pytest.mark.parametrize(("rise_m_per_s", "index"), [(9.81 * 0.25 / 2.0, None), (6.0 * np.tan(np.radians(13.0)), 3)])
def test_a_low_take_off_of_a_drill_is_one_and_a_long_running_flight_is_not(
    rise_m_per_s: float, index: int | None
) -> None:
    """Closed forms: a level flight of 0.25 s, longer than any running step's, leaves at 1.23 m/s; 13 deg at 6 m/s rises at 1.39."""
    assert takeoff_index([0.6, 0.7, 0.5, rise_m_per_s], PLACES_M, board=True) == index
