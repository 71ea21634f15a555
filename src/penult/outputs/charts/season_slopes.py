"""Official distance against a speed, beside the slopes that were published."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np

from penult.core.numeric.fits import GRAVITY_M_PER_S2
from penult.model.comparison import Slope
from penult.model.measured import Measured
from penult.outputs.charts.bars import Scale
from penult.outputs.charts.season_charts import Kind
from penult.outputs.charts.svg import Drawing, Point, tight_scale
from penult.outputs.texts import words

LANDING_DROP_M = 0.55  # MEASURES section 4, flight_distance_m


@dataclass(frozen=True, slots=True, kw_only=True)
class Published:
    """A slope of distance against speed that is not the athlete's own.

    Parameters
    ----------
    slope_s : float
        Metres of distance a metre per second of speed.
    words : str
        Of whom, and where it was published or how it was worked out.
    kind : str
        Class of its line.
    """

    slope_s: float
    words: str
    kind: str


BRIDGETT = "Bridgett, Galloway and Linthorne 2002, ISBS proceedings p. 80, abstract; read"
APPROACH: tuple[Published, ...] = (
    Published(slope_s=0.8, words=f"within one elite man, 71 jumps: 8 cm per 0.1 m/s ({BRIDGETT})", kind="published-1"),
    Published(slope_s=1.3, words=f"from athlete to athlete: 13 cm per 0.1 m/s ({BRIDGETT})", kind="published-2"),
)


def flight_slope(slope: Slope) -> Published | None:
    """Return how the flight distance of a body grows with its take-off speed, at the mean take-off of these jumps.

    Nothing published: the derivative of the projectile relation R = vx (vy + sqrt(vy^2 + 2 g h)) / g along the mean
    direction, with the landing 0.55 m lower.
    """
    angles = [t.analysis.takeoff.get("takeoff_angle_deg") for _, _, t in slope.points]
    known = [math.radians(a.value) for a in angles if isinstance(a, Measured)]
    if not known or not slope.points:
        return None
    angle, speed = float(np.mean(known)), float(np.mean([p[0] for p in slope.points]))
    step = 1e-4
    rise = (flight_m(speed + step, angle) - flight_m(speed - step, angle)) / (2.0 * step)
    text = f"computed, not published: flight of a body at the mean angle, {10.0 * rise:.0f} cm per 0.1 m/s"
    return Published(slope_s=rise, words=text, kind="published-1")


def flight_m(speed: float, angle: float) -> float:
    """Return the projectile distance for a speed (m/s) and an angle (radians), landing 0.55 m lower."""
    vx, vy = speed * math.cos(angle), speed * math.sin(angle)
    return vx * (vy + math.sqrt(vy * vy + 2.0 * GRAVITY_M_PER_S2 * LANDING_DROP_M)) / GRAVITY_M_PER_S2


def published_for(slope: Slope) -> tuple[Published, ...]:
    """Return the slopes that belong beside an athlete's own."""
    if slope.key.name == "approach_speed_m_per_s":
        return APPROACH
    found = flight_slope(slope)
    return (found,) if found else ()


def own_words(slope: Slope) -> str:
    """Return the athlete's own slope in words."""
    n = len(slope.points)
    if slope.slope_s is None or slope.half_width_s is None:
        return f"{n} jump{'s' if n != 1 else ''} with a measured distance: too few for a line of the athlete's own"
    half = 10.0 * slope.half_width_s
    places = words.decimals(half)
    own = f"{words.number(10.0 * slope.slope_s, places)} {words.PLUS_MINUS} {words.number(half, places)} cm per 0.1 m/s"
    return f"the athlete's own line over {n} jumps: {own} (95 %)"


def slope_chart(slope: Slope, kinds: Mapping[str, Kind], *, width: float = 370.0) -> str:
    """Return distance against speed: a mark a jump, the athlete's own line, and the published slopes through the mean."""
    xs, ys = np.array([p[0] for p in slope.points]), np.array([p[1] for p in slope.points])
    x_scale, y_scale = tight_scale(xs.tolist(), parts=4), tight_scale(ys.tolist())
    left, right, top, bottom = 40.0, width - 8.0, 22.0, 216.0
    alt = f"official distance against {words.term(slope.key.name).words}, {len(xs)} jumps; {own_words(slope)}"
    picture = Drawing(width, 254.0, "slopes", alt)

    def at(x: float, y: float) -> tuple[float, float]:
        share = (y - y_scale.low) / (y_scale.high - y_scale.low)
        return x_scale.x(x, left, right), bottom - share * (bottom - top)

    _axes(picture, (x_scale, y_scale), (left, right, top, bottom), slope)
    mean_x, mean_y = float(xs.mean()), float(ys.mean())
    for line in published_for(slope):
        _line(picture, at, (x_scale, y_scale), (mean_x, mean_y, line.slope_s), f"slope {line.kind}")
    if slope.slope_s is not None:
        _line(picture, at, (x_scale, y_scale), (mean_x, mean_y, slope.slope_s), "slope own")
    for x, y, trial in slope.points:
        kind = kinds[trial.analysis.run.kind]
        title = f"{trial.said.date}, {trial.analysis.clip.file}: {y:.2f} m"
        picture.mark(at(x, y), kind.shape, f"k{kind.number} clip", size=3.4, title=title)
    return picture.svg()


def _axes(picture: Drawing, scales: tuple[Scale, Scale], box: tuple[float, float, float, float], slope: Slope) -> None:
    left, right, top, bottom = box
    x_scale, y_scale = scales
    for tick in y_scale.ticks:
        y = bottom - (tick - y_scale.low) / (y_scale.high - y_scale.low) * (bottom - top)
        picture.line((left, y), (right, y), "grid")
        picture.text((left - 5.0, y + 4.0), y_scale.text(tick), "tick", anchor="end")
    for tick in x_scale.ticks:
        x = x_scale.x(tick, left, right)
        picture.line((x, bottom), (x, bottom + 4.0), "axis")
        picture.text((x, bottom + 16.0), x_scale.text(tick), "tick", anchor="middle")
    picture.line((left, bottom), (right, bottom), "axis")
    picture.text((2.0, 12.0), "official distance, m", "tick")
    picture.text((right, bottom + 32.0), f"{words.term(slope.key.name).words}, m/s", "tick", anchor="end")


def _line(
    picture: Drawing,
    at: Callable[[float, float], Point],
    scales: tuple[Scale, Scale],
    line: tuple[float, float, float],
    kind: str,
) -> None:
    """Draw a line through a point with a slope, as far as both scales reach."""
    x_scale, y_scale = scales
    x0, y0, rise = line
    ends = [x_scale.low, x_scale.high]
    if rise:
        cuts = sorted((x0 + (y - y0) / rise) for y in (y_scale.low, y_scale.high))
        ends = [max(ends[0], cuts[0]), min(ends[1], cuts[1])]
    picture.path([at(x, y0 + rise * (x - x0)) for x in ends], kind)
