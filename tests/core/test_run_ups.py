"""Many run-ups: what is put together, speeds between places, equal speed, and what a reader is told."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from penult.core.clips.equal_speed import clear_together, equal_speed_difference
from penult.core.clips.run_ups import run_ups, stride_count
from penult.core.measures.zones import course_of, run_up_measures, zone_speed
from penult.core.synthetic.invented import Form, trial
from penult.errors import InputError
from penult.model import catalogue
from penult.model.analysis import Analysis, Contact, Step
from penult.model.comparison import Interval
from penult.model.measured import Measured, NotMeasured
from penult.model.trial import Said, Trial
from penult.outputs.pages.run_ups import run_ups_csv


def sure(value: float, u95: float = 0.01) -> Measured:
    return Measured(value=value, u95=u95)


def runner(toes_m: Sequence[float], speed: float, shift_m: float = 0.0, file: str = "a.mp4") -> Trial:
    """A run at one speed: 0.10 s contacts, the rest of each step in flight, the mass centre 0.4 m behind every touchdown."""
    made = trial(np.random.default_rng(0), Form(athlete="A1", kind="full approach"), Said(), file=file)
    numbers = range(1 - len(toes_m), 1)
    toes = [x + shift_m for x in toes_m]
    times = [(x - toes[0]) / speed for x in toes]
    contacts = tuple(
        Contact(
            number=n,
            foot="left" if n % 2 else "right",
            measures={
                "touchdown_s": sure(t),
                "toe_off_s": sure(t + 0.1),
                "contact_time_s": sure(0.1),
                "toe_x_m": sure(x),
                "touchdown_distance_mass_centre_m": sure(0.4),
            },
        )
        for n, t, x in zip(numbers, times, toes, strict=True)
    )
    steps = tuple(
        Step(
            number=n,
            measures={
                "step_length_m": sure(b - a),
                "flight_time_s": sure((b - a) / speed - 0.1),
                "step_speed_m_per_s": sure(speed),
            },
        )
        for n, a, b in zip(list(numbers)[1:], toes[:-1], toes[1:], strict=True)
    )
    analysis = replace(made.analysis, contacts=contacts, steps=steps, takeoff={"toe_to_board_m": sure(-toes[-1])})
    return replace(made, analysis=analysis)


EVEN = [-12.1, -10.1, -8.1, -6.1, -4.1, -2.1, -0.1]


def test_a_runner_at_eight_metres_a_second_is_so_between_any_places() -> None:
    course = course_of(runner(EVEN, 8.0).analysis)

    found = zone_speed(course, -11.0, -6.0)

    assert isinstance(found, Measured)
    assert found.value == pytest.approx(8.0, abs=1e-9)


def test_a_zone_that_the_clip_does_not_show_is_not_measured() -> None:
    found = zone_speed(course_of(runner(EVEN, 8.0).analysis), -20.0, -11.0)

    assert isinstance(found, NotMeasured)
    assert "-12.5 to -0.5 m" in found.reason


def test_gates_are_read_beside_the_film() -> None:
    """5 m in 0.625 s are 8 m/s by the gate as by the film."""
    runs = run_ups("A1", [runner(EVEN, 8.0)], gates={"a.mp4": [(-11.0, 3.0), (-6.0, 3.625)]})

    assert runs.splits[0].gate[0] == pytest.approx(8.0)
    assert runs.splits[0].gate[1] is None


def test_a_run_up_that_is_seen_from_its_first_steps_has_a_stride_count() -> None:
    run = runner(EVEN, 8.0).analysis
    slow = tuple(replace(s, measures={**s.measures, "step_speed_m_per_s": sure(3.0)}) for s in run.steps[:1])

    assert stride_count(replace(run, steps=(*slow, *run.steps[1:]))) == 7
    assert isinstance(stride_count(run), NotMeasured)


def test_a_steady_shift_of_the_whole_run_up_is_scatter_without_steering() -> None:
    """Six runs that differ only by where they begin: the same scatter at every contact, nobody steers."""
    shifts = [-0.3, 0.3, -0.1, 0.2, 0.1, -0.2]
    trials = [runner(EVEN, 8.0, s, f"{i}.mp4") for i, s in enumerate(shifts)]

    runs = run_ups("A1", trials)

    assert isinstance(runs.steering, NotMeasured)
    assert {s.runs for s in runs.scatter} == {6}
    assert all(s.sd_m.value == pytest.approx(np.std(shifts, ddof=1), abs=1e-4) for s in runs.scatter if s.sd_m)


def test_who_makes_up_for_the_error_in_the_last_step_is_found_out() -> None:
    """Toes err by the same amount up to -1 and hardly at all at the board: steering from -1 on, all by the last flight."""
    rng = np.random.default_rng(2)
    errors = [-0.3, 0.3, -0.1, 0.2, 0.1, -0.2, 0.25]
    trials = []
    for i, e in enumerate(errors):
        toes = [x + e + rng.normal(0.0, 0.004) for x in EVEN[:-1]] + [EVEN[-1] + 0.05 * e]
        trials.append(runner(toes, 8.0, file=f"{i}.mp4"))

    runs = run_ups("A1", trials)

    assert runs.steering
    assert runs.steering.from_number == -1
    assert isinstance(runs.shares, tuple)
    assert runs.shares[-1].share.value == pytest.approx(1.0, abs=0.01)
    assert runs.shares[-1].flight is not None
    assert runs.shares[-1].flight.value == pytest.approx(1.0, abs=0.05)


def test_run_ups_of_two_athletes_are_refused() -> None:
    one = runner(EVEN, 8.0)
    other: Analysis = replace(one.analysis, run=replace(one.analysis.run, athlete="A2"))

    with pytest.raises(InputError, match="2 athletes"):
        run_ups("A1", [one, replace(one, analysis=other)])


def test_a_difference_that_is_speed_alone_vanishes_at_equal_speed() -> None:
    """Step length 0.25 s times speed in both kinds: the groups differ, at equal speed nothing is left."""
    first = [(v, 0.25 * v) for v in (7.0, 7.4, 7.9, 8.3)]
    second = [(v, 0.25 * v + 0.1) for v in (7.8, 8.2, 8.6, 9.0)]

    found = equal_speed_difference(first, second)

    assert isinstance(found, Interval)
    assert found.value == pytest.approx(0.1, abs=1e-9)


def test_the_interval_at_equal_speed_holds_the_truth() -> None:
    """Analysis of covariance on 1,000 made-up pairs of groups: 95 % inside, to three standard deviations of the count."""
    rng = np.random.default_rng(3)
    inside = []
    for _ in range(1000):
        groups = []
        for mean, extra in ((8.0, 0.0), (7.8, 0.03)):
            speed = rng.normal(mean, 0.2, 5)
            groups.append([(s, 2.0 + 0.2 * s + extra + rng.normal(0.0, 0.02)) for s in speed])
        found = equal_speed_difference(*groups)
        if isinstance(found, Interval):
            inside.append(found.low <= 0.03 <= found.high)

    assert 0.93 <= np.mean(inside) <= 0.97


def test_kinds_without_a_common_speed_are_not_compared() -> None:
    found = equal_speed_difference([(7.0 + i / 10, 1.0 + i) for i in range(3)], [(9.0 + i / 10, 2.0) for i in range(3)])

    assert isinstance(found, NotMeasured)
    assert "no speed in common" in found.reason


def test_differences_are_judged_together_as_benjamini_and_hochberg_do() -> None:
    """The same verdicts as scipy's adjusted probabilities."""
    rng = np.random.default_rng(4)
    intervals = [
        Interval(value=v, half_width=0.02, freedom=6, how="") for v in (*rng.normal(0.0, 0.01, 10), 0.06, -0.05, 0.03)
    ]
    unit = stats.t.ppf(0.975, 6)
    chances = [2.0 * stats.t.sf(abs(i.value) * unit / 0.02, 6) for i in intervals]

    assert clear_together(intervals) == tuple(stats.false_discovery_control(chances) <= 0.05)


def test_like_run_ups_stand_day_by_day() -> None:
    """Two days of three runs: mean and t interval by hand (2, 4, 6 cm: 4 +- 4.303 x 2 / sqrt 3 = 4.97 cm), SD 2 cm."""
    shifts = [-0.02, 0.0, 0.02]
    trials = []
    for month, more in ((3, 0.0), (6, 0.1)):
        for i, s in enumerate(shifts):
            one = runner(EVEN, 8.0, s - more + 0.06, f"{month}{i}.mp4")
            trials.append(replace(one, said=replace(one.said, date=f"2026-0{month}-10")))

    days = run_ups("A1", trials).days

    assert [(d.date, d.runs) for d in days] == [("2026-03-10", 3), ("2026-06-10", 3)]
    board = days[0].to_board_m
    assert isinstance(board, Interval)
    assert board.value == pytest.approx(0.04, abs=1e-9)
    assert board.half_width == pytest.approx(0.0497, abs=1e-4)
    assert all(sd.value == pytest.approx(0.02, abs=2e-3) for _, sd in days[1].scatter_m)
    assert run_ups("A1", trials[:3]).days == ()


def test_every_result_carries_the_speeds_of_the_usual_zones_each_with_its_row() -> None:
    analysis = runner(EVEN, 8.0).analysis

    found = run_up_measures(analysis, has_board=True)

    for name in ("zone_speed_11_to_6_m_per_s", "zone_speed_6_to_1_m_per_s"):
        speed = found[name]
        assert isinstance(speed, Measured)
        assert speed.value == pytest.approx(8.0, abs=1e-9)
    assert isinstance(found["stride_count"], NotMeasured)
    assert set(found) == set(catalogue.names("run_up"))
    assert not any(v for n, v in run_up_measures(analysis, has_board=False).items() if n.startswith("zone"))


def test_every_zone_that_was_asked_for_is_in_the_table() -> None:
    zones = [(-11.0, -6.0), (-6.0, -1.0), (-9.0, -3.0)]

    table = run_ups_csv(run_ups("A1", [runner(EVEN, 8.0)], zones_m=zones))["run_ups.csv"].decode()

    assert "zone_speed_m_per_s_-9_to_-3_m" in table.splitlines()[0]
