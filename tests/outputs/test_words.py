"""Text of numbers: digits as the interval supports, names as a coach says them."""

from __future__ import annotations

import json
import os
import re
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

import penult
from penult.model import catalogue
from penult.model.analysis import Run
from penult.model.measured import Measured, NotMeasured
from penult.outputs.texts import words


@pytest.mark.parametrize(
    ("name", "value", "u95", "text"),
    [
        ("penultimate_hip_drop_m", 0.038, 0.009, "3.8 ± 0.9 cm"),  # the example that the look was agreed by
        ("contact_time_s", 0.1121, 0.0046, "112 ± 5 ms"),
        ("takeoff_angle_deg", 19.24, 0.82, "19.2 ± 0.8°"),
        ("step_length_m", 2.1478, 0.0212, "2.15 ± 0.02 m"),
        ("step_length_m", 2.1478, 0.0142, "2.148 ± 0.014 m"),  # a leading 1 bears a second digit
        ("knee_angle_min_deg", 133.4, 13.2, "133 ± 13°"),
        ("knee_angle_min_deg", 133.4, 32.0, "130 ± 30°"),  # tens when the interval supports no more
        ("foot_angle_touchdown_deg", -0.2, 4.0, "0 ± 4°"),  # no negative zero
        ("foot_angle_touchdown_deg", -5.3, 4.2, "−5 ± 4°"),
        ("step_length_ratio", 0.9149, 0.0131, "0.915 ± 0.013"),
        ("penultimate_hip_drop_share", 0.0412, 0.0098, "4.1 ± 1.0 %"),
    ],
)
def test_a_value_is_shown_with_the_digits_its_interval_supports(name: str, value: float, u95: float, text: str) -> None:
    assert words.shown(name, Measured(value=value, u95=u95)).text == text


@given(value=st.floats(-1e4, 1e4), u95=st.floats(1e-5, 1e3))
def test_rounding_stays_small_beside_the_interval(value: float, u95: float) -> None:
    """Rounding moves a value by at most half of what is shown as uncertain, and the uncertainty by at most a quarter.

    JCGM 100:2008, 7.2.6: one or two digits of an uncertainty are enough.
    """
    shown = words.shown("takeoff_angle_deg", Measured(value=value, u95=u95))
    back, back_u95 = (float(text.replace(words.MINUS, "-")) for text in (shown.value, shown.u95))

    assert abs(back - value) <= 0.51 * u95
    assert abs(back_u95 - u95) <= 0.26 * u95
    assert len(shown.u95.replace(".", "").strip("0")) <= 2


def test_a_value_that_is_missing_shows_a_dash_and_its_reason() -> None:
    shown = words.shown("takeoff_angle_deg", NotMeasured(reason="no take-off in the clip"))

    assert (shown.text, shown.reason) == ("–", "no take-off in the clip")
    assert words.shown("takeoff_angle_deg", None).reason


def test_the_leg_angle_is_also_said_from_the_vertical() -> None:
    measure = Measured(value=63.2, u95=1.1)

    assert words.from_vertical("leg_angle_touchdown_deg", measure) == "26.8 ± 1.1° from the vertical"
    assert words.from_vertical("knee_angle_min_deg", measure) == ""


def test_contacts_are_named_back_from_the_takeoff() -> None:
    jump = Run(direction="left to right", kind="", has_takeoff=True)
    through = Run(direction="left to right", kind="", has_takeoff=False)

    assert [words.contact_words(n, jump) for n in (0, -1, -2, -3)] == [
        "take-off", "penultimate", "third-last", "fourth-last",
    ]  # fmt: skip
    assert words.contact_words(0, through) == "last contact"
    assert words.contact_words(2, through) == "2 past line"
    assert words.contact_words(-12, jump) == "contact −12"
    assert words.step_words(0) == "last step"


def test_every_measure_has_words_a_unit_and_a_definition() -> None:
    for (_, name), term in catalogue.ROWS.items():
        assert term.definition.endswith((".", "rhythm.")), name
        assert term.words, name
        assert "_" not in term.words, name
        assert term.unit or name.endswith(("_ratio", "_share", "_count", "_number")), name


@pytest.mark.skipif("PENULT_SHARED" not in os.environ, reason="needs the films with known truth (PENULT_SHARED)")
def test_every_measure_that_the_films_know_has_words() -> None:
    """Proves that no measure of the contract is missing from the pages: the films' truth lists them by name."""
    truth = json.loads((Path(os.environ["PENULT_SHARED"]) / "films/full_240/truth.json").read_text())
    for key in truth["measures"]:
        part, _, name = key.split("|")
        assert name in catalogue.names(part)


def test_every_code_of_a_notice_reads_as_words() -> None:
    """What stands in brackets behind a warning is English: no hyphen of a code, and the two that say nothing as they stand are
    spelled out. The codes are all that the source writes."""
    source = "\n".join(p.read_text(encoding="utf-8") for p in Path(penult.__file__).parent.rglob("*.py"))
    codes = sorted(set(re.findall(r'code="([a-z0-9-]+)"', source)))

    assert len(codes) > 20
    assert all("-" not in words.code_words(code) for code in codes)
    assert words.code_words("mat-disagrees") == "another mat than was said"
    assert words.code_words("by-hand") == "corrected by hand"
    assert words.code_words("few-frames") == "few frames a second"


@pytest.mark.parametrize(("count", "text"), [(0, "0 days"), (1, "1 day"), (2, "2 days")])
def test_one_is_one(count: int, text: str) -> None:
    assert words.counted(count, "day") == text
