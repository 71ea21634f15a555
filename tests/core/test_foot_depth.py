"""Feet seen aslant: their depth is read from how they land before the hips. The truth is planted here, not taken from the code."""

from __future__ import annotations

import dataclasses
import math

import numpy as np
import pytest

from penult.core.checks.foot_depth import Footing, foot_depths, with_depths
from penult.core.synthetic.invented import Form, trial
from penult.model.analysis import Analysis, Contact, Step
from penult.model.measured import Measured, Measures
from penult.model.trial import Said

CAMERA_X_M, CAMERA_Z_M = -5.5, 15.5
ASSUMED_M = 0.04  # what `core.lane.aside` takes a toe to stand beside the line


@dataclasses.dataclass(frozen=True)
class RunUp:
    """Twenty contacts over 36 m, with the places and ways that a side camera reads aslant."""

    number: np.ndarray
    side: np.ndarray
    toe_m: np.ndarray
    deeper_m: np.ndarray
    tangent: np.ndarray
    read_m: np.ndarray
    ahead_m: np.ndarray

    def footings(self) -> list[Footing]:
        return [
            Footing(number=int(n), side=int(s), tangent=float(t), ahead_m=float(a))
            for n, s, t, a in zip(self.number, self.side, self.tangent, self.ahead_m, strict=True)
        ]


def run_up(rng: np.random.Generator, *, sides_m: float = 0.0) -> RunUp:
    """Return a run-up that starts from rest: the foot lands under the hips at first and 0.45 m before them at speed."""
    number = np.arange(-19, 1)
    side = np.where(number % 2, 1, -1)
    length = 2.2 - 1.2 * np.exp(-np.arange(20) / 5.0)
    toe_m = np.cumsum(length) - np.sum(length) - 0.05
    deeper_m = side * (rng.normal(0.07, 0.015) - ASSUMED_M) + rng.normal(0.0, 0.023, 20)
    tangent = (toe_m - CAMERA_X_M) / -CAMERA_Z_M
    read_m = toe_m - tangent * deeper_m
    ahead_m = 0.45 - 0.40 * np.exp(-np.arange(20) / 4.0) + rng.normal(0.0, 0.015, 20) + side * sides_m
    ahead_m[-2:] += (0.05, 0.18)
    return RunUp(number, side, toe_m, deeper_m, tangent, read_m, ahead_m - tangent * deeper_m)


def test_the_depth_of_planted_feet_is_found_and_its_interval_holds() -> None:
    """Feet 7 cm beside the line, 2.3 cm from step to step: seen 60 degrees aslant, 7 cm of error become less than 4."""
    rng = np.random.default_rng(3)
    before, after, inside = [], [], []
    for _ in range(60):
        run = run_up(rng, sides_m=rng.normal(0.0, 0.01))
        found = foot_depths(run.footings())
        assert found is not None
        depth, sd = found
        far = run.tangent > 1.0
        before += list((run.tangent * run.deeper_m)[far])
        after += list((run.tangent * (run.deeper_m - depth))[far])
        inside += list(np.abs(run.deeper_m - depth)[far] <= 2.0 * sd[far])

    rms = [math.sqrt(float(np.mean(np.square(e)))) for e in (before, after)]
    assert rms[0] > 0.055
    assert rms[1] < 0.6 * rms[0]
    assert 0.93 <= float(np.mean(inside)) <= 1.0


def test_seen_square_nothing_is_told_of_the_depth() -> None:
    footings = [dataclasses.replace(f, tangent=0.0) for f in run_up(np.random.default_rng(4)).footings()]

    found = foot_depths(footings)

    assert found is not None
    assert found[0] == pytest.approx(np.zeros(20), abs=1e-9)


def test_a_few_steps_tell_nothing() -> None:
    assert foot_depths(run_up(np.random.default_rng(5)).footings()[-6:]) is None


def test_toes_and_steps_of_oblique_contacts_move_and_the_others_stay() -> None:
    run = run_up(np.random.default_rng(6))
    oblique = frozenset(run.number[run.tangent > math.tan(math.radians(20.0))].tolist())
    before = as_analysis(run)

    after, sds = with_depths(before, dict(zip(run.number.tolist(), run.tangent.tolist(), strict=True)), oblique)

    errors = [
        [value(c.measures, "toe_x_m") - x for c, x in zip(a.contacts, run.toe_m, strict=True)] for a in (before, after)
    ]
    far = run.tangent > 1.0
    assert np.std(np.array(errors[1])[far]) < 0.7 * np.std(np.array(errors[0])[far])
    for old, new in zip(before.contacts, after.contacts, strict=True):
        if old.number not in oblique:
            assert new.measures == old.measures
    toes = {c.number: value(c.measures, "toe_x_m") for c in after.contacts}
    for step in after.steps:
        assert value(step.measures, "step_length_m") == pytest.approx(toes[step.number] - toes[step.number - 1])
    assert set(sds) == set(run.number.tolist())


def as_analysis(run: RunUp) -> Analysis:
    """Return a result that holds what the camera read."""
    made = trial(np.random.default_rng(1), Form(athlete="A1", kind="full approach"), Said(), file="a.mp4").analysis
    contacts = tuple(
        Contact(
            number=int(n),
            foot="right" if s > 0 else "left",
            measures={"toe_x_m": known(x), "touchdown_distance_m": known(a)},
        )
        for n, s, x, a in zip(run.number, run.side, run.read_m, run.ahead_m, strict=True)
    )
    steps = tuple(
        Step(number=int(n), measures={"step_length_m": known(length)})
        for n, length in zip(run.number[1:], np.diff(run.read_m), strict=True)
    )
    return dataclasses.replace(made, contacts=contacts, steps=steps, phases=(), takeoff={})


def known(number: float) -> Measured:
    return Measured(value=float(number), u95=0.02)


def value(measures: Measures, name: str) -> float:
    found = measures[name]
    assert isinstance(found, Measured)
    return found.value
