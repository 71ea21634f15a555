"""Yards and feet (international yard and foot, 1959: 0.9144 and 0.3048 m) are told wherever lengths are typed (TRAPS T47)."""

from __future__ import annotations

import pytest
import typer

from penult.cli.calibrate import _metres, _option_m
from penult.cli.numbers import typed
from penult.core.typed import metres
from penult.core.units import metres_of_other, other_unit
from penult.errors import InputError


@pytest.mark.parametrize(
    ("typed", "wanted_m"),
    [
        ("10 yd", 9.144),
        ("-12'", -3.6576),
        ("26 ft 3 in", 8.001),
        ("-26 ft 3 in", -8.001),
        ("5,5 yards", 5.0292),
        ("6'1\"", 1.8542),
    ],
)
def test_what_was_typed_in_yards_and_feet_is_known_in_metres(typed: str, wanted_m: float) -> None:
    assert metres_of_other(typed) == pytest.approx(wanted_m, abs=1e-9)


@pytest.mark.parametrize("typed", ["6.45", "6,45 m", "645 cm", "x", "", "12 years", "1e3"])
def test_metres_are_nothing_else(typed: str) -> None:
    assert metres_of_other(typed) is None


def test_every_place_where_a_length_is_typed_says_what_it_is_in_metres() -> None:
    """Fails where a distance in feet is 'no number' and nothing more."""
    with pytest.raises(ValueError, match=r"which is -7\.315"):
        _metres("-8 yd")
    with pytest.raises(InputError) as told:
        _option_m("--distance", "40 ft", 0.5, 300.0)
    assert "12.192" in str(told.value)
    with pytest.raises(typer.BadParameter, match=r"in metres that is 1\.80"):
        typed("5'11\"")
    with pytest.raises(ValueError, match=r"that is 6\.10"):
        metres("20 ft")


@pytest.mark.parametrize(("factor", "unit"), [(1.0936, "yards"), (3.281, "feet"), (1.03, ""), (0.9144, "")])
def test_a_scale_that_is_wrong_by_a_unit_names_it(factor: float, unit: str) -> None:
    assert other_unit(factor) == unit
