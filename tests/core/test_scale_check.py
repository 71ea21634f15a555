"""Results say how their scale was checked; what says nothing is not given (TRAPS T47, T50)."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from penult.core.checks.scale import lane_doubt, scale_check
from penult.core.checks.withheld import without_vague
from penult.core.lane.board_size import board_seen
from penult.core.lane.fit import fit_lane
from penult.core.synthetic.invented import Form, trial
from penult.model.analysis import Analysis, Notice
from penult.model.calibration import LaneFile, LaneFit, Mark
from penult.model.measured import Measured, NotMeasured
from penult.model.trial import Said

TALL, UNSEEN = Measured(value=1.8, u95=0.05), NotMeasured(reason="nobody")


def result(visible: float | None = None, *codes: str) -> Analysis:
    one = trial(np.random.default_rng(1), Form(athlete="A1", kind="full approach"), Said()).analysis
    seen = {} if visible is None else {"smallest_visible_scale_error": visible}
    return replace(one, method={**one.method, **seen}, warnings=tuple(Notice(code=c, text=c) for c in codes))


def test_height_and_fall_say_what_they_could_have_shown() -> None:
    text = scale_check(result(0.09), TALL, 1.82)

    assert "was not checked (by the stated height only an error of 6 %" in text
    assert "--height" not in text
    assert "was checked by the free fall: an error of 4 %" in scale_check(result(0.04), UNSEEN, None)


def test_a_check_that_is_too_weak_counts_as_none_and_says_what_to_do() -> None:
    """A fall that would have shown an error of 20 % checks nothing that matters."""
    text = scale_check(result(0.2), UNSEEN, None)

    assert "was not checked" in text
    assert "20 %" in text
    assert "--height" in text
    assert "--measured" in text
    assert "%" not in scale_check(result(1.81), UNSEEN, None)  # what would have shown 181 % is no witness


@cache
def board(along_m: float, across_m: float, poles_by: float = 1.0, real: tuple[float, float] = (0.2, 1.22)) -> LaneFit:
    """A lane fitted to what a level camera 12 m aside sees of a board (`real`) and four poles, typed as is said here.

    The picture is a plain central projection, clicked to half a pixel.
    """
    rng = np.random.default_rng(7)

    def click(x_m: float, y_m: float, z_m: float) -> tuple[float, float]:
        away_m = 12.0 - z_m
        exact = np.array([960.0 + 1800.0 * (x_m + 3.0) / away_m, 540.0 + 1800.0 * (1.4 - y_m) / away_m])
        u, v = exact + rng.normal(0.0, 0.5, 2)
        return float(u), float(v)

    marks = []
    for name, back in (("back", 1.0), ("front", 0.0)):
        for side in (-0.5, 0.5):
            pixel = click(-back * real[0], 0.0, side * real[1])
            typed = (-back * along_m, 0.0, side * across_m)
            marks.append(Mark(name=f"board {name} {side:+}", pixel_px=pixel, runway_m=typed))
    for x_m in (-8.0, -5.0, -2.0, 1.5):
        for y_m in (0.0, 1.0, 2.0):
            typed = (poles_by * x_m, poles_by * y_m, 0.0)
            marks.append(Mark(name=f"pole {x_m} at {y_m}", pixel_px=click(x_m, y_m, 0.0), runway_m=typed))
    return fit_lane(LaneFile(image_size_px=(1920, 1080), marks=tuple(marks)))


@pytest.mark.parametrize("by", [0.9144, 0.94, 1.03, 1.06, 1.0936, 1.1])
def test_a_board_of_no_rule_withholds_what_the_lane_gives(by: float) -> None:
    """Board: 20 cm by 1.22 m (World Athletics, Technical Rules). In yards it is 0.219 by 1.334."""
    out = lane_doubt(result(), board(round(0.2 * by, 3), round(1.22 * by, 3), by), UNSEEN, None)

    assert out.warnings[0].code == "scale-doubted"
    assert ("yards" in out.warnings[0].text) == (1.06 < by < 1.13)
    assert not out.steps[-1].measures["step_length_m"]
    assert out.contacts[-1].measures["contact_time_s"]


@pytest.mark.parametrize(
    ("along_m", "across_m"), [(0.2, 1.22), (0.2, 1.21), (0.2, 1.2), (0.2, 1.25), (0.34, 1.22), (0.1, 1.22), (0.2, 1.0)]
)
def test_boards_of_the_rules_and_home_made_ones_raise_no_alarm(along_m: float, across_m: float) -> None:
    """Only a board that is wrong by one share in both directions speaks of the tape: makers do not build such ones."""
    one = result()

    assert lane_doubt(one, board(along_m, across_m, real=(along_m, across_m)), UNSEEN, None) == one


@pytest.mark.parametrize(("poles_by", "told"), [(1.0, False), (1.02, False), (1.0936, True), (0.9144, True)])
def test_poles_off_another_tape_are_told_by_the_board_in_the_picture(poles_by: float, *, told: bool) -> None:
    """The board is typed as the rules have it, the poles off a tape in yards (1959: 0.9144 m): both are in one picture."""
    fit = board(0.2, 1.22, poles_by)
    seen = board_seen(fit)

    assert seen is not None
    assert abs(seen[0] - (poles_by - 1.0)) <= 1.2 * seen[1]
    assert seen[1] < 0.05
    assert [w.code for w in lane_doubt(result(), fit, UNSEEN, None).warnings] == (["scale-doubted"] if told else [])
    assert "the take-off board in the picture" in scale_check(result(), UNSEEN, None, fit)


@pytest.mark.parametrize(("seen_m", "told"), [(2.10, False), (2.31, True), (1.10, False), (0.56, True)])
def test_nobody_is_as_tall_as_a_lane_in_other_units_makes_them(seen_m: float, *, told: bool) -> None:
    """An athlete of 1.85 m is 2.31 m on a lane that is a quarter too long, 0.56 m on one in metres typed for feet."""
    out = lane_doubt(result(), board(0.2, 1.22), Measured(value=seen_m, u95=0.06), None)

    assert bool(out.warnings) == told


def test_a_distance_measured_again_checks_or_contradicts_the_lane() -> None:
    odd, sound = board(0.206, 1.257), board(0.2, 1.22)
    agrees = replace(odd, lane=replace(odd.lane, measured_again=("-8 to 1.5 = 9.50",)))
    differs = replace(sound, lane=replace(sound.lane, measured_again=("-8 to 1.5 = 9.20",)))

    assert lane_doubt(result(), agrees, UNSEEN, None) == result()
    assert "checked by a distance measured again: an error of 1 %" in scale_check(result(), UNSEEN, None, agrees)
    assert lane_doubt(result(), differs, UNSEEN, None).warnings[0].code == "scale-doubted"


def test_a_height_beyond_three_sd_withholds_lengths_and_keeps_times() -> None:
    """Seen 1.80 +- 0.05 m. Stated 1.76 agrees, 1.74 is said (core.stature), 1.68 is beyond 1.5 u95."""
    lane, one = board(0.2, 1.22), result()
    kept, far = (lane_doubt(one, lane, TALL, stated) for stated in (1.74, 1.68))

    assert kept == one
    assert not far.steps[-1].measures["step_length_m"]
    assert far.contacts[-1].measures["contact_time_s"]


def test_what_was_not_checked_is_said() -> None:
    assert "not checked" in scale_check(result(), TALL, None)
    assert "not checked" in scale_check(result(0.09, "clock-doubted"), UNSEEN, 1.82)
    assert "doubted" in scale_check(result(0.09, "scale-doubted"), TALL, 1.82)


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
