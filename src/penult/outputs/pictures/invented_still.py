"""A drawn figure in the place of a film's still, for the demo season: same scale facts, nobody in it."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from penult.model.arrays import Image
from penult.model.measured import Measured
from penult.model.trial import Trial
from penult.outputs.pictures import ink
from penult.outputs.pictures.stills import to_jpeg

INSTANTS: tuple[tuple[int, str], ...] = ((-1, "touchdown"), (-1, "lowest"), (0, "touchdown"), (0, "toe_off"))

_M_PER_PX = 0.0058
_WIDTH, _HEIGHT, _GROUND_Y, _HIP_X = 450, 430, 368.0, 225.0
_WALL, _FLOOR, _LANE = (232, 234, 235), (176, 180, 183), (150, 155, 158)
_THIGH_M, _SHANK_M, _TRUNK_M, _ARM_M = 0.44, 0.45, 0.52, 0.29

Point = tuple[float, float]


def draw_invented(trial: Trial, number: int, instant: str) -> tuple[bytes, dict[str, Any]]:
    """Return a JPEG of an invented run at one instant, and its row of `stills/index.json`.

    Parameters
    ----------
    trial : Trial
        From `invented.trial`.
    number : int
        Of the contact, which must be there.
    instant : str
        'touchdown', 'lowest' or 'toe_off'.
    """
    contact = trial.analysis.contact(number)
    if contact is None:
        raise ValueError(f"no contact {number}")
    surface = dict(trial.mats).get(number, 0.0)
    hip_m = _value(contact.measures[f"hip_height_{instant}_m"])
    picture = _hall(surface)
    _figure(
        picture,
        hip_m,
        surface,
        _leg_angle(contact.measures, instant),
        _value(contact.measures["trunk_angle_touchdown_deg"]),
    )
    hip_y = _GROUND_Y - hip_m / _M_PER_PX
    names = {-1: "1_penultimate", 0: "0_takeoff"}
    span = contact.span_s or (0.0, 0.0)
    row = {
        "file": f"contact_{names[number]}_{instant}.jpg",
        "contact": number,
        "foot": contact.foot,
        "instant": instant,
        "frame": round(240.0 * span[0]),
        "time_s": round({"touchdown": span[0], "lowest": contact.lowest_s or span[0], "toe_off": span[1]}[instant], 4),
        "metres_per_px": _M_PER_PX,
        "ground_y_px": _GROUND_Y,
        "hip_px": [_HIP_X, round(hip_y, 2)],
        "direction": "left to right",
        "size_px": [_WIDTH, _HEIGHT],
    }
    return to_jpeg(picture, 80), row


def _hall(surface_m: float) -> Image:
    """Return the empty hall with the runway, and a mat under the foot where there is one."""
    picture: Image = np.full((_HEIGHT, _WIDTH, 3), _WALL, dtype=np.uint8)
    picture[round(_GROUND_Y) - 34 :] = _FLOOR
    picture[round(_GROUND_Y) - 5 : round(_GROUND_Y) + 14] = _LANE
    if surface_m > 0.0:
        top = round(_GROUND_Y - surface_m / _M_PER_PX)
        picture[top : round(_GROUND_Y), 150:310] = ink.MAT
    ink.stroke(picture, np.array([[0.0, _GROUND_Y], [float(_WIDTH), _GROUND_Y]]), ink.RUNWAY, 2.0)
    return picture


def _figure(picture: Image, hip_m: float, surface_m: float, leg_deg: float, lean_deg: float) -> None:
    """Draw a stick figure: support leg by two links between hip and foot, the other leg folded, trunk and arms."""
    hip = (0.0, hip_m)
    reach = (hip_m - surface_m - 0.07) / math.tan(math.radians(leg_deg))
    ankle = (reach, surface_m + 0.07)
    knee = _joint(hip, ankle, bend=1.0)
    foot = np.array(
        [_px(ankle), _px((ankle[0] - 0.06, surface_m)), _px((ankle[0] + 0.19, surface_m + 0.01)), _px(ankle)]
    )
    swing_knee = (0.3, hip_m - 0.3) if reach < 0.1 else (0.08, hip_m - 0.44)
    swing_ankle = (swing_knee[0] - 0.34, swing_knee[1] - 0.26)
    _limb(picture, (hip, swing_knee, swing_ankle), ink.OTHER, 5.0)
    lean = math.radians(lean_deg)
    neck = (hip[0] + _TRUNK_M * math.sin(lean), hip_m + _TRUNK_M * math.cos(lean))
    for side in (1.0, -1.0):
        elbow = (neck[0] + side * 0.2, neck[1] - 0.24)
        _limb(picture, ((neck[0], neck[1] - 0.05), elbow, (elbow[0] + 0.2, elbow[1] + side * 0.14)), ink.BODY, 4.0)
    _limb(picture, (hip, neck), ink.BODY, 8.0)
    _limb(picture, (hip, knee, ankle), ink.SUPPORT, 6.0)
    ink.stroke(picture, foot, ink.SUPPORT, 5.0)
    head = np.array(_px((neck[0] + 0.02, neck[1] + 0.17)))
    ink.ring(picture, head, 0.11 / _M_PER_PX, ink.BODY, fill=ink.BODY)
    ink.ring(picture, np.array(_px(hip)), 5.0, ink.BLACK)


def _joint(hip: Point, ankle: Point, *, bend: float) -> Point:
    """Return where the knee is when thigh and shank join hip and ankle, bent forward (two circles that meet)."""
    dx, dy = ankle[0] - hip[0], ankle[1] - hip[1]
    length = min(math.hypot(dx, dy), _THIGH_M + _SHANK_M - 1e-3)
    along = (length**2 + _THIGH_M**2 - _SHANK_M**2) / (2.0 * length)
    off = math.sqrt(max(0.0, _THIGH_M**2 - along**2)) * bend
    ux, uy = dx / length, dy / length
    return hip[0] + along * ux - off * uy, hip[1] + along * uy + off * ux


def _limb(picture: Image, points: tuple[Point, ...], colour: ink.Colour, width: float) -> None:
    ink.stroke(picture, np.array([_px(p) for p in points]), colour, width, outline=ink.WHITE)


def _px(point_m: Point) -> Point:
    return _HIP_X + point_m[0] / _M_PER_PX, _GROUND_Y - point_m[1] / _M_PER_PX


def _leg_angle(measures: Any, instant: str) -> float:
    """Return the leg's angle against the backward horizontal at an instant, so that the foot is placed by it."""
    if instant == "touchdown":
        return _value(measures["leg_angle_touchdown_deg"])
    return 92.0 if instant == "lowest" else 180.0 - _value(measures["leg_angle_toe_off_deg"])


def _value(measure: Any) -> float:
    return measure.value if isinstance(measure, Measured) else 0.0
