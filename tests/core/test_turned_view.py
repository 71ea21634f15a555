"""What a turned camera cannot tell is withheld: angles beyond 20 degrees, places where nothing of known place is seen."""

from __future__ import annotations

import dataclasses
import math

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from penult.core.checks.turned_view import FOOT_DEPTH_SD_M, without_turned
from penult.core.synthetic.invented import Form, trial
from penult.model.analysis import Analysis
from penult.model.calibration import Camera
from penult.model.measured import Measured, NotMeasured
from penult.model.trial import Said


def camera(turn_deg: float, turn_sd: float = 1e-4) -> Camera:
    """Fifteen metres to the athlete's right of x = 0, level, turned about the upright (x right, y down, z ahead)."""
    c, s = math.cos(math.radians(turn_deg)), math.sin(math.radians(turn_deg))
    rotation = np.array([[c, 0.0, s], [0.0, -1.0, 0.0], [s, 0.0, -c]])
    rotvec = Rotation.from_matrix(rotation).as_rotvec()
    parameters = np.array([*rotvec, *(-rotation @ np.array([0.0, 1.4, 15.0])), math.log(3800.0), 0.0, 0.0])
    return Camera(
        parameters=parameters,
        covariance=np.diag([turn_sd**2] * 3 + [1e-4] * 6),
        image_size_px=(1920, 1080),
        centre_px=(959.5, 539.5),
    )


@pytest.fixture
def analysis() -> Analysis:
    return trial(np.random.default_rng(1), Form(athlete="A1", kind="full approach"), Said(), file="a.mp4").analysis


TIME_S = np.linspace(0.0, 1.0, 101)
SPANS = [(-2, 0.1, 0.2), (-1, 0.4, 0.5), (0, 0.7, 0.8)]


def with_views(turns_deg: dict[int, float], turn_sds: dict[int, float]) -> list[Camera]:
    """One camera a row: that of the contact whose time is nearest."""
    middles = {n: (a + b) / 2.0 for n, a, b in SPANS}
    nearest = [min(middles, key=lambda n: abs(middles[n] - t)) for t in TIME_S.tolist()]
    made = {n: camera(turns_deg[n], turn_sds[n]) for n in middles}
    return [made[n] for n in nearest]


def test_angles_of_a_contact_seen_from_30_degrees_are_withheld_and_its_times_stay(analysis: Analysis) -> None:
    cameras = with_views({-2: 30.0, -1: 15.0, 0: 2.0}, dict.fromkeys((-2, -1, 0), 1e-4))

    found = without_turned(analysis, cameras, TIME_S, SPANS)

    turned, square = found.contact(-2), found.contact(-1)
    assert turned is not None
    assert square is not None
    for name, measure in turned.measures.items():
        if name.endswith("_deg"):
            assert isinstance(measure, NotMeasured)
    withheld = turned.measures["knee_angle_touchdown_deg"]
    assert isinstance(withheld, NotMeasured)
    assert "30 degrees from square" in withheld.reason
    assert isinstance(turned.measures["contact_time_s"], Measured)
    assert square.measures == analysis.contact(-1).measures  # type: ignore[union-attr]


def test_a_toe_seen_aslant_is_less_sure_by_the_depth_of_the_foot(analysis: Analysis) -> None:
    """A foot 2.5 cm off its line slides along the run by that times the tangent of the line of sight."""
    cameras = with_views({-2: 30.0, -1: 15.0, 0: 2.0}, dict.fromkeys((-2, -1, 0), 1e-4))
    before = analysis.contact(-2)
    assert before is not None
    toe = before.measures["toe_x_m"]
    assert isinstance(toe, Measured)

    after = without_turned(analysis, cameras, TIME_S, SPANS).contact(-2)

    assert after is not None
    wider = after.measures["toe_x_m"]
    assert isinstance(wider, Measured)
    assert wider.value == toe.value
    assert wider.u95 == pytest.approx(math.hypot(toe.u95, 2.0 * FOOT_DEPTH_SD_M * abs(toe.value) / 15.0))


def test_a_sway_that_changes_sides_with_every_step_cancels(analysis: Analysis) -> None:
    """Speeds 7.0, 7.2, 7.4 m/s with -0.2, +0.2, -0.2 on top: the middle step is 7.2 again, and less sure than said."""
    speeds = {-2: 6.8, -1: 7.4, 0: 7.2}
    steps = tuple(
        dataclasses.replace(
            s, measures={**s.measures, "step_speed_m_per_s": Measured(value=speeds[s.number], u95=0.08)}
        )
        for s in analysis.steps
        if s.number in speeds
    )
    cameras = with_views(dict.fromkeys((-2, -1, 0), 45.0), dict.fromkeys((-2, -1, 0), 1e-4))

    found = without_turned(dataclasses.replace(analysis, steps=steps), cameras, TIME_S, SPANS).step(-1)

    assert found is not None
    speed = found.measures["step_speed_m_per_s"]
    assert isinstance(speed, Measured)
    assert speed.value == pytest.approx(7.2)
    assert speed.u95 > 0.08


def test_where_nothing_of_known_place_is_seen_places_are_withheld_and_times_stay(analysis: Analysis) -> None:
    cameras = with_views({-2: 5.0, -1: 5.0, 0: 5.0}, {-2: 1e-4, -1: 0.05, 0: 1e-4})

    found = without_turned(analysis, cameras, TIME_S, SPANS)

    gone, kept = found.contact(-1), found.contact(0)
    assert gone is not None
    assert kept is not None
    assert gone.measures["toe_x_m"] == NotMeasured(reason="the picture shows nothing of known place there")
    assert isinstance(gone.measures["contact_time_s"], Measured)
    assert isinstance(kept.measures["toe_x_m"], Measured)
    last = found.step(0)
    assert last is not None
    assert isinstance(last.measures["step_length_m"], NotMeasured)
    assert isinstance(last.measures["flight_time_s"], Measured)


def test_a_hand_held_phone_whose_turn_goes_together_with_its_place_is_placed(analysis: Analysis) -> None:
    """Turn and place of a phone that is free to move trade off: every frame's turn alone is known to 0.02, no frame better."""
    cameras = with_views(dict.fromkeys((-2, -1, 0), 2.0), dict.fromkeys((-2, -1, 0), 0.02))

    assert without_turned(analysis, cameras, TIME_S, SPANS) == analysis
