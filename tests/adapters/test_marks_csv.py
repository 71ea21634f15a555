"""Tables of marks: units other than metres are recognised."""

from __future__ import annotations

from pathlib import Path

import pytest

from penult.adapters.files.marks_csv import read_marks
from penult.errors import CalibrationError


@pytest.mark.parametrize(
    ("cell", "metres"), [("10 yd", "9.144"), ("33ft", "10.058"), ("5 yards", "4.572"), ("-12'", "-3.658")]
)
def test_yards_and_feet_are_recognised(cell: str, metres: str, tmp_path: Path) -> None:
    """T47: taken for metres they make every length 9.4 % too long, or three times as long."""
    path = tmp_path / "marks.csv"
    path.write_text(f"name,pixel_x,pixel_y,x_m,y_m,z_m\npole,10,20,{cell},0,0\n", encoding="utf-8")

    with pytest.raises(CalibrationError) as raised:
        read_marks(path)

    assert metres in str(raised.value)
