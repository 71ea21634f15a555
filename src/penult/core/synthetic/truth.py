"""The answers: every measure of a synthetic run, worked out from its plan and its exact joints.

The formulas are written out here once more on purpose, so that a fault in the measures cannot hide in both places.
"""

from __future__ import annotations

import numpy as np

from penult.core.joints.body import mass_centre, segment_table
from penult.core.numeric.fits import GRAVITY_M_PER_S2
from penult.core.synthetic.body import LAND_DEG, joints_at
from penult.core.synthetic.run import Runner, Stance
from penult.model.arrays import Floats
from penult.model.skeleton import joint

LANDING_DROP_M = 0.55
"""Mass centre at landing below that at take-off (MEASURES.md section 4)."""


def truth(runner: Runner) -> dict[str, float]:
    """Return every measure as 'part|number|name' -> value, of the contacts and steps that a clip of the run shows."""
    shown = runner.shown()
    out: dict[str, float] = {}
    for number, stance in shown.items():
        out |= {f"contacts|{number}|{name}": value for name, value in _contact(runner, stance).items()}
    for number in sorted(shown)[1:]:
        out |= {f"steps|{number}|{name}": value for name, value in _step(runner, number).items()}
    for number in sorted(shown)[2:]:
        for name in ("length_m", "time_s"):
            ratio = out[f"steps|{number}|step_{name}"] / out[f"steps|{number - 1}|step_{name}"]
            out[f"steps|{number}|step_{name.split('_', maxsplit=1)[0]}_ratio"] = ratio
    out |= {f"penultimate|-|{name}": value for name, value in _penultimate(runner, shown).items()}
    out["takeoff|-|toe_to_board_m"] = -shown[0].tip_m[0]
    if runner.has_takeoff:
        out |= {f"takeoff|-|{name}": value for name, value in _takeoff(runner).items()}
    out["checks|-|free_fall_m_per_s2"] = GRAVITY_M_PER_S2
    return out


def _contact(runner: Runner, stance: Stance) -> dict[str, float]:
    down, off = stance.touchdown_s, stance.toe_off_s
    before, landing, leaving = joints_at(runner, np.array([down - 0.020, down, off]))
    over = joints_at(runner, np.linspace(down, off, 401))
    side, (toe_m, surface_m) = stance.foot, stance.tip_m
    ankle = joint(side, "ankle")
    hips = {"touchdown": _hip_m(landing)[1], "lowest": _hip_m(over)[:, 1].min(), "toe_off": _hip_m(leaving)[1]}
    return {
        "touchdown_s": down,
        "toe_off_s": off,
        "contact_time_s": off - down,
        "toe_x_m": toe_m,
        "support_height_m": surface_m,
        "foot_angle_touchdown_deg": LAND_DEG,
        "leg_angle_touchdown_deg": _leg_deg(landing, side, forward=False),
        "leg_angle_toe_off_deg": _leg_deg(leaving, side, forward=True),
        "touchdown_distance_m": toe_m - _hip_m(landing)[0],
        "touchdown_distance_mass_centre_m": toe_m - mass_centre(landing, segment_table(runner.sex))[0],
        "knee_angle_touchdown_deg": float(_knee_deg(landing, side)),
        "knee_angle_min_deg": float(_knee_deg(over, side).min()),
        "knee_angle_toe_off_deg": float(_knee_deg(leaving, side)),
        "trunk_angle_touchdown_deg": _trunk_deg(landing),
        "trunk_angle_toe_off_deg": _trunk_deg(leaving),
        "foot_speed_touchdown_m_per_s": (landing[ankle, 0] - before[ankle, 0]) / 0.020,
        **{f"hip_height_{when}_m": height for when, height in hips.items()},
        **{f"hip_above_support_{when}_m": height - surface_m for when, height in hips.items()},
    }


def _step(runner: Runner, number: int) -> dict[str, float]:
    start, end = (runner.stances[runner.zero + number + i] for i in (-1, 0))
    length_m, lasts_s = end.tip_m[0] - start.tip_m[0], end.touchdown_s - start.touchdown_s
    return {
        "step_length_m": length_m,
        "flight_time_s": end.touchdown_s - start.toe_off_s,
        "step_time_s": lasts_s,
        "step_rate_hz": 1.0 / lasts_s,
        "step_speed_m_per_s": float(runner.velocity_m_per_s[2 * (runner.zero + number) - 1, 0]),
        "step_length_over_time_m_per_s": length_m / lasts_s,
    }


def _penultimate(runner: Runner, shown: dict[int, Stance]) -> dict[str, float]:
    def lowest_m(start_s: float, end_s: float) -> float:
        return float(_hip_m(joints_at(runner, np.linspace(start_s, end_s, 801)))[:, 1].min())

    third, second, last = (shown[n] for n in (-2, -1, 0))
    start = float(_hip_m(joints_at(runner, np.array([second.touchdown_s])))[0, 1])
    return {
        "penultimate_hip_drop_m": lowest_m(third.touchdown_s, third.toe_off_s)
        - lowest_m(second.touchdown_s, second.toe_off_s),
        "penultimate_hip_drop_above_support_m": (lowest_m(third.touchdown_s, third.toe_off_s) - third.tip_m[1])
        - (lowest_m(second.touchdown_s, second.toe_off_s) - second.tip_m[1]),
        "hip_drop_to_takeoff_m": start - lowest_m(second.touchdown_s, last.touchdown_s),
    }


def _takeoff(runner: Runner) -> dict[str, float]:
    leaving = 2 * runner.zero + 1
    vx, vy = (float(v) for v in runner.velocity_m_per_s[leaving])
    approach = float(runner.velocity_m_per_s[leaving - 2, 0])
    fall = np.sqrt(vy**2 + 2.0 * GRAVITY_M_PER_S2 * LANDING_DROP_M)
    return {
        "approach_speed_m_per_s": approach,
        "takeoff_velocity_x_m_per_s": vx,
        "takeoff_velocity_y_m_per_s": vy,
        "takeoff_speed_m_per_s": float(np.sqrt(vx**2 + vy**2)),
        "takeoff_angle_deg": float(np.degrees(np.arctan(vy / vx))),
        "speed_loss_m_per_s": approach - vx,
        "speed_loss_percent": 100.0 * (1.0 - vx / approach),
        "takeoff_height_m": float(runner.mass_centre_m[leaving, 1]),
        "flight_distance_m": float(vx * (vy + fall) / GRAVITY_M_PER_S2),
    }


def _hip_m(body_m: Floats) -> Floats:
    return np.asarray(0.5 * (body_m[..., joint("left", "hip"), :] + body_m[..., joint("right", "hip"), :]))


def _leg_deg(body_m: Floats, side: str, *, forward: bool) -> float:
    line = body_m[joint(side, "hip")] - body_m[joint(side, "ankle")]
    level = line[0] if forward else -line[0]
    return float(np.degrees(np.arccos(level / np.hypot(*line))))


def _knee_deg(body_m: Floats, side: str) -> Floats:
    """Law of cosines on the triangle hip, knee, ankle."""
    hip, knee, ankle = (body_m[..., joint(side, part), :] for part in ("hip", "knee", "ankle"))
    thigh, shank, whole = (np.linalg.norm(a - b, axis=-1) for a, b in ((hip, knee), (knee, ankle), (hip, ankle)))
    return np.asarray(np.degrees(np.arccos((thigh**2 + shank**2 - whole**2) / (2.0 * thigh * shank))))


def _trunk_deg(body_m: Floats) -> float:
    line = (body_m[joint("left", "shoulder")] + body_m[joint("right", "shoulder")]) / 2.0 - _hip_m(body_m)
    return float(np.degrees(np.arcsin(line[0] / np.hypot(*line))))
