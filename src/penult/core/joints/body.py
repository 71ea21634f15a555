"""Segments, mass centre and angles of the body. Arrays of joints are (..., k, 2) in the order of `skeleton.JOINTS`."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from penult.model.arrays import Floats
from penult.model.skeleton import INDEX, joint


@dataclass(frozen=True, slots=True, kw_only=True)
class SegmentTable:
    """Segment masses (shares of the body, one side) and mass centres (share of the way from the first end-point)."""

    head: float
    trunk: tuple[float, float]
    upper_arm: tuple[float, float]
    forearm: tuple[float, float]
    hand: tuple[float, float]
    thigh: tuple[float, float]
    shank: tuple[float, float]
    foot: tuple[float, float]


FEMALE = SegmentTable(
    head=0.0668,
    trunk=(0.4257, 0.3782),
    upper_arm=(0.0255, 0.5754),
    forearm=(0.0138, 0.4559),
    hand=(0.0056, 0.7474),
    thigh=(0.1478, 0.3612),
    shank=(0.0481, 0.4352),
    foot=(0.0129, 0.4014),
)
MALE = SegmentTable(
    head=0.0694,
    trunk=(0.4346, 0.4310),
    upper_arm=(0.0271, 0.5772),
    forearm=(0.0162, 0.4574),
    hand=(0.0061, 0.7900),
    thigh=(0.1416, 0.4095),
    shank=(0.0433, 0.4395),
    foot=(0.0137, 0.4415),
)
"""de Leva P (1996) Adjustments to Zatsiorsky-Seluyanov's segment inertia parameters, J Biomech 29:1223-1230, Table 4
(trunk between mid-shoulder and mid-hip, foot heel to toe tip). The same numbers stand in data/segments.json; a test compares."""

HAND_OF_FOREARM = 0.31
"""Wrist to third knuckle over elbow to wrist: 0.0862 / 0.2689 m (male) in de Leva 1996, Table 4 (from memory); the pose
model has no knuckle, so the hand is taken to continue the forearm."""


def segment_table(sex: str | None) -> SegmentTable:
    """Return the table for 'female' or 'male', or the mean of both for None."""
    if sex == "female":
        return FEMALE
    if sex == "male":
        return MALE

    def mean(part: str) -> tuple[float, float]:
        (m, c), (n, d) = getattr(FEMALE, part), getattr(MALE, part)
        return (m + n) / 2.0, (c + d) / 2.0

    return SegmentTable(
        head=(FEMALE.head + MALE.head) / 2.0,
        trunk=mean("trunk"),
        upper_arm=mean("upper_arm"),
        forearm=mean("forearm"),
        hand=mean("hand"),
        thigh=mean("thigh"),
        shank=mean("shank"),
        foot=mean("foot"),
    )


def joint_weights(table: SegmentTable) -> Floats:
    """Weights (k,) of the joints whose weighted sum is the mass centre; they sum to one.

    Every segment's mass centre lies on the line between two joints, so the whole-body mass centre is linear in the joints
    (the head's mass centre is put at the middle of the ears: 0.59 of the way from vertex to chin line, about there).
    """
    w = np.zeros(len(INDEX))
    w[INDEX["head"]] = table.head
    mass, along = table.trunk
    for side in ("left", "right"):
        w[joint(side, "shoulder")] += mass * (1.0 - along) / 2.0
        w[joint(side, "hip")] += mass * along / 2.0
        for (m, c), start, end in (
            (table.upper_arm, "shoulder", "elbow"),
            (table.forearm, "elbow", "wrist"),
            (table.thigh, "hip", "knee"),
            (table.shank, "knee", "ankle"),
            (table.foot, "heel", "toe"),
        ):
            w[joint(side, start)] += m * (1.0 - c)
            w[joint(side, end)] += m * c
        m, c = table.hand
        beyond = c * HAND_OF_FOREARM
        w[joint(side, "wrist")] += m * (1.0 + beyond)
        w[joint(side, "elbow")] -= m * beyond
    return np.asarray(w / w.sum())


def weight_draws(sex: str | None, count: int, rng: np.random.Generator) -> Floats:
    """Weights of the joints (count, k) for draws, first row the table's own.

    Without a sex the body lies anywhere between the two tables (evenly), which is how their difference is counted into the
    uncertainty of the mass centre.
    """
    out = np.repeat(joint_weights(segment_table(sex))[None], count, axis=0)
    if sex is None:
        away = rng.uniform(-0.5, 0.5, size=count - 1)
        out[1:] += away[:, None] * (joint_weights(MALE) - joint_weights(FEMALE))
    return np.asarray(out)


def mass_centre(xy_m: Floats, table: SegmentTable, weights: Floats | None = None) -> Floats:
    """Whole-body mass centre (..., 2) of joints (..., k, 2), de Leva 1996; NaN where a joint is missing.

    With `weights` (s, k) the joints are draws (s, ..., k, 2), each weighted by its own row.
    """
    if weights is not None:
        return np.asarray(np.einsum("s...kd,sk->s...d", xy_m, weights))
    return np.asarray(np.einsum("...kd,k->...d", xy_m, joint_weights(table)))


def middle(xy_m: Floats, part: str) -> Floats:
    """Mean of the left and right joint of that name, (..., 2)."""
    return np.asarray((xy_m[..., joint("left", part), :] + xy_m[..., joint("right", part), :]) / 2.0)


def angle_between_deg(a: Floats, b: Floats, c: Floats) -> Floats:
    """Angle at b between b->a and b->c, 0 to 180 deg; points are (..., 2)."""
    u, v = a - b, c - b
    cross = u[..., 0] * v[..., 1] - u[..., 1] * v[..., 0]
    return np.asarray(np.degrees(np.arctan2(np.abs(cross), (u * v).sum(axis=-1))))


def knee_angle_deg(xy_m: Floats, side: str) -> Floats:
    """Hip-knee-ankle angle, 180 = straight; joints (..., k, 2)."""
    return angle_between_deg(*(xy_m[..., joint(side, part), :] for part in ("hip", "knee", "ankle")))


def leg_rise_deg(xy_m: Floats, side: str) -> Floats:
    """Direction of the line ankle -> hip joint from the FORWARD horizontal, 0 to 180 deg."""
    line = xy_m[..., joint(side, "hip"), :] - xy_m[..., joint(side, "ankle"), :]
    return np.asarray(np.degrees(np.arctan2(line[..., 1], line[..., 0])))


def trunk_lean_deg(xy_m: Floats) -> Floats:
    """Line mid-hip -> mid-shoulder from the vertical, positive forward."""
    line = middle(xy_m, "shoulder") - middle(xy_m, "hip")
    return np.asarray(np.degrees(np.arctan2(line[..., 0], line[..., 1])))
