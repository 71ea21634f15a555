"""A ramp of slow motion is found where the pace jumps; no run, take-off or landing raises it (TRAPS T42)."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from penult.core.checks.pace import paces, picture_jumps, steady_part, unseen_side
from penult.errors import NotMeasurableError
from penult.model.arrays import Floats

LOOK_S = 3 / 240
SPEED = 9.1


def run_m(frames_a_look: Floats, noise_m: float = 0.01, seed: int = 1) -> tuple[Floats, Floats]:
    """Place of the trunk at every look of a clip whose looks stand for so many true ones each."""
    rng = np.random.default_rng(seed)
    x_m = SPEED * LOOK_S * np.cumsum(frames_a_look)
    return np.arange(len(x_m)) * LOOK_S, x_m + rng.normal(0.0, noise_m, len(x_m))


@pytest.mark.parametrize("ratio", [2.0, 4.0, 8.0])
@pytest.mark.parametrize("at", [12, 40])
def test_a_ramp_is_found_at_its_look_and_the_part_with_a_possible_speed_is_kept(ratio: float, at: int) -> None:
    """Normal speed first, as phones do it: the athlete seems to run at 18 to 73 m/s."""
    time_s, x_m = run_m(np.where(np.arange(70) < at, ratio, 1.0))
    parts = paces(time_s, x_m)
    kept = steady_part(parts, time_s)

    assert len(parts) == 2
    assert abs(parts[1].first - at) <= 1
    assert kept == parts[1]
    assert parts[1].speed_m_per_s == pytest.approx(SPEED, rel=0.03)


def test_a_ramp_in_the_middle_is_found_on_both_sides() -> None:
    look = np.arange(90)
    time_s, x_m = run_m(np.where((look < 15) | (look > 75), 8.0, 1.0))
    parts = paces(time_s, x_m)

    assert len(parts) == 3
    assert steady_part(parts, time_s) == parts[1]


def test_where_nothing_tells_which_part_is_right_the_clip_is_refused() -> None:
    """Half speed after a time: 9.1 and 4.5 m/s are both speeds of a person."""
    time_s, x_m = run_m(np.where(np.arange(80) < 40, 1.0, 0.5))

    with pytest.raises(NotMeasurableError, match="changes on the way"):
        steady_part(paces(time_s, x_m), time_s)


@given(
    seed=st.integers(0, 10_000),
    noise_m=st.floats(0.002, 0.03),
    braked=st.floats(0.7, 1.0),
    speed=st.floats(2.5, 10.0),
)
def test_a_run_and_its_take_off_are_of_one_pace(seed: int, noise_m: float, braked: float, speed: float) -> None:
    """Property: support and flight by turns (some 4 %), and up to 30 % lost within a take-off contact of 0.12 s."""
    rng = np.random.default_rng(seed)
    t = np.arange(100) * LOOK_S
    v = speed * (1.0 + 0.04 * np.sin(2 * np.pi * 4.0 * t)) * np.interp(t, [0.9, 1.02], [1.0, braked])
    x_m = np.cumsum(v) * LOOK_S + rng.normal(0.0, noise_m, len(t))

    assert len(paces(t, x_m)) == 1


def test_a_look_at_somebody_else_is_no_change_of_pace() -> None:
    time_s, x_m = run_m(np.ones(60))
    x_m[30] += 2.0

    assert len(paces(time_s, x_m)) == 1


def changing(values: list[float], seed: int = 2) -> Floats:
    rng = np.random.default_rng(seed)
    one = np.array(values) * np.exp(rng.normal(0.0, 0.02, len(values)))
    return np.column_stack([one, 1.5 * one, np.ones(len(values))])


@pytest.mark.parametrize(("rate_hz", "looks", "parts"), [(120.0, 6, 1), (80.0, 6, 2), (120.0, 14, 2)])
def test_a_body_that_comes_into_the_picture_by_halves_is_no_ramp(rate_hz: float, looks: int, parts: int) -> None:
    """Six looks at 120 a second last 40 ms; at 80 a second they count (a film of skips: 6.5 m/s over 6 looks, 3.9 after them)."""
    t = np.arange(120) / rate_hz
    x_m = np.cumsum(np.where(np.arange(120) < looks, 6.5, 3.9)) / rate_hz

    assert len(paces(t, x_m + np.random.default_rng(2).normal(0.0, 0.003, 120))) == parts


def test_the_pictures_show_the_frame_of_a_ramp() -> None:
    """Eight frames' way at once until frame 14, then one frame's."""
    assert picture_jumps(changing([1800.0] * 14 + [800.0] * 60), 0, 74) == [14]


def test_somebody_who_comes_into_the_picture_is_no_ramp() -> None:
    """It takes three frames and more until all of a body is in the picture (0.4 m at 9 m/s, 60 frames a second: 2.7)."""
    coming = [50.0] * 10 + [300.0, 600.0, 850.0] + [900.0] * 30

    assert picture_jumps(changing(coming), 0, len(coming)) == []


def test_only_the_side_on_which_the_body_is_seen_is_kept() -> None:
    frame, x_m = np.arange(5, 80), np.linspace(-4.0, 4.0, 75)
    x_m[:10] = np.nan

    assert unseen_side([14], frame, x_m) == (14, 79)
    assert unseen_side([40], frame, x_m) is None  # seen on both sides: its own pace tells
