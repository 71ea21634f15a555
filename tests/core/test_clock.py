"""Wrong clocks are named with the likely true rate, right ones raise nothing, and a wrong scale is no clock."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from penult.core.checks.clock import apply, judge, likely_slowness
from penult.core.lane.fit import fit_lane
from penult.core.pipeline import locate, measure
from penult.core.synthetic.film import ShoeSpread, clip_of, film, frame_times_s, lane_file, shoes
from penult.core.synthetic.run import Runner
from penult.model.analysis import Analysis, ClipRecord, Contact, Run, Step
from penult.model.calibration import Camera, LaneFile
from penult.model.measured import Measure, Measured, NotMeasured
from penult.model.settings import Settings

NOTHING = NotMeasured(reason="no flight")
WRONG = [8.0, 4.0, 2.0, 0.5, 0.25]
"""Times too slow: 240 Hz played at 30, 60, 120; 120 and 60 Hz taken for 240."""


def fall(value: float, u95: float) -> Measured:
    return Measured(value=value, u95=u95)


@pytest.mark.parametrize("slow_by", WRONG)
@pytest.mark.parametrize("step_rate_hz", [3.6, 4.3, 5.0])
def test_a_wrong_rate_is_named_by_fall_and_step_rate_together(slow_by: float, step_rate_hz: float) -> None:
    """Closed form: on a clock n times too slow g seems n^2 times smaller, the step rate n times (MEASURES.md section 6)."""
    verdict = judge(fall(9.81 / slow_by**2, 0.5 / slow_by**2), step_rate_hz / slow_by)

    assert verdict.cause == "clock"
    assert verdict.slow_by == slow_by


@pytest.mark.parametrize(("slow_by", "step_rate_hz"), [(8.0, 3.5), (2.0, 4.0), (0.5, 4.0), (0.25, 4.2)])
def test_the_step_rate_alone_names_a_wrong_rate_where_only_one_ratio_is_possible(
    slow_by: float, step_rate_hz: float
) -> None:
    """A clip without a flight to fit. Fails if a missing free fall hides an absurd step rate."""
    verdict = judge(NOTHING, step_rate_hz / slow_by)

    assert (verdict.cause, verdict.slow_by) == ("clock", slow_by)


@given(rate_hz=st.floats(2.2, 5.6), off=st.floats(-1.4, 1.4), u95=st.floats(0.1, 1.5))
def test_a_right_clock_raises_nothing(rate_hz: float, off: float, u95: float) -> None:
    """Property: any usual step rate with a free fall within 1.5 u95 of 9.81 (MEASURES.md section 4)."""
    verdict = judge(fall(9.81 + off * u95, u95), rate_hz)

    assert verdict.cause == ""
    assert verdict.slow_by == 1.0
    assert verdict.visible_scale_error == pytest.approx(2.5 * u95 / 9.81)
    assert likely_slowness(rate_hz, 9.81 + off * u95) == 1.0


def test_no_ratio_of_usual_rates_is_a_scale_not_a_clock() -> None:
    """g is linear in the length scale: 12 % too long falls with 10.99. A ratio of 1.06 is no ratio of capture rates."""
    assert judge(fall(10.99, 0.5), 4.2).cause == "scale"
    assert judge(fall(8.6, 0.5), 4.2).cause == "scale"
    assert judge(fall(8.6, 1.0), 4.2).cause == ""  # within 1.5 u95
    assert judge(fall(-1.0, 0.5), 4.2).cause == "scale"  # nonsense is no clock
    assert judge(NOTHING, float("nan")).cause == ""
    assert likely_slowness(0.01, float("nan")) == 1.0  # no ratio makes that a run


def test_a_fall_that_fits_outweighs_the_step_rate() -> None:
    """A jog at 2.0 steps a second that falls with 9.5 m/s2 (TRAPS T45); the fall of a clip twice too slow is a quarter of it."""
    assert judge(fall(9.5, 0.6), 2.0).cause == ""
    assert judge(fall(9.5 / 4.0, 0.15), 2.0).slow_by == 2.0


def test_an_explicit_rate_is_never_overruled_by_the_step_rate_alone() -> None:
    """MEASURES.md section 6. Fails if bounds without a fitted fall are doubted whatever the coach says."""
    assert judge(NOTHING, 2.0).cause == "clock"
    assert judge(NOTHING, 2.0, is_stated=True).cause == ""
    assert judge(fall(9.0, 6.0), 2.0, is_stated=True).cause == ""
    assert judge(fall(9.81 * 4.0, 0.6), 8.0, is_stated=True).slow_by == 0.5  # the fall does


@pytest.mark.parametrize(("rate_hz", "likely_hz"), [(250.0, 240.0), (230.4, 240.0), (125.0, 120.0), (216.0, 240.0)])
@pytest.mark.parametrize("u95", [0.3, 0.9, 3.0])
def test_a_rate_that_no_camera_has_is_a_clock_and_never_the_tape(rate_hz: float, likely_hz: float, u95: float) -> None:
    """Closed form: retimed, the body falls with 9.81 (rate / true rate)^2; whether or not the fall can tell."""
    verdict = judge(fall(9.81 * (rate_hz / likely_hz) ** 2, u95), 4.1, rate_hz=rate_hz)

    assert verdict.cause == "clock"
    assert verdict.slow_by * rate_hz == pytest.approx(likely_hz)
    assert judge(NOTHING, 4.1, rate_hz=rate_hz).cause == "clock"


def test_an_unusual_rate_that_the_fall_confirms_is_believed() -> None:
    """A camera that does film at 250: at 240 the body would fall with 9.04."""
    assert judge(fall(9.81, 0.2), 4.1, rate_hz=250.0).cause == ""
    assert judge(fall(9.81, 0.2), 4.1, rate_hz=240.0).cause == ""


def test_a_retimed_run_names_the_clock_and_keeps_its_lengths(runner: Runner, camera: Camera) -> None:
    """240 Hz retimed from 24 to 25: fails if times 4 % wrong stay (TRAPS T43), or lengths are blamed."""
    lane = lane_file(camera, 0.7, np.random.default_rng(1))

    result = analysed(runner, camera, lane, slow_by=24 / 25)

    (notice,) = result.warnings
    assert notice.code == "clock-doubted"
    assert "--capture-rate 240" in notice.text
    assert not result.contacts[-1].measures["contact_time_s"]
    assert result.steps[-1].measures["step_length_m"]


def made(rate_hz: Measure, free_fall: Measure) -> Analysis:
    some = Measured(value=1.0, u95=0.1)
    contact = dict.fromkeys(("contact_time_s", "knee_angle_min_deg"), some)
    step = dict.fromkeys(("step_speed_m_per_s", "step_length_m", "step_time_ratio"), some)
    takeoff = (
        "approach_speed_m_per_s",
        "takeoff_velocity_x_m_per_s",
        "takeoff_velocity_y_m_per_s",
        "takeoff_speed_m_per_s",
        "takeoff_angle_deg",
        "takeoff_height_m",
        "flight_distance_m",
        "speed_loss_m_per_s",
        "speed_loss_percent",
        "toe_to_board_m",
    )
    return Analysis(
        clip=ClipRecord(
            file="a.mp4",
            sha256="0",
            frames=9,
            capture_rate_hz=30.0,
            capture_rate_from="frame times",
            first_frame_s=0.0,
        ),
        run=Run(direction="left to right", kind="", has_takeoff=True),
        contacts=(Contact(number=0, foot="left", measures=contact),),
        steps=(Step(number=0, measures={**step, "step_rate_hz": rate_hz}),),
        penultimate={"penultimate_hip_drop_m": some},
        takeoff=dict.fromkeys(takeoff, some),
        checks={"free_fall_m_per_s2": free_fall},
        warnings=(),
    )


def test_a_doubted_clock_withholds_what_needs_it_and_nothing_else() -> None:
    """MEASURES.md section 6: times, rates, speeds, take-off velocity, angle, height and flight distance; lengths stay."""
    out = apply(made(Measured(value=4.3, u95=0.1), fall(9.8, 0.5)), time_scale=8.0)

    parts = (out.contacts[0].measures, out.steps[0].measures, out.penultimate, out.takeoff)
    held = {n for part in parts for n, m in part.items() if not m}
    assert held == {
        "contact_time_s",
        "step_rate_hz",
        "step_speed_m_per_s",
        *(n for n in out.takeoff if n != "toe_to_board_m"),
    }
    assert out.penultimate["penultimate_hip_drop_m"]
    (notice,) = out.warnings
    assert notice.code == "clock-doubted"
    assert "8 times too slow" in notice.text
    assert "--capture-rate 240" in notice.text
    measure = out.contacts[0].measures["contact_time_s"]
    assert isinstance(measure, NotMeasured)
    assert "--capture-rate 240" in measure.reason
    stated = out.checks["free_fall_m_per_s2"]
    assert isinstance(stated, Measured)
    assert stated.value == pytest.approx(9.8 / 64.0)  # on the clip's own clock, 64 times too slow


def test_a_clip_of_one_contact_is_told_without_a_step_rate() -> None:
    """Only the fall speaks. Fails if a missing step rate is printed as a number."""
    out = apply(made(NotMeasured(reason="one contact"), fall(9.8 / 16.0, 0.02)), time_scale=1.0)

    assert [w.code for w in out.warnings] == ["clock-doubted"]
    assert "nan" not in out.warnings[0].text
    assert "--capture-rate 120" in out.warnings[0].text


def analysed(runner: Runner, camera: Camera, lane: LaneFile, slow_by: float = 1.0, rate_hz: float = 240.0) -> Analysis:
    """Measure a synthetic run whose clip plays that many times too slowly."""
    rng = np.random.default_rng(11)
    right_s = frame_times_s(runner, rate_hz)
    time_s = right_s * slow_by
    track = dataclasses.replace(film(runner, camera, right_s), time_s=time_s)
    fit = fit_lane(lane)
    found = locate(track, (fit.camera,), camera.image_size_px, Settings())
    assert len(found.supports) == len(runner.shown())
    seen = shoes(list(runner.shown().values()), ShoeSpread(), rng)
    scale = slow_by / found.time_scale  # shoes are looked at on the corrected clock
    times = ("touchdown_s", "touchdown_sd_s", "toe_off_s", "toe_off_sd_s")
    seen = tuple(dataclasses.replace(s, **{n: getattr(s, n) * scale for n in times}) for s in seen)
    return measure(found, seen, clip_of(time_s, camera), fit, Settings(), {}).analysis


@pytest.mark.parametrize("slow_by", [8.0, 2.0, 0.5])
def test_a_whole_run_on_a_wrong_clock(runner: Runner, camera: Camera, slow_by: float) -> None:
    """From joints to warning: the true rate is named, lengths and angles are those of the right clock."""
    lane = lane_file(camera, 0.7, np.random.default_rng(1))
    right, wrong = analysed(runner, camera, lane), analysed(runner, camera, lane, slow_by)

    (notice,) = [w for w in wrong.warnings if w.code == "clock-doubted"]
    assert "--capture-rate 240" in notice.text
    for name in ("toe_x_m", "hip_height_lowest_m", "leg_angle_touchdown_deg", "knee_angle_min_deg"):
        a, b = (r.contacts[-1].measures[name] for r in (right, wrong))
        assert isinstance(a, Measured)
        assert isinstance(b, Measured)
        assert b.value == pytest.approx(a.value, abs=0.25 * a.u95)
    assert not wrong.takeoff["takeoff_angle_deg"]
    assert wrong.penultimate["penultimate_hip_drop_m"]


@pytest.mark.parametrize("rate_hz", [240.0, 120.0, 60.0, 59.94, 30.0])
def test_a_whole_run_on_a_right_clock_raises_nothing(runner: Runner, camera: Camera, rate_hz: float) -> None:
    """Fails if a usual frame rate, with fewer frames a flight, is doubted."""
    result = analysed(runner, camera, lane_file(camera, 0.7, np.random.default_rng(2)), rate_hz=rate_hz)

    assert {notice.code for notice in result.warnings} <= {
        "few-frames"
    }  # which is said of any clip of 30 Hz, and doubts no clock
    assert result.warnings == () or rate_hz < 50.0


def test_a_wrong_scale_is_named_as_such(runner: Runner, camera: Camera) -> None:
    """Marks taped 20 % too far apart (in all directions) make the body fall with 11.8: lengths too long, clock believed."""
    lane = lane_file(camera, 0.3, np.random.default_rng(3))
    long = dataclasses.replace(
        lane,
        marks=tuple(
            dataclasses.replace(m, runway_m=(1.2 * m.runway_m[0], 1.2 * m.runway_m[1], 1.2 * m.runway_m[2]))
            for m in lane.marks
        ),
    )

    result = analysed(runner, camera, long)

    (notice,) = result.warnings
    assert notice.code == "scale-doubted"
    assert "too long" in notice.text
    assert not result.takeoff["takeoff_velocity_y_m_per_s"]  # lengths that are known to be wrong are not given
    assert not result.contacts[-1].measures["toe_x_m"]
    assert result.contacts[-1].measures["contact_time_s"]


@pytest.mark.parametrize(("off_u95", "cause"), [(1.45, ""), (1.6, "scale"), (-1.45, ""), (-1.6, "scale")])
def test_the_alarm_is_raised_from_one_and_a_half_intervals_on(off_u95: float, cause: str) -> None:
    """MEASURES.md section 4, free fall: alarm if it is more than 1.5 u95 from 9.81; 0.6 m/s2 here, no ratio of usual rates."""
    assert judge(fall(9.81 + off_u95 * 0.6, 0.6), 4.3).cause == cause


@pytest.mark.parametrize(("step_rate_hz", "slow_by"), [(5.5, 1.0), (6.0, 0.5), (2.3, 1.0), (1.9, 2.0)])
def test_step_rates_that_nobody_runs_at_name_the_clock(step_rate_hz: float, slow_by: float) -> None:
    """Sprinters reach 5.0 to 5.4 steps a second, slow drills about 2.5 (common practice): 6.0 is played twice too fast."""
    assert likely_slowness(step_rate_hz, float("nan")) == slow_by
