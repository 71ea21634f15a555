"""The whole measuring chain on a synthetic run with all faults that its uncertainty model knows: values and their u95.

The stated uncertainty is itself tested (MEASURES.md section 5): the truth must lie inside u95 as often as that says, and
the errors must be as large as stated, neither larger nor much smaller.
"""

from __future__ import annotations

import dataclasses
from collections import Counter, defaultdict

import numpy as np
import pytest

from penult.core.checks.withheld import VAGUE
from penult.core.lane.fit import fit_lane
from penult.core.measures.takeoff import LANDING_DROP_M
from penult.core.pipeline import Outcome, measure
from penult.core.pipeline import locate as locate_joints
from penult.core.synthetic.film import (
    Faults,
    ShoeSpread,
    clip_of,
    film,
    frame_times_s,
    lane_file,
    shoes,
    square_camera,
)
from penult.core.synthetic.run import Plan, Runner, make_runner
from penult.core.synthetic.truth import truth
from penult.core.trunk import flight_drift
from penult.core.uncertainty import draws
from penult.errors import NotMeasurableError
from penult.model.analysis import Analysis, Mat
from penult.model.calibration import Camera, LaneFit
from penult.model.measured import Measure, Measured, NotMeasured
from penult.model.settings import Settings
from penult.model.skeleton import JOINTS
from penult.model.track import PixelTrack

RATE_HZ = 120.0
SEEDS, FEWER_DRAWS = 64, 60
"""Each seed measures the whole run; 60 draws instead of 250 give an SD within 9 % and take a quarter of the time."""

PIXEL_M = 0.0063
"""Of the made-up camera, at the athlete."""

MATS_M = {-1: 0.05, 0: 0.03}
FAULTS = Faults(
    noise_px=0.0072 / PIXEL_M,
    figure_m=0.004,
    both_m={
        "head": (0.008, 0.008),
        "shoulder": (0.005, 0.008),
        "elbow": (0.012, 0.008),
        "wrist": (0.010, 0.008),
        "hip": (0.008, 0.008),
        "knee": (0.008, 0.008),
        "ankle": (0.007, 0.007),
        "heel": (0.007, 0.009),
        "toe": (0.010, 0.008),
    },
    one_m={
        "shoulder": (0.008, 0.005),
        "elbow": (0.013, 0.005),
        "wrist": (0.006, 0.007),
        "hip": (0.010, 0.004),
        "knee": (0.006, 0.005),
        "ankle": (0.006, 0.004),
        "heel": (0.006, 0.005),
        "toe": (0.011, 0.004),
    },
    opposed_share=0.7,
    knee_alike_share=0.3,
    drift_m={
        "toe": (0.012, 0.012),
        "shoulder": (0.010, 0.008),
        "hip": (0.010, 0.006),
        "knee": (0.011, 0.009),
        "ankle": (0.011, 0.005),
        "other": (0.007, 0.007),
    },
    drift_s=0.08,
    flight_drift_m={
        "head": (0.006, 0.005),
        "shoulder": (0.010, 0.012),
        "elbow": (0.024, 0.018),
        "wrist": (0.025, 0.016),
        "hip": (0.011, 0.012),
        "knee": (0.015, 0.016),
        "ankle": (0.015, 0.011),
        "heel": (0.018, 0.016),
        "toe": (0.023, 0.016),
    },
    depth_m=np.array(
        [{"wrist": 0.08, "ankle": 0.035, "heel": 0.035, "toe": 0.025}.get(n.split("_")[-1], 0.02) for n in JOINTS]
    ),
    line_m=0.04,
)
"""Faults as large as films with known truth show them, both generations, clothes included, widened for other bodies: numbers
from outside, written down here. A prior of the product that is smaller than these fails below."""

COMMON_SHARE = 0.4
"""Share of the variance of instants that a clip's instants have in common (eleven films with known truth)."""


MOST_VAGUE = 0.10
"""Share of a measure's values that may be withheld because they say nothing (a foot's speed, at this rate)."""


def flat(result: Analysis) -> dict[str, Measure]:
    """Return every measure as 'part|number|name', as the truth has them."""
    out: dict[str, Measure] = {}
    for part, items in (("contacts", result.contacts), ("steps", result.steps)):
        out |= {f"{part}|{item.number}|{name}": m for item in items for name, m in item.measures.items()}
    for part in ("penultimate", "takeoff", "checks"):
        out |= {f"{part}|-|{name}": m for name, m in getattr(result, part).items()}
    return out


def outcome(
    runner: Runner,
    camera: Camera,
    faults: Faults | None = None,
    seed: int = 0,
    *,
    rate_hz: float = RATE_HZ,
    settings: Settings | None = None,
    board: bool = True,
    with_shoes: bool = True,
) -> Outcome:
    """Film a run, calibrate on clicked marks, look at the shoes, measure."""
    rng = np.random.default_rng(seed)
    time_s = frame_times_s(runner, rate_hz)
    track = film(runner, camera, time_s, faults, rng)
    fit = fit_lane(lane_file(camera, 0.7 if faults else 0.01, rng, board=board))
    settings = settings or Settings()
    found = locate_joints(track, (fit.camera,), camera.image_size_px, settings)
    spread = (
        ShoeSpread(common_share=COMMON_SHARE)
        if faults
        else ShoeSpread(time_s=1e-6, toe_m=1e-6, surface_m=1e-6, foot_deg=1e-6)
    )
    seen = shoes(list(runner.shown().values()), spread, rng) if with_shoes else [None] * len(found.supports)
    return measure(found, seen, clip_of(time_s, camera), fit, settings, {})


@pytest.fixture(scope="module")
def errors() -> dict[str, list[float]]:
    """Return, by name of the measure, (value - truth) / (u95 / 2) over contacts and seeds."""
    with pytest.MonkeyPatch.context() as patch:
        for module in (draws, flight_drift):
            patch.setattr(module, "COUNT", FEWER_DRAWS)
        return _errors()


def _errors() -> dict[str, list[float]]:
    camera = square_camera()
    runners = [make_runner(Plan(mats_m=MATS_M, sex=sex)) for sex in ("female", "male")]
    answers = [truth(runner) for runner in runners]
    out: dict[str, list[float]] = defaultdict(list)
    vague: Counter[str] = Counter()
    for seed in range(SEEDS):
        runner, known = runners[seed % 2], answers[seed % 2]  # nobody says which segment masses are right
        got = flat(outcome(runner, camera, FAULTS, seed).analysis)
        known["takeoff|-|flight_distance_m"] = _distance_m(known, seed)
        for key, value in known.items():
            measure_, name = got[key], key.split("|")[2]
            if name == "support_height_m" and value == 0.0:
                continue  # the bare runway is 0 by definition
            if isinstance(measure_, NotMeasured) and measure_.reason == VAGUE:
                vague[name] += 1
                continue
            assert isinstance(measure_, Measured), f"{key}: {measure_}"
            out[name].append(2.0 * (measure_.value - value) / measure_.u95)
    assert all(count <= MOST_VAGUE * (count + len(out[name])) for name, count in vague.items()), vague
    return out


def _distance_m(known: dict[str, float], seed: int) -> float:
    """Flight distance to a landing whose height is as uncertain as MEASURES.md section 4 has it."""
    mean, sd = LANDING_DROP_M
    drop = np.random.default_rng(10_000 + seed).normal(mean, sd)
    vx, vy = (known[f"takeoff|-|takeoff_velocity_{axis}_m_per_s"] for axis in "xy")
    return float(vx * (vy + np.sqrt(vy**2 + 2.0 * 9.81 * drop)) / 9.81)


LEAST_INSIDE = 0.90 - 1.64 * np.sqrt(0.90 * 0.10 / SEEDS)
"""90 % of the truths inside u95, less what chance may take away in so many seeds (one-sided, 95 %): 84 %."""

KNOWN = {"knee_angle_toe_off_deg": "the fit about toe-off runs through the bend that the knee's motion has there"}
NAMES = [
    pytest.param(name, marks=pytest.mark.xfail(strict=True, reason=KNOWN[name])) if name in KNOWN else name
    for name in sorted({key.split("|")[2] for key in truth(make_runner())})
]


@pytest.mark.parametrize("name", NAMES)
def test_every_measure_lies_within_its_u95_and_errs_as_much_as_it_says(
    errors: dict[str, list[float]], name: str
) -> None:
    """Truth inside u95 in at least 90 % of the seeds (see LEAST_INSIDE); SD of (value - truth) / sd between 0.6 and 1.4.

    Fails if a source of error is left out or counted twice, or if a fit runs through an event that bends the path."""
    z = np.array(errors[name])

    assert (np.abs(z) <= 2.0).mean() >= LEAST_INSIDE
    assert 0.6 <= z.std() <= 1.4


def test_without_faults_every_value_is_the_truth(runner: Runner, camera: Camera) -> None:
    """240 Hz, no noise: times, lengths, speeds, heights within a millimetre or millisecond, angles as the fits allow."""
    got = flat(outcome(runner, camera, rate_hz=240.0).analysis)

    close = {"_s": 0.001, "_m": 0.004, "_deg": 7.0, "_m_per_s": 0.12, "_hz": 0.01, "_ratio": 0.002, "_percent": 0.1}
    for key, value in truth(runner).items():
        measured, unit = got[key], next((u for u in sorted(close, key=len, reverse=True) if key.endswith(u)), "")
        assert isinstance(measured, Measured), key
        assert measured.value == pytest.approx(value, abs=close.get(unit, 0.02)), key
    for name in ("takeoff_velocity_x_m_per_s", "takeoff_velocity_y_m_per_s", "takeoff_height_m", "takeoff_angle_deg"):
        measured = got[f"takeoff|-|{name}"]
        assert isinstance(measured, Measured)
        assert measured.value == pytest.approx(truth(runner)[f"takeoff|-|{name}"], abs=0.002)


@pytest.mark.parametrize("from_left", [False, True])
@pytest.mark.parametrize("last_foot", ["left", "right"])
def test_numbers_feet_direction_and_take_off(from_left: bool, last_foot: str) -> None:
    """From either side, with either foot: contacts 0 to -3 back from the take-off, feet in turn, the way it is filmed."""
    runner = make_runner(Plan(last_foot="left" if last_foot == "left" else "right"))

    result = outcome(runner, square_camera(from_left=from_left), FAULTS).analysis

    assert [(c.number, c.foot) for c in result.contacts] == [(n, s.foot) for n, s in runner.shown().items()]
    assert [s.number for s in result.steps] == [-2, -1, 0]
    assert result.run.has_takeoff
    assert result.run.takeoff_foot == last_foot
    assert result.run.direction == ("right to left" if from_left else "left to right")
    assert result.warnings == ()


def test_a_run_through_has_contacts_beyond_the_line_and_no_take_off(run_through: Runner, camera: Camera) -> None:
    """MEASURES.md section 1: 0 is the last contact before the line; penultimate measures are given, take-off ones not."""
    result = outcome(run_through, camera, FAULTS, settings=Settings(kind="run-through")).analysis

    assert [c.number for c in result.contacts] == [-3, -2, -1, 0, 1]
    assert not result.run.has_takeoff
    assert result.takeoff["toe_to_board_m"]
    assert not result.takeoff["takeoff_angle_deg"]
    assert result.penultimate["penultimate_hip_drop_m"]
    assert result.warnings == ()
    told = outcome(run_through, camera, FAULTS, settings=Settings(kind="full approach")).analysis
    assert [w.code for w in told.warnings] == ["kind-disagrees"]


def test_without_a_board_nothing_needs_it(run_through: Runner, runner: Runner, camera: Camera) -> None:
    """No board in the lane file: x counts from the first mark, the toe is not measured against a line that is not there."""
    through = outcome(run_through, camera, FAULTS, board=False).analysis
    jump = outcome(runner, camera, FAULTS, board=False).analysis

    assert through.contacts[-1].number <= 0
    assert not through.takeoff["toe_to_board_m"]
    assert jump.run.has_takeoff
    assert not jump.takeoff["toe_to_board_m"]
    assert jump.takeoff["takeoff_angle_deg"]


def test_mats_are_measured_and_a_disagreement_is_told(camera: Camera) -> None:
    """Mats of 5 and 3 cm are found under their contacts; what the coach said otherwise is a warning, contact by contact."""
    runner = make_runner(Plan(mats_m=MATS_M))

    found = outcome(runner, camera, FAULTS).analysis
    agreed = outcome(
        runner,
        camera,
        FAULTS,
        settings=Settings(mats=(Mat(number=-1, thickness_m=0.05), Mat(number=0, thickness_m=0.03))),
    ).analysis
    other = outcome(runner, camera, FAULTS, settings=Settings(mats=(Mat(number=-2, thickness_m=0.05),))).analysis

    assert {m.number: m.thickness_m for m in found.run.mats} == pytest.approx(MATS_M, abs=0.015)
    assert found.warnings == ()
    assert agreed.warnings == ()
    assert {w.code for w in other.warnings} == {"mat-disagrees"}
    assert sum("contact" in w.text for w in other.warnings) == 3


def test_without_pictures_of_the_shoe_the_joints_serve_with_larger_u95(runner: Runner, camera: Camera) -> None:
    """Rough instants and toes still hold the truth inside their u95; what only the shoe can tell is not measured."""
    known = truth(runner)
    sharp, rough = (flat(outcome(runner, camera, FAULTS, with_shoes=w).analysis) for w in (True, False))

    inside = []
    for key, value in known.items():
        measured = rough[key]
        if key.endswith(("contact_time_s", "step_length_m", "toe_x_m", "flight_time_s")):
            assert isinstance(measured, Measured)
            assert isinstance(sharp[key], Measured)
            assert measured.u95 > sharp[key].u95
            inside.append(abs(measured.value - value) <= measured.u95)
    assert np.mean(inside) > 0.8
    for number in (-3, -2, -1, 0):
        assert not rough[f"contacts|{number}|support_height_m"]
        assert not rough[f"contacts|{number}|foot_angle_touchdown_deg"]


def test_a_hard_film_still_finds_every_contact(runner: Runner, camera: Camera) -> None:
    """Swapped legs, outliers and gaps on top of all else: contacts and feet are right, and the values hold."""
    hard = dataclasses.replace(FAULTS, swap_share=0.15, outlier_share=0.01, gap_share=0.03)
    known = truth(runner)

    results = [outcome(runner, camera, hard, seed, rate_hz=240.0).analysis for seed in range(4)]

    z = []
    for result in results:
        assert [(c.number, c.foot) for c in result.contacts] == [(n, s.foot) for n, s in runner.shown().items()]
        got = flat(result)
        z += [
            2.0 * (m.value - value) / m.u95
            for key, value in known.items()
            if isinstance(m := got[key], Measured) and m.u95 > 0.0
        ]
    assert (np.abs(z) <= 2.0).mean() > 0.85
    assert len(z) > 0.9 * len(results) * (len(known) - 4)


@pytest.fixture(scope="module")
def short(runner: Runner, camera: Camera) -> tuple[PixelTrack, LaneFit]:
    """A film of the first 0.08 s, before any contact."""
    time_s = frame_times_s(runner, 240.0)[:18]
    return film(runner, camera, time_s), fit_lane(lane_file(camera, 0.1, np.random.default_rng(0)))


def test_a_film_without_a_contact_cannot_answer(short: tuple[PixelTrack, LaneFit], camera: Camera) -> None:
    """Exit status 3 with what was seen and what to do. Fails if nothing is turned into numbers."""
    track, fit = short

    with pytest.raises(NotMeasurableError, match="no contact") as caught:
        locate_joints(track, (fit.camera,), camera.image_size_px, Settings())

    assert caught.value.exit_status == 3
    assert "18 frames" in str(caught.value)


def test_the_same_film_gives_the_same_numbers(runner: Runner, camera: Camera) -> None:
    """Values and u95 bit for bit: a fixed seed for all draws. The motion that is drawn has a row for every frame."""
    first, second = (outcome(runner, camera, FAULTS, 7) for _ in range(2))

    assert first.analysis == second.analysis
    rows = len(frame_times_s(runner, RATE_HZ))
    assert first.motion.hip_m.shape == (rows, 2)
    assert first.motion.pixels.xy_px.shape == first.motion.runway.xy_m.shape
