"""Synthetic runs and evidence put together by hand, for all tests of the measuring core."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from penult.core.joints.body import mass_centre, middle, segment_table
from penult.core.joints.locate import joint_depths, to_runway
from penult.core.measures.evidence import ContactEvidence, Event, FlightEvidence, Hips
from penult.core.synthetic.film import film, frame_times_s, square_camera
from penult.core.synthetic.run import RUN_THROUGH, Runner, make_runner
from penult.model.analysis import Foot
from penult.model.arrays import Floats
from penult.model.calibration import Camera
from penult.model.skeleton import JOINTS
from penult.model.track import PixelTrack, RunwayTrack

RATE_HZ = 240.0


@pytest.fixture(scope="session")
def camera() -> Camera:
    """Return a known camera, square to the run."""
    return square_camera()


@pytest.fixture(scope="session")
def runner() -> Runner:
    """Return a full approach with a take-off from the left foot."""
    return make_runner()


@pytest.fixture(scope="session")
def run_through() -> Runner:
    """Return a run that goes on beyond the line."""
    return make_runner(RUN_THROUGH)


@pytest.fixture(scope="session")
def pixels(runner: Runner, camera: Camera) -> PixelTrack:
    """Return the full approach without any fault, in the picture."""
    return film(runner, camera, frame_times_s(runner, RATE_HZ))


@pytest.fixture(scope="session")
def runway(pixels: PixelTrack, camera: Camera) -> RunwayTrack:
    """Return the same on the runway."""
    return to_runway(pixels, (camera,), np.asarray(joint_depths()))


class Made:
    """Evidence put together by hand: postures with given angles, contacts, flights; draws all alike unless given."""

    count = 41

    @classmethod
    def drawn(cls, value: Any) -> Floats:
        """Return a value of any shape as draws, all alike."""
        return np.repeat(np.asarray(value, dtype=float)[None], cls.count, axis=0)

    @staticmethod
    def posture(
        *,
        side: Foot = "left",
        hip_m: tuple[float, float] = (0.0, 0.95),
        ankle_m: tuple[float, float] = (0.0, 0.09),
        knee_deg: float = 180.0,
        trunk_deg: float = 0.0,
    ) -> Floats:
        """Return a body (k, 2) whose leg of that side has that knee angle; thigh and shank are as long as that needs."""
        body = np.empty((len(JOINTS), 2))
        hip, ankle = np.array(hip_m), np.array(ankle_m)
        lean = np.radians(trunk_deg)
        shoulder = hip + 0.5 * np.array([np.sin(lean), np.cos(lean)])
        half = np.linalg.norm(hip - ankle) / 2.0
        forward = (hip - ankle)[::-1] * (1.0, -1.0) / (2.0 * half)
        knee = (hip + ankle) / 2.0 + forward * half / np.tan(np.radians(knee_deg / 2.0))
        for k, name in enumerate(JOINTS):
            part = name.split("_")[-1]
            body[k] = {"head": shoulder + np.array([0.0, 0.2]), "hip": hip, "knee": knee, "ankle": ankle}.get(
                part, shoulder
            )
            if part in ("heel", "toe"):
                body[k] = ankle + np.array([0.15 if part == "toe" else -0.06, -0.07])
            if part in ("knee", "ankle", "heel", "toe") and not name.startswith(side):
                body[k] = hip + np.array([0.1, -0.4])
        return body

    @classmethod
    def event(cls, **given: Any) -> Event:
        """Return a contact of 0.12 s on the runway with its toe at -2 m."""
        values: dict[str, Any] = {
            "touchdown_s": 0.70,
            "toe_off_s": 0.82,
            "toe_x_m": -2.0,
            "support_height_m": 0.0,
            "foot_angle_deg": -2.0,
        }
        values |= {n: v for n, v in given.items() if n in values}
        others = {"foot": "left"} | {n: v for n, v in given.items() if n not in values}
        return Event(**{n: cls.drawn(v) if np.ndim(v) == 0 else v for n, v in values.items()}, **others)

    @classmethod
    def contact(cls, touchdown: Floats, toe_off: Floats | None = None, **given: Any) -> ContactEvidence:
        """Return a contact's evidence from its postures."""
        event = given.pop("event", None) or cls.event()
        values: dict[str, Any] = {
            "ankle_before_m": cls.drawn(0.0),
            "ankle_touchdown_m": cls.drawn(0.0),
            "mass_centre_touchdown_m": cls.drawn(mass_centre(touchdown, segment_table(None))),
            "knee_min_deg": cls.drawn(140.0),
            "wholly_seen": True,
            "interval_s": 1.0 / 240.0,
        }
        off = touchdown if toe_off is None else toe_off
        hips = Hips(
            touchdown_m=cls.drawn(middle(touchdown, "hip")[..., 1]),
            lowest_m=given.pop("hip_lowest_m", cls.drawn(0.9)),
            toe_off_m=cls.drawn(middle(off, "hip")[..., 1]),
            lowest_s=given.pop("lowest_s", 0.75),
        )
        values |= {"hips": hips, "joint_hips": hips}
        return ContactEvidence(
            event=event,
            touchdown_joints_m=cls.drawn(touchdown),
            toe_off_joints_m=cls.drawn(touchdown if toe_off is None else toe_off),
            **(values | given),
        )

    @classmethod
    def flight(cls, velocity_m_per_s: tuple[float, float], height_m: float = 1.1, reason: str = "") -> FlightEvidence:
        """Return a flight with that velocity and height at toe-off, falling with g."""
        time_s = np.arange(48) / 240.0
        path = height_m + velocity_m_per_s[1] * time_s - 9.81 * time_s**2 / 2.0
        return FlightEvidence(
            position_m=cls.drawn((0.3, height_m)),
            velocity_m_per_s=cls.drawn(velocity_m_per_s),
            time_s=time_s,
            height_m=cls.drawn(path),
            reason=reason,
        )


@pytest.fixture(scope="session")
def made() -> type[Made]:
    """Return the functions that put evidence together by hand."""
    return Made
