"""What people and spreadsheets write, read as it was meant. Truth: the cells as typed; ISO 8601 for days."""

from __future__ import annotations

import pytest

from penult.core import typed
from penult.model.analysis import Mat


@pytest.mark.parametrize(
    "text", ["2026-11-28", "28.11.2026", "2026/11/28", "28/11/2026", "11/28/2026", "28-11-2026", "28.11.2026 00:00"]
)
def test_a_day_is_read_in_every_form_that_a_spreadsheet_turns_it_into(text: str) -> None:
    assert typed.day(text) == "2026-11-28"


@pytest.mark.parametrize("text", ["3/10/2026", "31.2.2026", "28.11.26", "soon", "46354", "2026-13-01"])
def test_a_day_that_could_be_another_one_is_refused_with_what_is_wanted(text: str) -> None:
    """3/10 is October in one country and March in another. Fails if one of them is guessed."""
    with pytest.raises(ValueError, match="year-month-day"):
        typed.day(text)


@pytest.mark.parametrize(
    ("text", "value_m"), [("6.45", 6.45), ("6,45", 6.45), (" 6,45 m", 6.45), ("645 cm", 6.45), ("0,05", 0.05)]
)
def test_a_length_has_a_point_or_a_comma_and_a_unit_or_none(text: str, value_m: float) -> None:
    assert typed.metres(text) == pytest.approx(value_m)


@pytest.mark.parametrize(
    "text",
    ["penultimate 0.05", "penultimate=5cm", "penultimate = 5 cm", "-1=0,05", "-1=0.05", "Penultimate contact: 5 cm"],
)
def test_a_mat_is_named_by_contact_or_number_and_thick_in_metres_or_centimetres(text: str) -> None:
    assert typed.mat(text) == Mat(number=-1, thickness_m=0.05)


def test_several_mats_and_none_twice() -> None:
    assert typed.mats("third-last 5 cm; take-off 0,03") == (
        Mat(number=-2, thickness_m=0.05),
        Mat(number=0, thickness_m=0.03),
    )
    with pytest.raises(ValueError, match="one mat a contact"):
        typed.mats("penultimate 5 cm; -1=0.05")


def test_centimetres_without_their_unit_are_answered_with_how_to_write_them() -> None:
    """Nobody puts down a mat of five metres. Fails if it is taken for metres, or for centimetres in silence."""
    with pytest.raises(ValueError, match="penultimate=5cm"):
        typed.mat("penultimate=5")


@pytest.mark.parametrize("text", ["", "penultimate", "middle 0.05", "1=0.05", "-1=0", "-1=60cm", "-1=-0.05"])
def test_what_is_no_mat_is_refused(text: str) -> None:
    with pytest.raises(ValueError, match="thickness"):
        typed.mat(text)
