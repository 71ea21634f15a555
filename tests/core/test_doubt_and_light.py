"""What rests on an unseen instant is withheld, everything else stays; flicker is evened out, steady light is left alone."""

from __future__ import annotations

import numpy as np
import pytest

from penult.core.checks.unseen_instants import UNSEEN, withhold
from penult.core.shoe.light import evened
from penult.model.analysis import Analysis, ClipRecord, Contact, Run, Step
from penult.model.measured import Measured, NotMeasured
from penult.model.shoe import ShoePatches

CONTACT = ("touchdown_s", "toe_off_s", "contact_time_s", "toe_x_m", "knee_angle_toe_off_deg", "hip_height_lowest_m")
STEP = ("step_length_m", "flight_time_s", "step_time_s", "step_time_ratio", "step_speed_m_per_s")


def values(*names: str) -> dict[str, Measured | NotMeasured]:
    return {n: Measured(value=1.0, u95=0.1) for n in names}


def analysis() -> Analysis:
    return Analysis(
        clip=ClipRecord(
            file="c.mp4", sha256="0" * 64, frames=9, capture_rate_hz=240.0, capture_rate_from="x", first_frame_s=0.0
        ),
        run=Run(direction="left to right", kind="", has_takeoff=True),
        contacts=tuple(Contact(number=n, foot="left", measures=values(*CONTACT)) for n in (-2, -1, 0)),
        steps=tuple(Step(number=n, measures=values(*STEP)) for n in (-1, 0)),
        penultimate=values("penultimate_hip_drop_m", "hip_drop_to_takeoff_m"),
        takeoff=values("toe_to_board_m", "approach_speed_m_per_s", "takeoff_angle_deg"),
        checks={},
        warnings=(),
    )


def withheld(unseen: list) -> set[str]:
    """Names of what was taken away, with the number of its part."""
    out = withhold(analysis(), unseen)
    parts = [(c.number, c.measures) for c in out.contacts] + [(f"step {s.number}", s.measures) for s in out.steps]
    parts += [("penultimate", out.penultimate), ("takeoff", out.takeoff)]
    return {f"{p} {n}" for p, measures in parts for n, m in measures.items() if not m}


def test_an_unseen_touchdown_of_the_penultimate_takes_what_rests_on_it_and_nothing_else() -> None:
    """Worked by hand from the definitions of the measures."""
    assert withheld([(-1, "touchdown")]) == {
        "-1 touchdown_s", "-1 contact_time_s", "-1 hip_height_lowest_m",
        "step -1 flight_time_s", "step -1 step_time_s", "step -1 step_time_ratio", "step -1 step_speed_m_per_s",
        "step 0 step_time_s", "step 0 step_time_ratio",
        "penultimate penultimate_hip_drop_m", "penultimate hip_drop_to_takeoff_m",
    }  # fmt: skip


def test_an_unseen_toe_off_of_the_takeoff_takes_its_flight() -> None:
    assert withheld([(0, "toe_off")]) == {
        "0 toe_off_s", "0 contact_time_s", "0 hip_height_lowest_m", "0 knee_angle_toe_off_deg", "takeoff takeoff_angle_deg",
    }  # fmt: skip


def test_nothing_unseen_changes_nothing_and_the_reason_is_said() -> None:
    assert withhold(analysis(), []) == analysis()
    gone = withhold(analysis(), [(-2, "touchdown")]).contacts[0].measures["touchdown_s"]
    assert gone == NotMeasured(reason=UNSEEN)


def patches(light: np.ndarray) -> ShoePatches:
    """A textured floor under a given light (n, h), with a dark shoe that passes."""
    n, h, w = len(light), 40, 60
    floor = np.random.default_rng(2).integers(90, 200, (h, w, 3)).astype(float)
    images = np.repeat(floor[None], n, axis=0)
    for i in range(n):
        images[i, 20:35, i : i + 12] = 40.0
    images = np.clip(images * light[:, :, None, None], 0, 255)
    return ShoePatches(
        time_s=np.arange(n) / 240.0,
        images=images.astype(np.uint8),
        x_m=np.arange(w) / 100.0,
        y_m=np.arange(h)[::-1] / 100.0,
        z_m=0.0,
    )


def test_steady_light_is_left_as_it_is() -> None:
    steady = patches(np.ones((30, 40)))

    assert evened(steady) is steady


@pytest.mark.parametrize("depth", [0.05, 0.15])
def test_bands_that_roll_by_are_taken_out(depth: float) -> None:
    time, row = np.arange(30)[:, None] / 240.0, np.arange(40)[None, :]
    light = 1.0 - depth + depth * np.sin(2 * np.pi * (100.0 * time + row / 40.0))
    flat = evened(patches(light)).images[:, :15].astype(float).mean(axis=(2, 3))  # above the shoe
    before = patches(light).images[:, :15].astype(float).mean(axis=(2, 3))

    assert flat.std(axis=0).mean() < 0.15 * before.std(axis=0).mean()
