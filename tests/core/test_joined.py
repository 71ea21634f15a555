"""Speeds of neighbouring flights and the way between them: against the closed form of two estimates of one mean."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from penult.core.measures.evidence import Event, FlightEvidence
from penult.core.measures.joined_speeds import joined

DRAWS, HALF_S, SUPPORT_S = 4001, 0.06, 0.10
SD_M_PER_S = 0.15
DIP_M_PER_S = (0.15, 0.3)
"""A running support is slower than the flights around it by half of what braking takes away, 2 to 5 % of 9 m/s; its SD wide on
purpose. Written down here, so that another size or sign in the product shows."""


def _run(errors_m_per_s: tuple[float, ...], sd_m_per_s: float = SD_M_PER_S) -> tuple[list[FlightEvidence], list[Event]]:
    """Flights at 9 m/s of twice HALF_S, middles exact, speeds off as said and drawn with that SD; supports dip as expected."""
    rng = np.random.default_rng(6)
    flights, events = [], []
    step_m = 9.0 * (2.0 * HALF_S + SUPPORT_S) - DIP_M_PER_S[0] * SUPPORT_S
    for i, error in enumerate(errors_m_per_s):
        start_s = i * (2.0 * HALF_S + SUPPORT_S)
        speed = np.concatenate([[9.0 + error], 9.0 + error + sd_m_per_s * rng.normal(size=DRAWS - 1)])
        at = np.concatenate([[0.0], 0.002 * rng.normal(size=DRAWS - 1)])  # toe-offs are known to 2 ms
        middle_m = i * step_m + 9.0 * HALF_S
        position = np.stack([middle_m - speed * (HALF_S - at), np.full(DRAWS, 1.0)], axis=1)
        flights.append(
            FlightEvidence(
                position_m=position,
                velocity_m_per_s=np.stack([speed, np.full(DRAWS, 0.6)], axis=1),
                time_s=np.linspace(0.0, 2.0 * HALF_S, 25),
                height_m=np.ones((DRAWS, 25)),
            )
        )
        events.append(
            Event(
                foot="left" if i % 2 else "right",
                touchdown_s=np.full(DRAWS, start_s - SUPPORT_S),
                toe_off_s=start_s + at,
                toe_x_m=np.zeros(DRAWS),
                support_height_m=np.zeros(DRAWS),
                foot_angle_deg=np.zeros(DRAWS),
            )
        )
    return flights, events


def _speeds(flights: list[FlightEvidence]) -> np.ndarray:
    return np.array([f.velocity_m_per_s[0, 0] for f in flights])


def test_the_way_takes_away_what_two_speeds_have_in_common() -> None:
    """Weighted mean of two estimates of the mean speed: 0.15 / sqrt 2 from the flights, 0.2 x 0.10 / 0.22 m/s from the way.

    What sets one flight against the other is not seen by the way between them and stays.
    """
    flights_sd, way_sd = SD_M_PER_S / np.sqrt(2.0), DIP_M_PER_S[1] * SUPPORT_S / (2.0 * HALF_S + SUPPORT_S)
    left = way_sd**2 / (way_sd**2 + flights_sd**2)

    both = joined(*_run((0.2, 0.2)), None)
    apart = joined(*_run((0.2, -0.2)), None)

    assert _speeds(both) - 9.0 == pytest.approx([0.2 * left] * 2, abs=0.01)
    assert _speeds(apart) - 9.0 == pytest.approx([0.2, -0.2], abs=0.01)
    mean = sum(f.velocity_m_per_s[1:, 0] for f in both) / 2.0
    assert np.std(mean) == pytest.approx(way_sd * flights_sd / np.hypot(way_sd, flights_sd), rel=0.05)


def test_sure_speeds_stay_and_the_middle_of_a_flight_does_not_move() -> None:
    """Speeds known to 1 cm/s are left alone; a changed speed turns the way about the flight's middle."""
    sure, events = _run((0.2, 0.2), sd_m_per_s=0.01)
    vague, _ = _run((0.2, 0.2))

    assert _speeds(joined(sure, events, None)) == pytest.approx(_speeds(sure), abs=0.005)
    for old, new in zip(vague, joined(vague, events, None), strict=True):
        was, now = (f.position_m[0, 0] + f.velocity_m_per_s[0, 0] * HALF_S for f in (old, new))
        assert now == pytest.approx(was, abs=1e-9)
        assert np.array_equal(old.velocity_m_per_s[:, 1], new.velocity_m_per_s[:, 1])


def test_the_leap_and_flights_without_a_neighbour_stay() -> None:
    """The take-off takes more speed than a running support; a flight that is missing breaks the chain."""
    flights, events = _run((0.2, 0.2, 0.2))
    missing = dataclasses.replace(flights[1], reason="not seen", time_s=np.zeros(0))

    leap = joined(flights, events, 2)
    broken = joined([flights[0], missing, flights[2]], events, None)

    assert leap[2] is flights[2]
    assert _speeds(leap)[1] < 9.15
    assert broken[0] is flights[0]
    assert broken[2] is flights[2]
    assert joined([], [], None) == []
