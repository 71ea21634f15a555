"""Measures of phases and sequences against their definitions (MEASURES.md section 4a) and published phase ratios."""

from __future__ import annotations

import dataclasses
from typing import Any

import numpy as np
import pytest

from penult.core.measures.phase import (
    PHASE_MEASURES,
    PhaseEvidence,
    Told,
    mark_of,
    phase_measures,
    sequence_of,
)
from penult.model.analysis import Phase, PhaseKind
from penult.model.measured import Measured, NotMeasured

Made = Any  # the class of tests/core/conftest.py
G = 9.81


def phase(made: Made, **given: Any) -> PhaseEvidence:
    """A hop: down 0.227, off 0.352 at -0.05; down again 0.804 at 4.583; leaves with 7.99 and 2.00 m/s."""
    contact = made.contact(made.posture(), event=made.event(touchdown_s=0.227, toe_off_s=0.352, toe_x_m=-0.05))
    after = made.contact(made.posture(), event=made.event(touchdown_s=0.804, toe_off_s=0.953, toe_x_m=4.583))
    flight = made.flight((7.99, 2.00))
    known = {
        "contact": contact,
        "after": after,
        "flight": dataclasses.replace(flight, position_m=np.full_like(flight.position_m, 1.06)),
        "before": made.flight((8.49, 0.6)),
        "lowest_m": np.full(len(contact.event.toe_x_m), 0.96),
    } | given
    return PhaseEvidence(**known)


def values(evidence: PhaseEvidence) -> dict[str, float]:
    return {name: m.value for name, m in phase_measures(evidence).items() if isinstance(m, Measured)}


def test_a_hop_worked_by_hand(made: Made) -> None:
    got = values(phase(made))

    assert got["distance_m"] == pytest.approx(4.633)
    assert got["contact_time_s"] == pytest.approx(0.125)
    assert got["flight_time_s"] == pytest.approx(0.452)
    assert got["phase_time_s"] == pytest.approx(0.577)
    assert got["speed_in_m_per_s"] == pytest.approx(8.49)
    assert got["speed_loss_m_per_s"] == pytest.approx(0.50)
    assert got["takeoff_angle_deg"] == pytest.approx(np.degrees(np.arctan(2.00 / 7.99)))
    assert got["flight_height_m"] == pytest.approx(2.00**2 / (2.0 * G))
    assert got["mass_centre_rise_m"] == pytest.approx(1.06 + 2.00**2 / (2.0 * G) - 0.96)
    assert got["flight_contact_ratio"] == pytest.approx(0.452 / 0.125)
    assert set(got) == set(PHASE_MEASURES) | {"contact_time_s"}


def test_flight_height_is_not_that_of_equal_heights(made: Made) -> None:
    """g t^2 / 8 of this flight is 25 cm, the true rise 20 cm: the body lands lower than it left."""
    assert values(phase(made))["flight_height_m"] < G * 0.452**2 / 8.0 - 0.04


def test_without_a_landing_only_what_needs_none_is_given(made: Made) -> None:
    got = phase_measures(phase(made, after=None))

    missing = {n for n, m in got.items() if isinstance(m, NotMeasured)}
    assert missing == {"distance_m", "flight_time_s", "phase_time_s", "flight_contact_ratio"}
    assert all("landing is not in the picture" in got[n].reason for n in missing)  # type: ignore[union-attr]


def test_an_official_distance_gives_the_closing_jump(made: Made) -> None:
    """Jump's toe 8.43 m past the board, tape 13.42 m: 4.99 m, and half a centimetre for the tape's rounding down."""
    contact = made.contact(made.posture(), event=made.event(touchdown_s=1.326, toe_off_s=1.483, toe_x_m=8.43))
    rng = np.random.default_rng(1)
    got = phase_measures(
        phase(made, contact=contact, after=None, mark_m=mark_of(13.42, len(contact.event.toe_x_m), rng))
    )

    distance = got["distance_m"]
    assert isinstance(distance, Measured)
    assert distance.value == pytest.approx(13.42 - 8.43 + 0.005, abs=1e-9)
    assert distance.by_hand
    assert isinstance(got["flight_time_s"], NotMeasured)


def told(made: Made, kinds: list[PhaseKind], feet: str, distances: list[float | None]) -> list[Told]:
    out, x = [], 0.0
    for i, (kind, foot, distance) in enumerate(zip(kinds, feet, distances, strict=True)):
        contact = made.contact(
            made.posture(), event=made.event(touchdown_s=0.5 * i, toe_off_s=0.5 * i + 0.15, toe_x_m=x)
        )
        after = None
        if distance is not None:
            x += distance
            after = made.contact(
                made.posture(), event=made.event(touchdown_s=0.5 * i + 0.5, toe_off_s=0.5 * i + 0.65, toe_x_m=x)
            )
        evidence = phase(made, contact=contact, after=after)
        name = {"L": "left", "R": "right"}[foot]
        record = Phase(number=i, kind=kind, foot=name, lands_on="", measures=phase_measures(evidence))  # type: ignore[arg-type]
        out.append(Told(kind=kind, evidence=evidence, phase=record))
    return out


def test_published_phase_ratio(made: Made) -> None:
    """36.5 : 29.3 : 34.2 % of the sum (Panoutsakopoulos & Kollias 2008) for phases of 6.205, 4.981 and 5.814 m: 17.00 m."""
    kinds: list[PhaseKind] = ["hop", "step", "jump"]
    made_up = sequence_of(told(made, kinds, "LLR", [6.205, 4.981, 5.814]), "LLR", kinds, 0, began=False)

    total = made_up.measures["distance_of_whole_phases_m"]
    assert isinstance(total, Measured)
    assert total.value == pytest.approx(17.0)
    assert [100.0 * s.value for s in made_up.shares_of_whole_phases] == pytest.approx([36.5, 29.3, 34.2], abs=0.005)


def test_shares_are_of_the_phases_seen_whole(made: Made) -> None:
    kinds: list[PhaseKind] = ["hop", "step", "jump"]
    made_up = sequence_of(told(made, kinds, "LLR", [4.633, 3.847, None]), "LLR", kinds, 0, began=False)

    assert [s.value for s in made_up.shares_of_whole_phases] == pytest.approx([0.5464, 0.4536], abs=1e-4)
    kept = made_up.measures["speed_kept_share"]
    assert isinstance(kept, Measured)
    assert kept.value == pytest.approx(7.99 / 8.49)


def test_left_and_right_are_compared_in_alternating_bounds_only(made: Made) -> None:
    """Left bounds 3.3 and 3.1, right 3.0 and 2.8: 0.3 m apart, each with 0.1 m of its own: t(2 df) 4.303 x 0.1414 x 1 = 0.61 m."""
    kinds: list[PhaseKind] = ["bound"] * 4 + ["jump"]
    bounds = sequence_of(told(made, kinds, "LRLRL", [3.3, 3.0, 3.1, 2.8, None]), "LRLRL", kinds, 0, began=False)

    got = bounds.measures["left_right_difference_distance_m"]
    assert isinstance(got, Measured)
    assert got.value == pytest.approx(0.3)
    assert got.u95 == pytest.approx(4.303 * np.sqrt(0.02), rel=0.02)
    hops: list[PhaseKind] = ["hop"] * 4
    one_leg = sequence_of(told(made, hops, "LLLL", [3.3, 3.0, 3.1, 2.8]), "LLLL", hops, 0, began=True)
    assert isinstance(one_leg.measures["left_right_difference_distance_m"], NotMeasured)


def test_a_jump_whose_landing_is_seen_in_the_sand_says_so_and_what_to_type(made: Made) -> None:
    seen = phase_measures(phase(made, after=None, in_sand=True))["distance_m"]
    unseen = phase_measures(phase(made, after=None))["distance_m"]

    assert isinstance(seen, NotMeasured)
    assert isinstance(unseen, NotMeasured)
    assert "--official" in seen.reason
    assert "not in the picture" in unseen.reason
