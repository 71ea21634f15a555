"""The two hip drops, and what is said of one clip. Truth: the values that the made-up results are given."""

from __future__ import annotations

from dataclasses import replace

import pytest

from penult.model.analysis import Analysis, Mat
from penult.model.measured import Measured, NotMeasured
from penult.outputs.texts import drops

MATS = (Mat(number=-2, thickness_m=0.05),)


def of(
    analysis: Analysis, *, runway: float, support: float, u95: float = 0.008, mats: tuple[Mat, ...] = MATS
) -> Analysis:
    measures = {
        "penultimate_hip_drop_m": Measured(value=runway, u95=u95),
        "penultimate_hip_drop_above_support_m": Measured(value=support, u95=u95),
    }
    return replace(analysis, run=replace(analysis.run, mats=mats), penultimate={**analysis.penultimate, **measures})


def test_on_mats_both_drops_stand_and_both_are_named(scene: object) -> None:
    """9.6 cm above the runway of which 5 cm are the mat: neither number stands alone. Fails if one hides the other."""
    said = drops.headline(of(scene.analysis, runway=0.096, support=0.046))  # type: ignore[attr-defined]

    assert said == "9.6 ± 0.8 cm above the runway, 4.6 ± 0.8 cm above what each foot stood on"


def test_without_mats_there_is_one_drop(scene: object) -> None:
    assert drops.headline(of(scene.analysis, runway=0.05, support=0.05, mats=())) == "5.0 ± 0.8 cm above the runway"  # type: ignore[attr-defined]


@pytest.mark.parametrize(
    ("runway", "support", "words"),
    [
        (
            0.096,
            0.046,
            "lower in the penultimate than in the third-last support, above what each foot stood on: more than",
        ),
        (0.050, 0.005, "that is ordinary running"),
        (0.070, 0.022, "does not tell it from plain sprinting"),
        (0.010, -0.040, "4.0 ± 0.8 cm higher"),
    ],
)
def test_what_is_said_counts_from_what_the_feet_stood_on_and_knows_plain_sprinting(
    scene: object, runway: float, support: float, words: str
) -> None:
    """Up to 2 cm between neighbouring supports is what plain sprinting shows (published motion capture)."""
    assert words in drops.finding(of(scene.analysis, runway=runway, support=support))  # type: ignore[attr-defined]


def test_nothing_is_said_of_a_drop_that_was_not_measured(scene: object) -> None:
    analysis = scene.analysis  # type: ignore[attr-defined]
    lost = {name: NotMeasured(reason="lost") for name in analysis.penultimate}

    assert drops.finding(replace(analysis, penultimate=lost)) == ""


def test_mats_stand_as_they_were_said_and_as_they_were_measured(scene: object) -> None:
    analysis = of(scene.analysis, runway=0.1, support=0.05)  # type: ignore[attr-defined]
    told = replace(analysis, method={"settings": {"mats": [{"number": -1, "thickness_m": 0.05}]}})

    lines = drops.mats_said_and_measured(told)

    assert lines[0].startswith("third-last: nothing said, ")
    assert lines[1].startswith("penultimate: 5 cm said, ")


def _standing_on(analysis: Analysis, number: int, height_m: float, u95: float) -> Analysis:
    contacts = tuple(
        replace(c, measures={**c.measures, "support_height_m": Measured(value=height_m, u95=u95)})
        if c.number == number
        else c
        for c in analysis.contacts
    )
    return replace(analysis, contacts=contacts)


def test_a_mat_that_nobody_spoke_of_is_named_and_drawn(scene: object) -> None:
    """5 cm said under the penultimate foot, 0.0 +- 0.3 measured there and 5.5 +- 1.2 under the third-last: drawn where it lay."""
    said = of(scene.analysis, runway=0.096, support=0.041, mats=(Mat(number=-1, thickness_m=0.05),))  # type: ignore[attr-defined]
    said = replace(said, method={"settings": {"mats": [{"number": -1, "thickness_m": 0.05}]}})
    found = _standing_on(_standing_on(said, -1, 0.0, 0.003), -2, 0.055, 0.012)

    assert drops.mats_said_and_measured(found)[:2] == [
        "third-last: nothing said, 5.5 ± 1.2 cm measured",
        "penultimate: 5 cm said, 0.0 ± 0.3 cm measured",
    ]
    assert drops.laid(found) == {-2: 0.055}
    assert drops.has_mats(found)


def test_a_mat_that_is_measured_as_said_keeps_its_thickness(scene: object) -> None:
    """4.6 +- 0.6 cm measured against 5 said agree: the mat is drawn as it was laid."""
    said = of(scene.analysis, runway=0.05, support=0.05, mats=(Mat(number=-1, thickness_m=0.05),))  # type: ignore[attr-defined]

    assert drops.laid(_standing_on(said, -1, 0.046, 0.006))[-1] == 0.05


def test_a_board_is_no_mat(scene: object) -> None:
    """Boards rise by up to 7 mm: nothing is said of one."""
    plain = of(scene.analysis, runway=0.05, support=0.05, mats=())  # type: ignore[attr-defined]
    found = _standing_on(plain, 0, 0.007, 0.002)

    assert 0 not in drops.laid(found)
    assert not drops.mats_said_and_measured(found)
