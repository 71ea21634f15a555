"""A made-up runner in front of a made-up camera, and the result that would be measured of it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
import pytest

from penult.model import catalogue
from penult.model.analysis import Analysis, ClipRecord, Contact, Direction, Foot, Mat, Notice, Run, Step
from penult.model.arrays import Floats, Image
from penult.model.calibration import Camera
from penult.model.clip import Frame
from penult.model.measured import Measure, Measured, NotMeasured
from penult.model.skeleton import JOINTS, joint
from penult.model.track import Motion, PixelTrack, RunwayTrack

SIZE_PX = (1280, 720)
RATE_HZ = 120.0
SPEED_M_PER_S = 8.0
FOCAL_PX = 1400.0
STEP_M, STEP_S, CONTACT_S = 2.0, 0.25, 0.11
CONTACTS = (-3, -2, -1, 0)
TOES_M = {number: 2.0 * number - 0.1 for number in CONTACTS}


@dataclass(frozen=True, slots=True, kw_only=True)
class Scene:
    """A result, the motion behind it, and its frames on demand."""

    analysis: Analysis
    motion: Motion
    frame: Callable[[int], Frame]


def touchdown_s(number: int) -> float:
    return 0.2 + STEP_S * (number - CONTACTS[0])


def hip_m(time_s: Floats) -> Floats:
    """Mid-hip: a steady run, a bounce a step, 5 cm lower about the penultimate support."""
    x = TOES_M[0] - 0.4 + SPEED_M_PER_S * (time_s - touchdown_s(0))
    bounce = 0.02 * np.cos(2.0 * np.pi * (time_s - touchdown_s(0) - 0.5 * CONTACT_S) / STEP_S)
    drop = 0.05 * np.exp(-(((time_s - touchdown_s(-1) - 0.05) / 0.1) ** 2))
    rise = np.maximum(0.0, time_s - touchdown_s(0) - CONTACT_S) * 2.5
    return np.stack([x, 0.95 - bounce - drop + rise], axis=1)


def body_m(time_s: Floats) -> Floats:
    """Joints (t, k, 3): legs swinging like scissors, arms against them, the trunk upright."""
    hip = hip_m(time_s)
    swing = np.sin(np.pi * (time_s - touchdown_s(0) - 0.06) / STEP_S)
    out = np.full((len(time_s), len(JOINTS), 3), np.nan)
    for side, sign in (("left", -1.0), ("right", 1.0)):
        z = 0.09 * sign
        reach = sign * swing
        places = {
            "shoulder": (0.05, 0.5),
            "elbow": (0.05 + 0.2 * reach, 0.25),
            "wrist": (0.3 + 0.2 * reach, 0.2),
            "hip": (0.0, 0.0),
            "knee": (0.15 + 0.25 * reach, -0.42),
            "ankle": (-0.1 + 0.5 * reach, -0.84),
            "heel": (-0.16 + 0.5 * reach, -0.9),
            "toe": (0.1 + 0.5 * reach, -0.93),
        }
        for name, (dx, dy) in places.items():
            out[:, joint(side, name)] = np.stack([hip[:, 0] + dx, hip[:, 1] + dy, np.full(len(hip), z)], axis=1)
    out[:, 0] = np.stack([hip[:, 0] + 0.1, hip[:, 1] + 0.68, np.zeros(len(hip))], axis=1)
    return out


def camera(direction: Direction = "left to right") -> Camera:
    """Ten metres beside the runway, level, looking square at x = -2.5 m; on the other side for a run to the left."""
    turned = np.pi if direction == "left to right" else 0.0
    # seen from the athlete's right, runway axes to camera axes is half a turn about x; from the left, about z
    rotation = (np.pi, 0.0, 0.0) if turned else (0.0, 0.0, np.pi)
    shift = (2.5, 1.0, 10.0) if turned else (-2.5, 1.0, 10.0)
    parameters = np.array([*rotation, *shift, np.log(FOCAL_PX), 0.0, 0.0])
    return Camera(parameters=parameters, covariance=np.zeros((9, 9)), image_size_px=SIZE_PX, centre_px=(639.5, 359.5))


def seen_px(camera_: Camera, xyz_m: Floats) -> Floats:
    """Pinhole projection written out by hand for the two cameras above (no lens distortion)."""
    flip = np.array([1.0, -1.0, -1.0]) if camera_.parameters[0] else np.array([-1.0, -1.0, 1.0])
    at = xyz_m * flip + camera_.parameters[3:6]
    return FOCAL_PX * at[..., :2] / at[..., 2:] + np.array(camera_.centre_px)


def make_scene(
    direction: Direction = "left to right",
    *,
    has_takeoff: bool = True,
    mats: tuple[Mat, ...] = (),
    doubt: bool = False,
    athlete: str = "A1",
) -> Scene:
    view = camera(direction)
    time_s = np.arange(0.1, 1.3, 1.0 / RATE_HZ)
    frame = np.arange(len(time_s)) + 12
    xyz_m = body_m(time_s)
    xy_px = seen_px(view, xyz_m)
    xy_px[((xy_px < 0) | (xy_px > np.array(SIZE_PX) - 1)).any(axis=2)] = np.nan
    shape = xy_px.shape[:2]
    motion = Motion(
        pixels=PixelTrack(frame=frame, time_s=time_s, xy_px=xy_px, score=np.ones(shape), filled=np.zeros(shape)),
        runway=RunwayTrack(frame=frame, time_s=time_s, xy_m=xyz_m[..., :2], z_m=xyz_m[0, :, 2], filled=np.zeros(shape)),
        hip_m=hip_m(time_s),
        mass_centre_m=hip_m(time_s) + np.array([0.02, 0.1]),
        cameras=(view,),
    )
    analysis = make_analysis(direction, has_takeoff=has_takeoff, mats=mats, doubt=doubt, athlete=athlete)
    return Scene(analysis=analysis, motion=motion, frame=picture)


def picture(index: int) -> Frame:
    """A plain frame with a light wall above a dark floor."""
    image: Image = np.full((SIZE_PX[1], SIZE_PX[0], 3), 200, dtype=np.uint8)
    image[480:] = 90
    return Frame(index=index, time_s=0.1 + (index - 12) / RATE_HZ, image=image)


def make_analysis(
    direction: Direction = "left to right",
    *,
    has_takeoff: bool = True,
    mats: tuple[Mat, ...] = (),
    doubt: bool = False,
    athlete: str = "A1",
) -> Analysis:
    values: dict[str, tuple[float, float]] = {
        "penultimate_hip_drop_m": (0.05, 0.009),
        "penultimate_hip_drop_above_support_m": (
            0.05 - sum(m.thickness_m * {-2: 1, -1: -1}.get(m.number, 0) for m in mats),
            0.012,
        ),
        "hip_drop_to_takeoff_m": (0.04, 0.011),
        "takeoff_angle_deg": (19.2, 0.8),
        "takeoff_velocity_x_m_per_s": (7.6, 0.12),
        "takeoff_velocity_y_m_per_s": (2.65, 0.11),
        "toe_to_board_m": (0.1, 0.016),
        "free_fall_m_per_s2": (9.7, 0.4),
        "step_length_m": (STEP_M, 0.021),
        "flight_time_s": (STEP_S - CONTACT_S, 0.0046),
        "step_time_s": (STEP_S, 0.0046),
    }

    def of(part: str) -> dict[str, Measure]:
        return {
            name: Measured(value=values[name][0], u95=values[name][1])
            if name in values
            else NotMeasured(reason=f"{name} is not part of this made-up clip")
            for name in catalogue.names(part)
        }

    takeoff = of("takeoff")
    if not has_takeoff:
        none = NotMeasured(reason="no take-off in the clip")
        takeoff = {name: m if name == "toe_to_board_m" else none for name, m in takeoff.items()}
    return Analysis(
        clip=ClipRecord(
            file="clip.mp4",
            sha256="ab" * 32,
            frames=170,
            capture_rate_hz=RATE_HZ,
            capture_rate_from="frame times",
            first_frame_s=0.0,
        ),
        run=Run(
            direction=direction, kind="full approach", has_takeoff=has_takeoff, mats=mats, athlete=athlete,
            takeoff_foot="left" if has_takeoff else None,
        ),
        contacts=tuple(make_contact(number, doubt=doubt) for number in CONTACTS),
        steps=tuple(Step(number=number, measures=of("steps")) for number in CONTACTS[1:]),
        penultimate=of("penultimate"),
        takeoff=takeoff,
        checks=of("checks"),
        warnings=(Notice(code="camera-moved", text="The camera was knocked; its move was followed."),),
        method={"penult": "0.1.0", "settings": {"athlete": athlete}},
    )  # fmt: skip


def make_contact(number: int, *, doubt: bool = False) -> Contact:
    start_s = touchdown_s(number)
    lowest_s = start_s + 0.5 * CONTACT_S
    height_m = float(hip_m(np.array([lowest_s]))[0, 1])
    values: dict[str, tuple[float, float]] = {
        "touchdown_s": (start_s, 0.003),
        "toe_off_s": (start_s + CONTACT_S, 0.0034),
        "contact_time_s": (CONTACT_S, 0.0042),
        "toe_x_m": (TOES_M[number], 0.016),
        "support_height_m": (0.0, 0.008),
        "foot_angle_touchdown_deg": (4.0, 4.2),
        "leg_angle_touchdown_deg": (63.0, 1.1),
        "leg_angle_toe_off_deg": (74.0, 1.2),
        "touchdown_distance_m": (0.45, 0.03),
        "knee_angle_touchdown_deg": (160.0, 3.5),
        "knee_angle_toe_off_deg": (165.0, 3.5),
        "trunk_angle_touchdown_deg": (-2.0, 2.1),
        "hip_height_touchdown_m": (height_m + 0.02, 0.028),
        "hip_height_lowest_m": (height_m, 0.028),
    }
    measures: dict[str, Measure] = {
        name: Measured(value=values[name][0], u95=values[name][1])
        if name in values
        else NotMeasured(reason="hidden behind the near leg")
        for name in catalogue.names("contacts")
    }
    measures["knee_angle_min_deg"] = Measured(value=140.0, u95=3.3, by_hand=True)
    if doubt:
        timed = ("touchdown_s", "toe_off_s", "contact_time_s", "foot_speed_touchdown_m_per_s")
        measures.update({name: NotMeasured(reason="the capture rate is in doubt") for name in timed})
    foot: Foot = "left" if number % 2 == 0 else "right"
    return Contact(
        number=number,
        foot=foot,
        measures=measures,
        lowest_s=lowest_s,
        span_s=(start_s, start_s + CONTACT_S),
        strike="flat",
    )


@pytest.fixture(scope="session")
def scene() -> Scene:
    return make_scene()


@pytest.fixture(scope="session")
def leftward() -> Scene:
    return make_scene("right to left")


@pytest.fixture(scope="session")
def with_mats() -> Scene:
    """Mats as said, and the surfaces measured so: one that is measured elsewhere is drawn there."""
    mats = {-2: 0.05, 0: 0.04}
    made = make_scene(mats=tuple(Mat(number=n, thickness_m=t) for n, t in mats.items()))
    contacts = tuple(
        replace(c, measures={**c.measures, "support_height_m": Measured(value=mats.get(c.number, 0.0), u95=0.008)})
        for c in made.analysis.contacts
    )
    return replace(made, analysis=replace(made.analysis, contacts=contacts))


@pytest.fixture(scope="session")
def run_through() -> Scene:
    return make_scene(has_takeoff=False)


@pytest.fixture(scope="session")
def doubted() -> Scene:
    return make_scene(doubt=True)


@pytest.fixture(scope="session")
def hostile() -> Scene:
    """A label that tries to be markup, a formula and an entity at once."""
    return make_scene(athlete='=<script>alert("A&1")</script>')
