"""Segments, mass centre and angles against de Leva's published table and against geometry done by hand."""

from __future__ import annotations

import json
from importlib.resources import files
from typing import Any

import numpy as np
import pytest

from penult.core.joints import body
from penult.model.arrays import Floats
from penult.model.skeleton import JOINTS, joint

ROWS = {
    "trunk": ("Trunk 3", 1),
    "upper_arm": ("Upper arm", 2),
    "forearm": ("Forearm", 2),
    "hand": ("Hand", 2),
    "thigh": ("Thigh", 2),
    "shank": ("Shank", 2),
    "foot": ("Foot", 2),
}


def _published(sex: str) -> dict[str, dict[str, Any]]:
    """Rows of de Leva 1996, Table 4, as they lie in the package's data."""
    data = json.loads(files("penult").joinpath("data/segments.json").read_text(encoding="utf-8"))
    return {row["segment"]: row for row in data["tables"][f"deLeva1996_{sex}"]["rows"]}


@pytest.mark.parametrize("sex", ["female", "male"])
def test_tables_are_those_of_de_leva(sex: str) -> None:
    """Every mass and mass centre in the code is the published one, and the masses of a whole body sum to one."""
    rows, table = _published(sex), body.segment_table(sex)

    total = table.head
    assert table.head == rows["Head"]["mass_fraction"]
    for name, (row, times) in ROWS.items():
        mass, along = getattr(table, name)
        assert (mass, along) == (rows[row]["mass_fraction"], rows[row]["cm_from_first_endpoint"]), name
        total += times * mass
    assert total == pytest.approx(1.0, abs=0.002)


def test_weights_sum_to_one_so_that_a_shift_moves_the_mass_centre_as_much() -> None:
    """Translation of all joints by a vector moves the mass centre by that vector."""
    joints = np.random.default_rng(0).normal(size=(len(JOINTS), 2))
    for sex in ("female", "male", None):
        table = body.segment_table(sex)
        moved = body.mass_centre(joints + np.array([0.3, -0.2]), table) - body.mass_centre(joints, table)
        assert moved == pytest.approx((0.3, -0.2), abs=1e-12)


def test_mass_centre_is_the_sum_over_segments() -> None:
    """Segment by segment with the published numbers, male: mass times the place of each segment's centre."""
    joints = np.random.default_rng(1).normal(size=(len(JOINTS), 2))
    rows = _published("male")

    expected = _sum_over_segments(joints, rows)

    assert body.mass_centre(joints, body.MALE) == pytest.approx(expected, abs=1e-9)


def _sum_over_segments(joints: Floats, rows: dict[str, dict[str, Any]]) -> Floats:
    place = {name: joints[k] for k, name in enumerate(JOINTS)}
    mid = {p: (place[f"left_{p}"] + place[f"right_{p}"]) / 2.0 for p in ("shoulder", "hip")}
    parts = [(rows["Head"]["mass_fraction"], place["head"])]
    trunk = rows["Trunk 3"]
    parts.append(
        (trunk["mass_fraction"], mid["shoulder"] + trunk["cm_from_first_endpoint"] * (mid["hip"] - mid["shoulder"]))
    )
    ends = {
        "Upper arm": ("shoulder", "elbow"),
        "Forearm": ("elbow", "wrist"),
        "Thigh": ("hip", "knee"),
        "Shank": ("knee", "ankle"),
    }
    for side in ("left", "right"):
        for name, (a, b) in {**ends, "Foot": ("heel", "toe")}.items():
            start, end = place[f"{side}_{a}"], place[f"{side}_{b}"]
            parts.append((rows[name]["mass_fraction"], start + rows[name]["cm_from_first_endpoint"] * (end - start)))
        elbow, wrist = place[f"{side}_elbow"], place[f"{side}_wrist"]
        beyond = rows["Hand"]["cm_from_first_endpoint"] * body.HAND_OF_FOREARM
        parts.append((rows["Hand"]["mass_fraction"], wrist + beyond * (wrist - elbow)))
    masses = np.array([m for m, _ in parts])
    return np.asarray((masses[:, None] * np.array([p for _, p in parts])).sum(axis=0) / masses.sum())


def test_draws_of_the_tables_spread_between_woman_and_man_only_when_unsaid() -> None:
    """Uniform between the two tables: SD of their difference over sqrt 12 (closed form); none with a profile."""
    rng = np.random.default_rng(4)
    difference = body.joint_weights(body.MALE) - body.joint_weights(body.FEMALE)

    unsaid, said = body.weight_draws(None, 4000, rng), body.weight_draws("female", 50, rng)

    assert unsaid[0] == pytest.approx(body.joint_weights(body.segment_table(None)))
    assert unsaid.std(axis=0) == pytest.approx(np.abs(difference) / np.sqrt(12.0), rel=0.05, abs=1e-9)
    assert np.ptp(said, axis=0).max() == 0.0


def test_mass_centre_of_draws_uses_each_row_of_weights() -> None:
    """Two draws of one posture with the weights of a woman and of a man."""
    joints = np.random.default_rng(5).normal(size=(len(JOINTS), 2))
    weights = np.stack([body.joint_weights(body.FEMALE), body.joint_weights(body.MALE)])

    both = body.mass_centre(np.repeat(joints[None, None], 2, axis=0), body.MALE, weights)

    assert both[0, 0] == pytest.approx(body.mass_centre(joints, body.FEMALE))
    assert both[1, 0] == pytest.approx(body.mass_centre(joints, body.MALE))


@pytest.mark.parametrize(
    ("turn_deg", "expected"), [(0.0, 0.0), (60.0, 60.0), (90.0, 90.0), (180.0, 180.0), (270.0, 90.0)]
)
def test_angle_between_two_directions(turn_deg: float, expected: float) -> None:
    """A direction and the same turned by a known angle."""
    turn = np.radians(turn_deg)
    found = body.angle_between_deg(np.array([1.0, 0.0]), np.zeros(2), np.array([np.cos(turn), np.sin(turn)]))

    assert found == pytest.approx(expected, abs=1e-9)


def test_leg_and_trunk_angles_by_hand() -> None:
    """Hip 0.3 m ahead of and 0.9 m above the ankle; shoulders 0.1 m ahead of and 0.5 m above the hips; knee square."""
    joints = np.zeros((len(JOINTS), 2))
    for side in ("left", "right"):
        joints[joint(side, "hip")] = (0.3, 0.9)
        joints[joint(side, "shoulder")] = (0.4, 1.4)
        joints[joint(side, "knee")] = (0.3, 0.0)

    assert body.leg_rise_deg(joints, "left") == pytest.approx(np.degrees(np.arctan2(0.9, 0.3)))
    assert body.trunk_lean_deg(joints) == pytest.approx(np.degrees(np.arctan2(0.1, 0.5)))
    assert body.knee_angle_deg(joints, "right") == pytest.approx(90.0)
    assert body.middle(joints, "hip") == pytest.approx((0.3, 0.9))
