"""A distance measured again: a scale error of 4 % is noticed, a tape's own error is not."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from penult.core.lane.remeasured import remeasured
from penult.errors import CalibrationError
from penult.model.calibration import Mark

MARKS = tuple(
    Mark(name=name, pixel_px=(0.0, 0.0), runway_m=place)
    for name, place in {
        "pole 1 foot": (-8.0, 0.0, 0.0),
        "pole 3 foot": (1.5, 0.0, 0.0),
        "cone": (-5.0, 0.0, 0.9),
    }.items()
)


@given(length_m=st.floats(2.0, 40.0), share=st.sampled_from([0.96, 1.04]))
def test_four_percent_is_noticed_from_two_metres_on(length_m: float, share: float) -> None:
    """The issue's bar, worked by hand: 4 % of 2 m is 8 cm, a tape's own error there about 3 cm."""
    found = remeasured(f"0 to {length_m} = {length_m * share}", ())

    assert found.differs
    assert f"{abs(100 / share - 100):.1f} %" in found.text
    assert ("large" if share < 1.0 else "small") in found.text


@given(length_m=st.floats(2.0, 40.0), off_m=st.floats(-0.02, 0.02))
def test_a_tape_s_own_error_is_not(length_m: float, off_m: float) -> None:
    assert not remeasured(f"0 to {length_m} = {length_m + off_m}", ()).differs


def test_marks_are_named_and_places_typed() -> None:
    """Marks by name in any case, decimal comma, in space and not along x alone."""
    assert remeasured("Pole 1 foot to pole 3 foot = 9,50 m", MARKS).typed_m == pytest.approx(9.5)
    assert remeasured("-8 to 1.5 = 9.5", MARKS).typed_m == pytest.approx(9.5)
    assert remeasured("cone to pole 1 foot = 3.13", MARKS).typed_m == pytest.approx((3.0**2 + 0.9**2) ** 0.5)


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ("pole 1 foot to pole 3 foot", "cannot be read"),
        ("pole 1 foot to pole 3 foot = far", "cannot be read"),
        ("9.5", "cannot be read"),
        ("pole 1 to pole 3 foot = 9.5", "pole 1 foot"),
        ("1 to 1.2 = 0.2", "several metres"),
    ],
)
def test_words_that_cannot_be_read_say_how(words: str, said: str) -> None:
    with pytest.raises(CalibrationError) as caught:
        remeasured(words, MARKS)
    assert said in str(caught.value)
    assert caught.value.next_step
