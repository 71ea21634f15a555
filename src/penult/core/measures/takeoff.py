"""Measures of the penultimate contact, the take-off and the checks (MEASURES.md section 4)."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from penult.core.measures.evidence import ContactEvidence, FlightEvidence, Hips
from penult.core.numeric.fits import GRAVITY_M_PER_S2, free_fall
from penult.core.uncertainty.expanded import to_measure
from penult.model import catalogue
from penult.model.arrays import Floats
from penult.model.catalogue.takeoff import LOST_HIPS
from penult.model.measured import Measure, NotMeasured

NO_TAKEOFF = "no take-off in the clip"
TOE, FALL = "toe_to_board_m", "free_fall_m_per_s2"

LANDING_DROP_M = (0.55, 0.075)
"""Mass centre at landing below that at take-off, and its SD: 0.55 m with a u95 of 0.15 m (MEASURES.md section 4)."""

STANDING_HIP_SHARE = 0.53
"""Height of the hip joints over standing height, used when the leg length is not known: lower limb length 0.530 of stature,
Drillis & Contini 1966 as given by Winter (from memory)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class TakeoffEvidence:
    """The take-off contact, the flights before and after it, and draws of the landing drop (s,)."""

    contact: ContactEvidence
    approach: FlightEvidence | None
    flight: FlightEvidence
    landing_drop_m: Floats


def penultimate_hip_drop_m(third_last: ContactEvidence, penultimate: ContactEvidence) -> Floats:
    """Lowest hip height over the third-last support minus that over the penultimate; positive = lower."""
    first, second = _alike(third_last, penultimate)
    return first.lowest_m - second.lowest_m


def penultimate_hip_drop_above_support_m(third_last: ContactEvidence, penultimate: ContactEvidence) -> Floats:
    """The same above what each foot stood on: the drop that is the athlete's, whatever the mats did (MEASURES section 7)."""
    rise = third_last.event.support_height_m - penultimate.event.support_height_m
    return np.asarray(penultimate_hip_drop_m(third_last, penultimate) - rise)


def hip_drop_to_takeoff_m(penultimate: ContactEvidence, takeoff: ContactEvidence) -> Floats:
    """Hip height at penultimate touchdown minus the lowest until take-off touchdown, the last flight included.

    In flight the hip moves on a downward parabola, whose lowest point is one of its ends.
    """
    first, second = _alike(penultimate, takeoff)
    return first.touchdown_m - np.minimum(np.minimum(first.lowest_m, first.toe_off_m), second.touchdown_m)


def _alike(one: ContactEvidence, other: ContactEvidence) -> tuple[Hips, Hips]:
    """Heights that may be compared: of one stretch of pixels, else both of the joints."""
    same = one.hips.stretch == other.hips.stretch
    return (one.hips, other.hips) if same else (one.joint_hips, other.joint_hips)


def penultimate_measures(contacts: Mapping[int, ContactEvidence], standing_hip_m: float | None) -> dict[str, Measure]:
    """Return the hip drops; `contacts` by number, `standing_hip_m` when the athlete's height or leg length is known."""
    third, second, last = (contacts.get(n) for n in (-2, -1, 0))
    out: dict[str, Measure] = {}
    lost = LOST_HIPS
    if third and second:
        drop = penultimate_hip_drop_m(third, second)
        out["penultimate_hip_drop_m"] = to_measure(drop, lost)
        out["penultimate_hip_drop_above_support_m"] = _above_support(third, second, lost)
        out["penultimate_hip_drop_share"] = (
            to_measure(drop / standing_hip_m, lost)
            if standing_hip_m
            else NotMeasured(reason="the athlete's height or leg length is not known (--height)")
        )
    else:
        why = NotMeasured(reason="the third-last and penultimate contacts are not both in the clip")
        out["penultimate_hip_drop_m"] = out["penultimate_hip_drop_above_support_m"] = why
        out["penultimate_hip_drop_share"] = why
    if second and last:
        out["hip_drop_to_takeoff_m"] = to_measure(hip_drop_to_takeoff_m(second, last), lost)
    else:
        out["hip_drop_to_takeoff_m"] = NotMeasured(reason="the last two contacts are not both in the clip")
    return out


def _above_support(third: ContactEvidence, second: ContactEvidence, lost: str) -> Measure:
    """Return the drop above what each foot stood on; without a surface of one of them there is none."""
    if not all(np.isfinite(c.event.support_height_m[0]) for c in (third, second)):
        return NotMeasured(reason="what one of the two feet stood on was not seen")
    return to_measure(penultimate_hip_drop_above_support_m(third, second), lost)


def flight_distance_m(height_m: Floats, velocity_m_per_s: Floats, drop_m: Floats) -> Floats:
    """Projectile range of the mass centre to a landing `drop_m` lower: R = vx (vy + sqrt(vy^2 + 2 g h)) / g."""
    del height_m  # the range depends on the drop alone; the height is where it starts
    vx, vy = velocity_m_per_s[:, 0], velocity_m_per_s[:, 1]
    return np.asarray(vx * (vy + np.sqrt(np.maximum(vy**2 + 2.0 * GRAVITY_M_PER_S2 * drop_m, 0.0))) / GRAVITY_M_PER_S2)


def _takeoff_draws(t: TakeoffEvidence) -> dict[str, Floats]:
    """Draws of every take-off measure but the toe's place."""
    vx, vy = t.flight.velocity_m_per_s[:, 0], t.flight.velocity_m_per_s[:, 1]
    approach = t.approach.velocity_m_per_s[:, 0] if t.approach else np.full(len(vx), np.nan)
    return {
        "approach_speed_m_per_s": approach,
        "takeoff_velocity_x_m_per_s": vx,
        "takeoff_velocity_y_m_per_s": vy,
        "takeoff_speed_m_per_s": np.hypot(vx, vy),
        "takeoff_angle_deg": np.degrees(np.arctan2(vy, vx)),
        "speed_loss_m_per_s": approach - vx,
        "speed_loss_percent": 100.0 * (approach - vx) / approach,
        "takeoff_height_m": t.flight.position_m[:, 1],
        "flight_distance_m": flight_distance_m(t.flight.position_m[:, 1], t.flight.velocity_m_per_s, t.landing_drop_m),
    }


def takeoff_measures(t: TakeoffEvidence | None, toe_x_m: Floats | None) -> dict[str, Measure]:
    """Return the take-off's measures; without a take-off only the toe's place can be given."""
    if t is None:
        out: dict[str, Measure] = {n: NotMeasured(reason=NO_TAKEOFF) for n in catalogue.names("takeoff") if n != TOE}
    else:
        flight_why = t.flight.reason or "the flight after take-off could not be fitted"
        approach_why = t.approach.reason if t.approach else "the step before take-off is not in the clip"
        out = {}
        for name, draws in _takeoff_draws(t).items():
            of_approach = catalogue.row("takeoff", name).rests_on({(-1, "toe_off")})
            why = approach_why if of_approach and approach_why else flight_why
            out[name] = to_measure(draws, why)
    if toe_x_m is None:
        out[TOE] = NotMeasured(reason="no contact before the line in the clip")
    else:
        out[TOE] = to_measure(-toe_x_m, catalogue.row("takeoff", TOE).reason)
    return out


def check_measures(flights: list[FlightEvidence], takeoff: int | None) -> dict[str, Measure]:
    """g fitted freely to the mass centre in all flights together, running before the take-off: a check of scale and clock."""
    running = [takeoff is None or i < takeoff for i in range(len(flights))]
    g = free_fall([(f.time_s, f.height_m, is_run) for f, is_run in zip(flights, running, strict=True) if len(f.time_s)])
    return {FALL: to_measure(g, catalogue.row("checks", FALL).reason)}
