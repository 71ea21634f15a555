"""Shapes between named places on the runway, free of any picture; and where they lie once the places are known.

A place is named: a joint of the contact's leg (`hip`, `knee`, `ankle`, `heel`, `toe`), `mid_hip`, `mid_shoulder`,
`mass_centre`, `toe_mark` (where this contact's toe stood; `toe_mark_before`: the contact before), `line` (the take-off line),
`ankle_before` (a moment ago), `flight_start` and `flight_end` (the centre of mass at either end of the flight before the
contact). x is forward, y up, in metres; angles are degrees from forward, up is positive.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import asdict, dataclass
from typing import Any, Literal

import numpy as np

from penult.model.arrays import Floats

ColourName = Literal["support", "body", "mat", "ink"]
Angle = float | str
"""Degrees; or the name of a value (`value`: the measure's own, `takeoff_angle`); or the name of a place to point at."""
VALUE, TAKEOFF_ANGLE = "value", "takeoff_angle"
ARC_POINTS = 33


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """A place near a named one.

    Parameters
    ----------
    of : str
        Name of a place (see the module).
    plus_m : (float, float)
        So far forward and up from it, metres.
    value : (float, float)
        And so many times the measure's own value forward and up.
    reach_m : float
        And so far in the direction of `turn`, metres.
    turn : Angle
        Where `reach_m` points.
    level : {'', 'runway', 'surface'}
        Put on the height of the runway, or of what the foot stood on, on the runway's centre line, before anything is added.
    """

    of: str
    plus_m: tuple[float, float] = (0.0, 0.0)
    value: tuple[float, float] = (0.0, 0.0)
    reach_m: float = 0.0
    turn: Angle = 0.0
    level: Literal["", "runway", "surface"] = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Guide:
    """A thin dashed line that an angle or a length refers to."""

    start: Place
    end: Place


@dataclass(frozen=True, slots=True, kw_only=True)
class Arc:
    """An arc about a place, the shorter way from one angle to the other; its middle carries the label."""

    about: Place
    radius_m: float
    start: Angle
    end: Angle
    colour: ColourName


@dataclass(frozen=True, slots=True, kw_only=True)
class Length:
    """A measured length: a line with a bar across each end, `below_px` under its places; `label` is the share along it."""

    start: Place
    end: Place
    below_px: float = 0.0
    label: float = 0.5


@dataclass(frozen=True, slots=True, kw_only=True)
class Arrow:
    """An arrow; `label` is the share along it that carries the label."""

    start: Place
    end: Place
    colour: ColourName
    label: float = 0.5


@dataclass(frozen=True, slots=True, kw_only=True)
class Path:
    """A plain line through places; `label` is the number of the place that carries the label."""

    places: tuple[Place, ...]
    colour: ColourName
    label: int = 0


Shape = Guide | Arc | Length | Arrow | Path
Drawing = tuple[Shape, ...]
"""The last shape carries the label."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Known:
    """What the places and values of a drawing are in one picture.

    Parameters
    ----------
    place_m : callable
        Name of a place -> (3,) metres, or None where it is not seen.
    values : mapping
        `value`, `takeoff_angle` -> number, in the unit of the result file (angles in degrees).
    surface_m : float
        Height of what the foot stood on above the runway.
    """

    place_m: Callable[[str], Floats | None]
    values: Mapping[str, float]
    surface_m: float = 0.0


def angle_deg(angle: Angle, at_m: Floats, known: Known) -> float | None:
    """Return an angle in degrees, seen from a place (3,); None where what it needs is not known."""
    if not isinstance(angle, str):
        return angle
    if angle in (VALUE, TAKEOFF_ANGLE):
        return known.values.get(angle)
    to_m = known.place_m(angle)
    return None if to_m is None else float(np.degrees(np.arctan2(to_m[1] - at_m[1], to_m[0] - at_m[0])))


def where_m(place: Place, known: Known) -> Floats | None:
    """Return a place (3,), metres; None where what it needs is not known."""
    at_m = known.place_m(place.of)
    if at_m is None or (any(place.value) and VALUE not in known.values):
        return None
    if place.level:
        at_m = np.array([at_m[0], known.surface_m if place.level == "surface" else 0.0, 0.0])
    own = known.values.get(VALUE, 0.0)
    turn = angle_deg(place.turn, at_m, known)
    if turn is None:
        return None
    along = place.reach_m * np.array([np.cos(np.deg2rad(turn)), np.sin(np.deg2rad(turn))])
    moved = at_m[:2] + np.array(place.plus_m) + own * np.array(place.value) + along
    return np.array([*moved, at_m[2]])


def points_m(shape: Shape, known: Known) -> Floats | None:
    """Return the points (n, 3) that a shape goes through, metres; None where what it needs is not known."""
    if isinstance(shape, Arc):
        return _arc_m(shape, known)
    ends = shape.places if isinstance(shape, Path) else (shape.start, shape.end)
    found = [where_m(place, known) for place in ends]
    return None if any(p is None for p in found) else np.array(found)


def _arc_m(arc: Arc, known: Known) -> Floats | None:
    about = where_m(arc.about, known)
    if about is None:
        return None
    start, end = (angle_deg(a, about, known) for a in (arc.start, arc.end))
    if start is None or end is None:
        return None
    turn = np.deg2rad(start + ((end - start + 180.0) % 360.0 - 180.0) * np.linspace(0.0, 1.0, ARC_POINTS))
    xy_m = about[:2] + arc.radius_m * np.stack([np.cos(turn), np.sin(turn)], axis=1)
    return np.column_stack([xy_m, np.full(ARC_POINTS, about[2])])


def as_data(drawing: Drawing) -> list[dict[str, Any]]:
    """Return a drawing as plain data: each shape's fields beside its name in small letters, for a page."""
    return [{"shape": type(shape).__name__.lower(), **asdict(shape)} for shape in drawing]
