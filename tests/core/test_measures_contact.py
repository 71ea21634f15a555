"""Measures of a contact against their definitions (MEASURES.md section 2), closed forms and published postures."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from penult.core.measures.contact import CONTACT_MEASURES, contact_measures, strike
from penult.core.measures.evidence import ContactEvidence
from penult.model import catalogue
from penult.model.measured import Measured, NotMeasured

Made = Any  # the class of tests/core/conftest.py

DEFINED = {
    "touchdown_s",
    "toe_off_s",
    "contact_time_s",
    "toe_x_m",
    "support_height_m",
    "foot_angle_touchdown_deg",
    "leg_angle_touchdown_deg",
    "leg_angle_toe_off_deg",
    "touchdown_distance_m",
    "touchdown_distance_mass_centre_m",
    "knee_angle_touchdown_deg",
    "knee_angle_min_deg",
    "knee_angle_toe_off_deg",
    "trunk_angle_touchdown_deg",
    "trunk_angle_toe_off_deg",
    "hip_height_touchdown_m",
    "hip_height_lowest_m",
    "hip_height_toe_off_m",
    "hip_above_support_touchdown_m",
    "hip_above_support_lowest_m",
    "hip_above_support_toe_off_m",
    "foot_speed_touchdown_m_per_s",
}


def values(contact: ContactEvidence) -> dict[str, float]:
    return {name: m.value for name, m in contact_measures(contact).items() if isinstance(m, Measured)}


def reason(contact: ContactEvidence, name: str) -> str:
    measure = contact_measures(contact)[name]
    assert isinstance(measure, NotMeasured)
    return measure.reason


def test_every_measure_of_the_contract_is_there_and_no_other() -> None:
    """MEASURES.md section 2, name by name; each says why it would be missing."""
    assert {f.__name__ for f in CONTACT_MEASURES} == DEFINED
    assert all(catalogue.row("contacts", name).reason for name in DEFINED)


@pytest.mark.parametrize(
    ("leg_td", "knee_td", "leg_to", "knee_to"),
    [(61.0, 166.0, 76.0, 171.0), (63.0, 161.0, 75.0, 168.0), (62.1, 165.0, 75.0, 171.2)],
    ids=["men, Linthorne 2008", "women, Linthorne 2008", "Sunami 2013 and Panoutsakopoulos 2021"],
)
def test_published_take_off_postures_read_as_published(
    made: Made, leg_td: float, knee_td: float, leg_to: float, knee_to: float
) -> None:
    """Leg and knee angles of a plant and a toe-off: Linthorne 2008, Table 24.1 (from memory); Sunami 2013 leg angle at the

    plant 62.1 and Panoutsakopoulos 2021 knee at toe-off 171.2 (abstracts). The plant lies ahead of the hips, the
    toe-off behind them, and both read below 90: fails if one of them is taken against the other horizontal."""
    reach = 0.86
    td, to = np.radians(leg_td), np.radians(leg_to)
    plant = made.posture(hip_m=(-reach * np.cos(td), 0.09 + reach * np.sin(td)), knee_deg=knee_td)
    push = made.posture(hip_m=(reach * np.cos(to), 0.09 + reach * np.sin(to)), knee_deg=knee_to)

    got = values(made.contact(plant, push))

    assert got["leg_angle_touchdown_deg"] == pytest.approx(leg_td)
    assert got["knee_angle_touchdown_deg"] == pytest.approx(knee_td)
    assert got["leg_angle_toe_off_deg"] == pytest.approx(leg_to)
    assert got["knee_angle_toe_off_deg"] == pytest.approx(knee_to)


@pytest.mark.parametrize("side", ["left", "right"])
def test_a_leg_under_the_hip_stands_at_90_and_the_supporting_side_is_read(made: Made, side: str) -> None:
    """Hip above ankle: 90 both ways; a straight knee: 180, a right angle: 90. Fails if the other leg is read."""
    event = made.event(foot=side)

    straight = values(made.contact(made.posture(side=side), event=event))
    bent = values(made.contact(made.posture(side=side, knee_deg=90.0), event=event))

    assert straight["leg_angle_touchdown_deg"] == pytest.approx(90.0)
    assert straight["leg_angle_toe_off_deg"] == pytest.approx(90.0)
    assert straight["knee_angle_touchdown_deg"] == pytest.approx(180.0)
    assert bent["knee_angle_toe_off_deg"] == pytest.approx(90.0)


@pytest.mark.parametrize("lean_deg", [-8.0, 0.0, 6.0])
def test_the_trunk_leans_forward_with_plus(made: Made, lean_deg: float) -> None:
    """Elite plants lean back by 0 to 10 degrees (from memory): negative. Fails if the sign or the axis is turned."""
    got = values(made.contact(made.posture(trunk_deg=lean_deg), made.posture(trunk_deg=-lean_deg)))

    assert got["trunk_angle_touchdown_deg"] == pytest.approx(lean_deg)
    assert got["trunk_angle_toe_off_deg"] == pytest.approx(-lean_deg)


def test_heights_count_from_the_runway_and_beside_it_from_the_mat(made: Made) -> None:
    """On a mat of 5 cm hip heights stay above the runway; `hip_above_support` is 5 cm less (MEASURES.md section 2)."""
    event = made.event(support_height_m=0.05)

    got = values(
        made.contact(made.posture(), made.posture(hip_m=(0.5, 0.97)), event=event, hip_lowest_m=made.drawn(0.91))
    )

    assert got["support_height_m"] == 0.05
    for name, height in (("touchdown", 0.95), ("lowest", 0.91), ("toe_off", 0.97)):
        assert got[f"hip_height_{name}_m"] == pytest.approx(height)
        assert got[f"hip_above_support_{name}_m"] == pytest.approx(height - 0.05)


def test_distances_ahead_and_times_and_foot_speed_have_the_signs_of_their_definitions(made: Made) -> None:
    """Toe ahead of the hips: positive. 7 cm forward in 20 ms: 3.5 m/s; a foot drawn back strikes with a negative speed."""
    event = made.event(toe_x_m=-2.0, touchdown_s=0.70, toe_off_s=0.82)
    body = made.posture(hip_m=(-2.45, 0.93), ankle_m=(-2.18, 0.09))

    got = values(made.contact(body, event=event, ankle_touchdown_m=made.drawn(-2.18), ankle_before_m=made.drawn(-2.25)))
    drawn_back = values(made.contact(body, ankle_touchdown_m=made.drawn(-2.18), ankle_before_m=made.drawn(-2.17)))

    assert got["touchdown_distance_m"] == pytest.approx(0.45)
    centre_m = float(made.contact(body).mass_centre_touchdown_m[0, 0])
    assert got["touchdown_distance_mass_centre_m"] == pytest.approx(-2.0 - centre_m)
    assert got["contact_time_s"] == pytest.approx(0.12)
    assert got["foot_speed_touchdown_m_per_s"] == pytest.approx(3.5)
    assert drawn_back["foot_speed_touchdown_m_per_s"] == pytest.approx(-0.5)


def test_uncertain_instants_make_an_uncertain_contact_time(made: Made) -> None:
    """JCGM 100, 5.1.2: independent touchdown and toe-off add in quadrature; the value is that of the first row."""
    rng = np.random.default_rng(1)
    down, off = (np.concatenate([[t], t + 0.002 * rng.normal(size=4000)]) for t in (0.70, 0.81))
    made_of = made.contact(made.posture(), event=made.event(touchdown_s=down, toe_off_s=off))

    measure = contact_measures(made_of)["contact_time_s"]

    assert isinstance(measure, Measured)
    assert measure.value == pytest.approx(0.11)
    assert measure.u95 == pytest.approx(2.0 * np.sqrt(2.0) * 0.002, rel=0.05)


def test_what_cannot_be_seen_says_why(made: Made) -> None:
    """A slow camera, a body that left the picture, hidden edges of the shoe, a contact seen in part: each its own reason."""
    body = made.posture()
    slow = made.contact(body, interval_s=1.0 / 30.0)
    lost = made.contact(np.full_like(body, np.nan), hip_lowest_m=made.drawn(np.nan), knee_min_deg=made.drawn(np.nan))
    hidden = made.contact(body, event=made.event(foot_angle_deg=np.nan, foot_angle_reason="the sole is behind the mat"))
    part = made.contact(body, event=made.event(rough=True), wholly_seen=False)

    assert "frame rate too low" in reason(slow, "contact_time_s")
    assert "touchdown_s" in values(slow)  # an instant is known to a frame, however long that is
    for name in ("leg_angle_touchdown_deg", "knee_angle_toe_off_deg", "hip_height_lowest_m", "knee_angle_min_deg"):
        assert "not wholly in the picture" in reason(lost, name)
    assert reason(hidden, "foot_angle_touchdown_deg") == "the sole is behind the mat"
    for name in ("touchdown_s", "toe_off_s", "contact_time_s"):
        assert "not in the picture" in reason(part, name)
    assert "toe_x_m" in values(part)


def test_an_angle_of_no_use_is_not_given(made: Made) -> None:
    """A smallest knee angle known to +-60 deg says nothing; one known to +-20 deg is told with its interval."""
    spread = np.random.default_rng(2).normal(size=4000)
    vague, wide = (
        made.contact(made.posture(), knee_min_deg=np.concatenate([[132.0], 132.0 + sd * spread])) for sd in (30.0, 10.0)
    )

    assert "25 degrees" in reason(vague, "knee_angle_min_deg")
    assert values(wide)["knee_angle_min_deg"] == pytest.approx(132.0)
    assert "knee_angle_touchdown_deg" in values(vague)


def test_a_contact_time_of_no_use_is_not_given(made: Made) -> None:
    """60 +- 90 ms in the dark says nothing; 110 +- 40 ms is told with its interval."""
    late = np.random.default_rng(3).normal(size=len(made.drawn(0.0)) - 1)
    vague, wide = (
        made.contact(made.posture(), event=made.event(toe_off_s=np.concatenate([[off], off + sd * late])))
        for off, sd in ((0.76, 0.045), (0.81, 0.020))
    )

    assert "half of itself" in reason(vague, "contact_time_s")
    assert values(wide)["contact_time_s"] == pytest.approx(0.11)
    assert "toe_off_s" in values(vague)


def test_a_contact_put_right_by_hand_is_marked(made: Made) -> None:
    """Every value that rests on a person's correction says so."""
    measures = contact_measures(made.contact(made.posture(), event=made.event(by_hand=True)))

    assert all(m.by_hand for m in measures.values() if isinstance(m, Measured))


@pytest.mark.parametrize(
    ("angle_deg", "word"), [(-1.7, "forefoot"), (-1.6, "flat"), (8.0, "flat"), (8.1, "heel first"), (-20.0, "forefoot")]
)
def test_words_for_a_strike(angle_deg: float, word: str) -> None:
    """Bounds of Altman & Davis 2012 (from memory): forefoot below -1.6, rearfoot above 8 degrees."""
    assert strike(angle_deg) == word


@given(
    x_m=st.floats(-20.0, 5.0),
    rise_m=st.floats(-0.1, 0.3),
    knee_deg=st.floats(70.0, 179.0),
    trunk_deg=st.floats(-30.0, 30.0),
)
def test_moving_the_whole_body_moves_heights_and_leaves_angles(
    made: Made, x_m: float, rise_m: float, knee_deg: float, trunk_deg: float
) -> None:
    """Property: angles and distances do not depend on where on the runway it happened, heights go with the body."""
    body = made.posture(hip_m=(-0.3, 0.92), knee_deg=knee_deg, trunk_deg=trunk_deg)

    here = values(made.contact(body, event=made.event(toe_x_m=0.15)))
    there = values(made.contact(body + np.array([x_m, rise_m]), event=made.event(toe_x_m=0.15 + x_m)))

    for name, value in here.items():
        if name.startswith("hip_") and "lowest" not in name:
            assert there[name] == pytest.approx(value + rise_m, abs=1e-9)
        elif name != "toe_x_m":
            assert there[name] == pytest.approx(value, abs=1e-7)


@pytest.mark.parametrize(("u95_share", "is_given"), [(0.45, True), (0.55, False)])
def test_a_contact_time_is_given_when_known_to_half_of_itself(made: Made, u95_share: float, is_given: bool) -> None:
    """What its reason says: 'not known to within half of itself'. 110 ms, toe-off alone uncertain, SD = u95 / 2."""
    spread = np.random.default_rng(5).normal(size=len(made.drawn(0.0)) - 1)
    spread = (spread - spread.mean()) / spread.std(ddof=1) * u95_share * 0.110 / 2.0
    event = made.event(touchdown_s=made.drawn(0.70), toe_off_s=np.concatenate([[0.81], 0.81 + spread]))

    assert ("contact_time_s" in values(made.contact(made.posture(), event=event))) == is_given
