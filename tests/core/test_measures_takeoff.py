"""Penultimate, take-off and checks against closed forms and published worked values (MEASURES.md section 4)."""

from __future__ import annotations

import dataclasses
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from penult.core.measures.takeoff import (
    LANDING_DROP_M,
    NO_TAKEOFF,
    TakeoffEvidence,
    check_measures,
    flight_distance_m,
    penultimate_measures,
    takeoff_measures,
)
from penult.model.measured import Measure, Measured, NotMeasured

Made = Any  # the class of tests/core/conftest.py


def value(measure: Measure) -> float:
    assert isinstance(measure, Measured)
    return measure.value


def why(measure: Measure) -> str:
    assert isinstance(measure, NotMeasured)
    return measure.reason


def leap(made: Made, velocity: tuple[float, float], approach: float = 10.0, drop_m: float = 0.55) -> TakeoffEvidence:
    return TakeoffEvidence(
        contact=made.contact(made.posture()),
        approach=made.flight((approach, 0.0)),
        flight=made.flight(velocity),
        landing_drop_m=made.drawn(drop_m),
    )


@pytest.mark.parametrize(
    ("vx", "vy", "drop_m", "time_s", "range_m", "angle_deg"),
    [(8.8, 3.4, 0.55, 0.829, 7.29, 21.1), (7.76, 2.93, 0.50, 0.736, 5.71, 20.7)],
    ids=["men's values", "women's values"],
)
def test_the_flight_relation_s_worked_values(
    made: Made, vx: float, vy: float, drop_m: float, time_s: float, range_m: float, angle_deg: float
) -> None:
    """Collected references, section 8 (computed there): time, range and angle of both sets; 20.7 deg Panoutsakopoulos 2021."""
    got = takeoff_measures(leap(made, (vx, vy), drop_m=drop_m), made.drawn(-0.05))

    assert value(got["flight_distance_m"]) == pytest.approx(range_m, abs=0.005)
    assert value(got["flight_distance_m"]) / vx == pytest.approx(time_s, abs=0.0005)
    assert value(got["takeoff_angle_deg"]) == pytest.approx(angle_deg, abs=0.05)
    # the mass centre is then just at the landing height: h + vy t - g t^2 / 2 = 0 (Newton)
    t = value(got["flight_distance_m"]) / vx
    assert drop_m + vy * t - 9.81 * t**2 / 2.0 == pytest.approx(0.0, abs=1e-9)


def test_the_flight_relation_s_published_sensitivities() -> None:
    """Collected references, section 8: dR/dvx 0.83 s, dR/dvy 1.54 s, dR/dh 1.86, at the men's values."""

    def range_m(vx: float, vy: float, h: float) -> float:
        return float(flight_distance_m(np.array([1.2]), np.array([[vx, vy]]), np.array([h]))[0])

    step = 1e-5
    assert (range_m(8.8 + step, 3.4, 0.55) - range_m(8.8, 3.4, 0.55)) / step == pytest.approx(0.83, abs=0.005)
    assert (range_m(8.8, 3.4 + step, 0.55) - range_m(8.8, 3.4, 0.55)) / step == pytest.approx(1.54, abs=0.005)
    assert (range_m(8.8, 3.4, 0.55 + step) - range_m(8.8, 3.4, 0.55)) / step == pytest.approx(1.86, abs=0.005)


@pytest.mark.parametrize(
    ("vx", "vy", "speed", "angle_deg"),
    [(7.76, 2.93, 8.3, 20.7), (8.10, 3.90, 8.99, 25.7), (2.1, 1.0, 2.326, 25.5), (3.6, 1.0, 3.736, 15.5)],
    ids=["Panoutsakopoulos 2021", "Coh 2017", "LIDA 4025576, ratio 2.1", "LIDA 4025576, ratio 3.6"],
)
def test_speed_and_angle_of_published_take_offs(
    made: Made, vx: float, vy: float, speed: float, angle_deg: float
) -> None:
    """Angle is atan2(vy, vx). Coh 2017 prints 24.1 deg beside speeds that give 25.7: the printed set is not consistent."""
    got = takeoff_measures(leap(made, (vx, vy)), made.drawn(-0.05))

    assert value(got["takeoff_speed_m_per_s"]) == pytest.approx(speed, abs=0.006)
    assert value(got["takeoff_angle_deg"]) == pytest.approx(angle_deg, abs=0.05)
    assert (value(got["takeoff_velocity_x_m_per_s"]), value(got["takeoff_velocity_y_m_per_s"])) == (vx, vy)


@pytest.mark.parametrize(("before", "after", "percent"), [(10.6, 8.8, 17.0), (9.5, 8.0, 15.8)])
def test_speed_lost_at_take_off(made: Made, before: float, after: float, percent: float) -> None:
    """Linthorne 2008, Table 24.1 (from memory): 10.6 -> 8.8 is 17 %, 9.5 -> 8.0 is 16 % (15.8). Positive = slower."""
    got = takeoff_measures(leap(made, (after, 3.2), approach=before), made.drawn(-0.05))

    assert value(got["approach_speed_m_per_s"]) == before
    assert value(got["speed_loss_m_per_s"]) == pytest.approx(before - after)
    assert value(got["speed_loss_percent"]) == pytest.approx(percent, abs=0.05)
    assert value(got["takeoff_height_m"]) == 1.1


def test_the_landing_s_spread_is_carried_in_full(made: Made) -> None:
    """u95 of the drop 0.15 m (MEASURES.md section 4) times dR/dh 1.86 gives 0.28 m, and nothing else is uncertain here."""
    mean, sd = LANDING_DROP_M
    drop = np.concatenate([[mean], mean + sd * np.random.default_rng(3).normal(size=5000)])
    flight = made.flight((8.8, 3.4))
    drawn_out = TakeoffEvidence(
        contact=made.contact(made.posture()),
        approach=None,
        flight=type(flight)(
            position_m=np.tile((0.3, 1.1), (5001, 1)),
            velocity_m_per_s=np.tile((8.8, 3.4), (5001, 1)),
            time_s=flight.time_s,
            height_m=flight.height_m,
        ),
        landing_drop_m=drop,
    )

    measure = takeoff_measures(drawn_out, None)["flight_distance_m"]

    assert isinstance(measure, Measured)
    assert (mean, 2.0 * sd) == (0.55, 0.15)
    assert measure.u95 == pytest.approx(1.86 * 0.15, rel=0.04)


@given(vx=st.floats(1.0, 11.0), vy=st.floats(0.0, 5.0), drop_m=st.floats(0.0, 1.2))
def test_every_range_lands_on_the_landing_height(vx: float, vy: float, drop_m: float) -> None:
    """Property (Newton): after R / vx seconds the mass centre has come down by the drop, never earlier than level flight."""
    range_m = float(flight_distance_m(np.array([1.1]), np.array([[vx, vy]]), np.array([drop_m]))[0])

    t = range_m / vx
    assert drop_m + vy * t - 9.81 * t**2 / 2.0 == pytest.approx(0.0, abs=1e-9)
    assert range_m >= 2.0 * vx * vy / 9.81 - 1e-9


def test_hip_drops_are_positive_downwards_and_span_what_they_say(made: Made) -> None:
    """A hip that is lowest at 0.930 in the third-last and 0.875 in the penultimate support dropped by 5.5 cm; to the take-off

    it counts from penultimate touchdown to the lowest of that support, its toe-off and the landing after the last flight."""
    third = made.contact(made.posture(), hip_lowest_m=made.drawn(0.930))
    down, off = made.posture(hip_m=(0.0, 0.913)), made.posture(hip_m=(0.5, 0.893))
    second = made.contact(down, off, hip_lowest_m=made.drawn(0.875))
    plant = made.contact(made.posture(hip_m=(0.0, 0.860)))

    got = penultimate_measures({-2: third, -1: second, 0: plant}, standing_hip_m=0.95)
    high = penultimate_measures({-2: second, -1: third, 0: made.contact(down)}, standing_hip_m=None)

    assert value(got["penultimate_hip_drop_m"]) == pytest.approx(0.055)
    assert value(got["penultimate_hip_drop_share"]) == pytest.approx(0.055 / 0.95)
    assert value(got["hip_drop_to_takeoff_m"]) == pytest.approx(0.913 - 0.860)
    assert value(high["penultimate_hip_drop_m"]) == pytest.approx(-0.055)
    assert "--height" in why(high["penultimate_hip_drop_share"])


def test_a_mat_under_the_third_last_foot_is_not_the_athletes_drop(made: Made) -> None:
    """From 0.98 on a mat of 5 cm to 0.885 on the runway: 9.5 cm above the runway, 4.5 above what each foot stood on (by hand).

    Where a surface was not seen, there is no drop above it. Fails if the mat's sign is turned or it is taken as 0."""
    mat = made.event(support_height_m=0.05)
    unseen = made.event(support_height_m=np.nan)
    third = made.contact(made.posture(), event=mat, hip_lowest_m=made.drawn(0.980))
    second = made.contact(made.posture(), hip_lowest_m=made.drawn(0.885))
    lost = made.contact(made.posture(), event=unseen, hip_lowest_m=made.drawn(0.980))

    got = penultimate_measures({-2: third, -1: second}, None)
    without = penultimate_measures({-2: lost, -1: second}, None)

    assert value(got["penultimate_hip_drop_m"]) == pytest.approx(0.095)
    assert value(got["penultimate_hip_drop_above_support_m"]) == pytest.approx(0.045)
    assert value(without["penultimate_hip_drop_m"]) == pytest.approx(0.095)
    assert "stood on" in why(without["penultimate_hip_drop_above_support_m"])


def test_hip_drops_without_their_contacts_say_which_are_missing(made: Made) -> None:
    """A clip that shows only the last contacts, or in which the hips were lost. Fails if a drop is taken from other contacts."""
    sound = made.contact(made.posture())
    lost = made.contact(made.posture(), hip_lowest_m=made.drawn(np.nan))

    without_third = penultimate_measures({-1: sound, 0: sound}, 0.95)
    without_last = penultimate_measures({-2: sound, -1: sound}, 0.95)
    hips_lost = penultimate_measures({-2: lost, -1: sound, 0: sound}, 0.95)

    assert "third-last and penultimate" in why(without_third["penultimate_hip_drop_m"])
    assert "third-last and penultimate" in why(without_third["penultimate_hip_drop_share"])
    assert without_third["hip_drop_to_takeoff_m"]
    assert "last two" in why(without_last["hip_drop_to_takeoff_m"])
    assert without_last["penultimate_hip_drop_m"]
    assert "hips were lost" in why(hips_lost["penultimate_hip_drop_m"])


def test_the_toe_is_behind_the_line_with_plus(made: Made) -> None:
    """6 cm behind the line: +0.06; a foul of 3 cm: -0.03; no contact before the line: said so."""
    jump = leap(made, (8.8, 3.4))

    assert value(takeoff_measures(jump, made.drawn(-0.06))["toe_to_board_m"]) == pytest.approx(0.06)
    assert value(takeoff_measures(jump, made.drawn(0.03))["toe_to_board_m"]) == pytest.approx(-0.03)
    assert "before the line" in why(takeoff_measures(None, None)["toe_to_board_m"])


def test_a_run_through_gives_the_toe_and_no_take_off(made: Made) -> None:
    """MEASURES.md section 1: of `takeoff` only `toe_to_board_m`, the rest 'no take-off in the clip'."""
    got = takeoff_measures(None, made.drawn(-0.4))

    assert value(got.pop("toe_to_board_m")) == pytest.approx(0.4)
    assert set(got) == {
        "approach_speed_m_per_s", "takeoff_velocity_x_m_per_s", "takeoff_velocity_y_m_per_s", "takeoff_speed_m_per_s",
        "takeoff_angle_deg", "speed_loss_m_per_s", "speed_loss_percent", "takeoff_height_m", "flight_distance_m",
    }  # fmt: skip
    assert {why(m) for m in got.values()} == {NO_TAKEOFF}


def test_a_missing_approach_costs_the_loss_and_a_missing_flight_the_take_off(made: Made) -> None:
    """Each reason is that of the flight that is missing. Fails if a lost approach takes the take-off velocity with it."""
    whole = leap(made, (8.8, 3.4))
    no_approach = TakeoffEvidence(
        contact=whole.contact, approach=None, flight=whole.flight, landing_drop_m=whole.landing_drop_m
    )
    nowhere = made.flight((np.nan, np.nan), np.nan, reason="the athlete leaves the picture")
    no_flight = TakeoffEvidence(
        contact=whole.contact, approach=whole.approach, flight=nowhere, landing_drop_m=whole.landing_drop_m
    )

    first, second = (takeoff_measures(t, made.drawn(-0.1)) for t in (no_approach, no_flight))

    for name in ("approach_speed_m_per_s", "speed_loss_m_per_s", "speed_loss_percent"):
        assert why(first[name]) == "the step before take-off is not in the clip"
    assert first["takeoff_angle_deg"]
    assert second["approach_speed_m_per_s"]
    for name in ("takeoff_angle_deg", "takeoff_height_m", "flight_distance_m", "speed_loss_m_per_s"):
        assert why(second[name]) == "the athlete leaves the picture"


def test_free_fall_of_exact_flights_is_g(made: Made) -> None:
    """Closed form: parabolas of g = 9.81, each with its own start and speed, give 9.81; no flight gives a reason."""
    flights = [made.flight((9.0, 0.6), 0.98), made.flight((9.1, 0.4), 0.93), made.flight((8.3, 3.2), 1.1)]

    for takeoff in (None, 2):
        assert value(check_measures(flights, takeoff)["free_fall_m_per_s2"]) == pytest.approx(9.81, abs=1e-6)
    assert "no flight" in why(check_measures([], None)["free_fall_m_per_s2"])


def test_last_flight_of_a_run_through_is_one_running_flight_among_others(made: Made) -> None:
    """Three flights at 9.81 and a last one that seems to fall at 8.5: taken for a leap it would decide nearly alone."""
    flights = [made.flight((9.0, 0.6)), made.flight((9.1, 0.4)), made.flight((9.0, 0.5)), made.flight((9.0, 0.6))]
    slow = dataclasses.replace(flights[3], height_m=flights[3].height_m + (9.81 - 8.5) * flights[3].time_s ** 2 / 2.0)

    through, leapt = (value(check_measures([*flights[:3], slow], t)["free_fall_m_per_s2"]) for t in (None, 3))

    assert through >= 9.81 - (9.81 - 8.5) / 4.0  # an equal share of it at most, less for being the odd one out
    assert leapt < through - 0.3


def test_the_drop_to_take_off_takes_the_lowest_of_support_toe_off_and_landing(made: Made) -> None:
    """Worked by hand, 0.913 m at touchdown: each of the three is the lowest once, and each alone decides."""
    down = made.posture(hip_m=(0.0, 0.913))
    for lowest_m, off_m, landing_m in ((0.861, 0.890, 0.880), (0.875, 0.842, 0.860), (0.880, 0.871, 0.853)):
        second = made.contact(down, made.posture(hip_m=(0.5, off_m)), hip_lowest_m=made.drawn(lowest_m))
        plant = made.contact(made.posture(hip_m=(0.0, landing_m)))

        got = penultimate_measures({-1: second, 0: plant}, standing_hip_m=None)

        assert value(got["hip_drop_to_takeoff_m"]) == pytest.approx(0.913 - min(lowest_m, off_m, landing_m))
