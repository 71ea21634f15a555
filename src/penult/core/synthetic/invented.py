"""Invented runs with numbers that fit together, for tests, benchmarks and the demo season. Nothing here was measured.

Step time is contact plus flight, toes lie a step length apart, velocities give the angle: a page made from an invented
run looks like one made from a clip. Every random number comes from the generator that is handed in.
"""

from __future__ import annotations

import hashlib
import math
from dataclasses import dataclass
from typing import Any

import numpy as np

from penult.core.numeric.fits import GRAVITY_M_PER_S2
from penult.model.analysis import Analysis, ClipRecord, Contact, Foot, Mat, Notice, Run, Step
from penult.model.arrays import Floats
from penult.model.measured import Measure, Measured, NotMeasured
from penult.model.trial import HipPath, Said, Trial

_NUMBERS = (-3, -2, -1, 0)
_STEP_SHARE = {-2: 0.99, -1: 1.0, 0: 0.99}
_CONTACT_S = {-3: 0.104, -2: 0.105, -1: 0.112, 0: 0.124}
_FLIGHT_S = {-2: 0.142, -1: 0.150, 0: 0.116}
_START_S = 0.35
_U95 = {"_m_per_s": 0.06, "_percent": 0.7, "_hz": 0.07, "_deg": 1.2, "_s": 0.004, "_m": 0.012}
_SPREAD = {"_m_per_s": 0.07, "_percent": 0.9, "_deg": 1.4, "_m": 0.018}
_CONTACT_S_SPREAD = 0.004
_DROP_SPREAD_M = 0.006
_SHOE_M = 0.27


@dataclass(frozen=True, slots=True, kw_only=True)
class Form:
    """What an invented run is like on average.

    Parameters
    ----------
    athlete, kind : str
        Labels.
    approach_strides : int
        The speed grows with them.
    mats : tuple of Mat
        Under which contacts.
    has_takeoff : bool
        False for a run-through.
    hip_m : float
        Lowest hip over the third-last support.
    drop_m : float
        Penultimate hip drop.
    foot_angle_deg : float
        At the penultimate touchdown; 0 is flat.
    speed_m_per_s : float
        Approach speed.
    rise_m_per_s : float
        Upward speed at take-off.
    takeoff_foot : {'left', 'right'}
        Of contact 0.
    """

    athlete: str
    kind: str
    approach_strides: int = 18
    mats: tuple[Mat, ...] = ()
    has_takeoff: bool = True
    hip_m: float = 0.93
    drop_m: float = 0.035
    foot_angle_deg: float = 4.0
    speed_m_per_s: float = 8.6
    rise_m_per_s: float = 2.9
    takeoff_foot: Foot = "left"


@dataclass(frozen=True, slots=True, kw_only=True)
class Made:
    """How and with what an invented clip was 'measured'."""

    lane: str = "lane.json"
    penult: str = "0.1.0"
    pose_model_sha256: str = "0" * 64
    warnings: tuple[Notice, ...] = ()


def trial(
    rng: np.random.Generator, form: Form, said: Said, *, file: str = "clip.mp4", made: Made | None = None
) -> Trial:
    """Return one invented run as it would come from a logbook, with its hip path."""
    made = made or Made()
    run = _Invented(rng, form)
    sha256 = hashlib.sha256(f"{form.athlete} {said.date} {file} {rng.integers(1 << 62)}".encode()).hexdigest()
    analysis = Analysis(
        clip=ClipRecord(
            file=file,
            sha256=sha256,
            frames=335,
            capture_rate_hz=240.0,
            capture_rate_from="frame times",
            first_frame_s=0.0,
        ),
        run=Run(
            direction="left to right",
            kind=form.kind,
            has_takeoff=form.has_takeoff,
            mats=form.mats,
            athlete=form.athlete,
            takeoff_foot=form.takeoff_foot if form.has_takeoff else None,
        ),
        contacts=tuple(run.contact(n) for n in _NUMBERS),
        steps=tuple(run.step(n) for n in _NUMBERS[1:]),
        penultimate=run.penultimate(),
        takeoff=run.takeoff(),
        checks={"free_fall_m_per_s2": Measured(value=round(GRAVITY_M_PER_S2 + rng.normal(0.0, 0.1), 3), u95=0.3)},
        warnings=made.warnings,
        method=_method(made),
    )
    return Trial(analysis=analysis, said=said, hip_path=run.hip_path())


def _method(made: Made) -> dict[str, Any]:
    return {
        "penult": made.penult,
        "pose_model": "invented",
        "pose_model_sha256": made.pose_model_sha256,
        "calibration": made.lane,
        "calibration_sha256": hashlib.sha256(made.lane.encode()).hexdigest(),
        "settings": {},
    }


class _Invented:
    """One draw of a run: times, toes and hip heights first, every measure from them."""

    def __init__(self, rng: np.random.Generator, form: Form) -> None:
        self.rng, self.form = rng, form
        self.speed = form.speed_m_per_s + rng.normal(0.0, 0.07)
        self.drop = form.drop_m + rng.normal(0.0, _DROP_SPREAD_M)
        self.contact_s = {n: t + rng.normal(0.0, _CONTACT_S_SPREAD) for n, t in _CONTACT_S.items()}
        self.flight_s = {n: t + rng.normal(0.0, _CONTACT_S_SPREAD) for n, t in _FLIGHT_S.items()}
        self.step_m = {
            n: share * self.speed * (self.contact_s[n - 1] + self.flight_s[n]) + rng.normal(0.0, 0.03)
            for n, share in _STEP_SHARE.items()
        }
        self.touchdown_s = self._touchdowns()
        self.toe_x = self._toes()
        base = form.hip_m + rng.normal(0.0, 0.006)
        self.lowest = {-3: base + 0.002, -2: base, -1: base - self.drop, 0: base - self.drop - rng.normal(0.008, 0.004)}
        self.mats = {m.number: m.thickness_m for m in form.mats}

    def contact(self, number: int) -> Contact:
        """Return one contact with all its measures."""
        takeoff, low = number == 0 and self.form.has_takeoff, self.lowest[number]
        td, to, surface = self.touchdown_s[number], self.toe_off_s(number), self.mats.get(number, 0.0)
        foot_angle = self.form.foot_angle_deg if number == -1 else (3.0 if takeoff else -3.0)
        heights = {"touchdown": low + 0.022, "lowest": low, "toe_off": low + (0.075 if takeoff else 0.027)}
        measures: dict[str, Measure] = {
            "touchdown_s": _exactly("touchdown_s", td),
            "toe_off_s": _exactly("toe_off_s", to),
            "contact_time_s": _exactly("contact_time_s", to - td),
            "toe_x_m": _exactly("toe_x_m", self.toe_x[number]),
            "support_height_m": self._surface(surface),
            "foot_angle_touchdown_deg": self._near("foot_angle_touchdown_deg", foot_angle),
            "leg_angle_touchdown_deg": self._near("leg_angle_touchdown_deg", 63.0 if takeoff else 72.0),
            "leg_angle_toe_off_deg": self._near("leg_angle_toe_off_deg", 75.0 if takeoff else 58.0),
            "touchdown_distance_m": self._near("touchdown_distance_m", 0.52 if takeoff else 0.44),
            "touchdown_distance_mass_centre_m": self._near(
                "touchdown_distance_mass_centre_m", 0.46 if takeoff else 0.39
            ),
            "knee_angle_touchdown_deg": self._near("knee_angle_touchdown_deg", 164.0 if takeoff else 155.0),
            "knee_angle_min_deg": self._near("knee_angle_min_deg", 141.0 if takeoff else 134.0),
            "knee_angle_toe_off_deg": self._near("knee_angle_toe_off_deg", 170.0 if takeoff else 164.0),
            "trunk_angle_touchdown_deg": self._near("trunk_angle_touchdown_deg", -3.0 if takeoff else 5.0),
            "trunk_angle_toe_off_deg": self._near("trunk_angle_toe_off_deg", 1.0 if takeoff else 6.0),
            **{f"hip_height_{i}_m": Measured(value=round(h, 6), u95=0.031) for i, h in heights.items()},
            **{
                f"hip_above_support_{i}_m": Measured(value=round(h - surface, 6), u95=0.033) for i, h in heights.items()
            },
            "foot_speed_touchdown_m_per_s": self._near("foot_speed_touchdown_m_per_s", 2.2),
        }
        strike = "heel first" if foot_angle > 8.0 else "flat" if foot_angle >= -1.6 else "forefoot"
        foot: Foot = (
            self.form.takeoff_foot if number % 2 == 0 else ("right" if self.form.takeoff_foot == "left" else "left")
        )
        return Contact(
            number=number, foot=foot, measures=measures, lowest_s=td + 0.45 * (to - td), span_s=(td, to), strike=strike
        )

    def step(self, number: int) -> Step:
        """Return the step that ends at a contact."""
        time_s = self.contact_s[number - 1] + self.flight_s[number]
        before = self.step_m.get(number - 1)
        before_s = self.contact_s[number - 2] + self.flight_s[number - 1] if number - 1 in self.flight_s else None
        none = NotMeasured(reason="the step before it is not in the picture")
        measures: dict[str, Measure] = {
            "step_length_m": _exactly("step_length_m", self.step_m[number]),
            "flight_time_s": _exactly("flight_time_s", self.flight_s[number]),
            "step_time_s": _exactly("step_time_s", time_s),
            "step_rate_hz": _exactly("step_rate_hz", 1.0 / time_s),
            "step_speed_m_per_s": self._near("step_speed_m_per_s", self.speed, 0.03),
            "step_length_over_time_m_per_s": _exactly("step_length_over_time_m_per_s", self.step_m[number] / time_s),
            "step_length_ratio": none
            if before is None
            else Measured(value=round(self.step_m[number] / before, 6), u95=0.012),
            "step_time_ratio": none if before_s is None else Measured(value=round(time_s / before_s, 6), u95=0.03),
        }
        return Step(number=number, measures=measures)

    def penultimate(self) -> dict[str, Measure]:
        """Return the hip drops."""
        return {
            "penultimate_hip_drop_m": Measured(value=round(self.lowest[-2] - self.lowest[-1], 6), u95=0.009),
            "penultimate_hip_drop_above_support_m": Measured(
                value=round(self._above(-2) - self._above(-1), 6), u95=0.012
            ),
            "penultimate_hip_drop_share": NotMeasured(reason="neither height nor leg length of the athlete is known"),
            "hip_drop_to_takeoff_m": Measured(value=round(self.lowest[-1] + 0.022 - self.lowest[0], 6), u95=0.012),
        }

    def takeoff(self) -> dict[str, Measure]:
        """Return the take-off; in a run-through nothing but the place of the last contact."""
        toe = Measured(value=round(-self.toe_x[0], 6), u95=0.02)
        names = ("approach_speed_m_per_s", "takeoff_velocity_x_m_per_s", "takeoff_velocity_y_m_per_s",
                 "takeoff_speed_m_per_s", "takeoff_angle_deg", "speed_loss_m_per_s", "speed_loss_percent",
                 "takeoff_height_m", "flight_distance_m")  # fmt: skip
        if not self.form.has_takeoff:
            return {"toe_to_board_m": toe, **dict.fromkeys(names, NotMeasured(reason="no take-off in the clip"))}
        vx = 0.87 * self.speed + self.rng.normal(0.0, 0.06)
        vy = self.form.rise_m_per_s + self.rng.normal(0.0, 0.07)
        flight_s = (vy + math.sqrt(vy * vy + 2.0 * GRAVITY_M_PER_S2 * 0.55)) / GRAVITY_M_PER_S2
        values = (self.speed, vx, vy, math.hypot(vx, vy), math.degrees(math.atan2(vy, vx)), self.speed - vx,
                  100.0 * (self.speed - vx) / self.speed, self.lowest[-2] + 0.2, vx * flight_s)  # fmt: skip
        found: dict[str, Measure] = {"toe_to_board_m": toe}
        found |= {name: _exactly(name, value) for name, value in zip(names, values, strict=True)}
        found["flight_distance_m"] = Measured(value=round(values[-1], 6), u95=0.32)
        found["takeoff_angle_deg"] = Measured(value=round(values[4], 6), u95=0.5)
        return found

    def hip_path(self) -> HipPath:
        """Return a smooth path through the lowest points, higher between them, and the rise after the take-off."""
        knots: list[tuple[float, float]] = []
        for number in _NUMBERS:
            td, to, low = self.touchdown_s[number], self.toe_off_s(number), self.lowest[number]
            knots += [
                (td, low + 0.022),
                (td + 0.45 * (to - td), low),
                (to, low + (0.075 if number == 0 and self.form.has_takeoff else 0.027)),
            ]
        after_s = np.arange(1, 9) * 0.02
        end_s, end_m = knots[-1]
        rise = self.form.rise_m_per_s if self.form.has_takeoff else 0.35
        knots += [(end_s + t, end_m + rise * t - 4.905 * t * t) for t in after_s]
        time_s = np.arange(_START_S - 0.04, knots[-1][0], 1.0 / 240.0)
        height: Floats = _monotone(time_s, np.array(knots))
        along = np.interp(
            time_s, list(self.touchdown_s.values()), [self.toe_x[n] - 0.46 for n in _NUMBERS], left=np.nan, right=np.nan
        )
        for i in np.flatnonzero(np.isnan(along)):  # beyond the contacts: at the run's speed
            edge = _NUMBERS[0] if time_s[i] < self.touchdown_s[_NUMBERS[0]] else _NUMBERS[-1]
            along[i] = self.toe_x[edge] - 0.46 + self.speed * (time_s[i] - self.touchdown_s[edge])
        return HipPath(time_s=time_s, x_m=along, height_m=height)

    def toe_off_s(self, number: int) -> float:
        """Return when a foot leaves the ground."""
        return self.touchdown_s[number] + self.contact_s[number]

    def _touchdowns(self) -> dict[int, float]:
        found = {-3: _START_S}
        for number in _NUMBERS[1:]:
            found[number] = found[number - 1] + self.contact_s[number - 1] + self.flight_s[number]
        return found

    def _toes(self) -> dict[int, float]:
        found = {0: -abs(self.rng.normal(0.06, 0.09))}
        for number in (0, -1, -2):
            found[number - 1] = found[number] - self.step_m[number]
        return found

    def _above(self, number: int) -> float:
        return self.lowest[number] - self.mats.get(number, 0.0)

    def _surface(self, height_m: float) -> Measured:
        if height_m == 0.0:
            return Measured(value=0.0, u95=0.006)
        return Measured(value=round(height_m + self.rng.normal(0.0, 0.003), 6), u95=0.008)

    def _near(self, name: str, value: float, spread: float | None = None) -> Measured:
        spread = _of_unit(_SPREAD, name) if spread is None else spread
        return _exactly(name, value + self.rng.normal(0.0, spread))


def _exactly(name: str, value: float) -> Measured:
    return Measured(value=round(float(value), 6), u95=_of_unit(_U95, name))


def _of_unit(table: dict[str, float], name: str) -> float:
    return next((v for unit, v in table.items() if name.endswith(unit)), 0.02)


def _monotone(at: Floats, knots: Floats) -> Floats:
    from scipy.interpolate import PchipInterpolator  # noqa: PLC0415 - only the demo and tests need it

    return np.asarray(PchipInterpolator(knots[:, 0], knots[:, 1])(at), dtype=np.float64)
