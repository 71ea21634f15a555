"""Pictures that are repeated, blended or missing are told from how much changes; a sound clip raises nothing (TRAPS T43)."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from penult.adapters.pictures.changes import Changes
from penult.core.checks.sequence import edited, edited_notice, leaps, refuse_edited
from penult.errors import NotMeasurableError
from penult.model.arrays import Floats

SIZE_PX = (270, 480)
COUNT = 90
WAY_PX = 2.4


def picture(place_px: float, rng: np.random.Generator) -> np.ndarray:
    """A striped body on a noisy wall, `place_px` along, to a fraction of a pixel."""
    across = np.arange(SIZE_PX[1]) - place_px
    stripes = 60.0 * (np.sin(across / 3.0) > 0) * ((across > 0) & (across < 60))
    soft = np.convolve(stripes, np.ones(3) / 3.0, "same")
    out = np.full(SIZE_PX, 90.0)
    out[60:200] += soft
    return np.clip(out + rng.normal(0.0, 1.5, SIZE_PX), 0, 255).astype(np.uint8)


def changes_of(pictures: list[np.ndarray]) -> Floats:
    changes = Changes()
    for one in pictures:
        changes.add(one)
    return changes.result()


def sound(count: int = COUNT, way_px: float = WAY_PX) -> list[np.ndarray]:
    rng = np.random.default_rng(4)
    return [picture(20.0 + way_px * i, rng) for i in range(count)]


def found_in(pictures: list[np.ndarray], time_s: Floats | None = None):
    time_s = np.arange(len(pictures)) / 240.0 if time_s is None else time_s
    return edited(changes_of(pictures), time_s, 0, len(pictures) - 1)


@pytest.mark.parametrize("way_px", [1.0, 2.4, 5.0])
def test_a_sound_clip_raises_nothing(way_px: float) -> None:
    assert found_in(sound(way_px=way_px)) is None


@pytest.mark.parametrize("times", [2, 4])
def test_repeated_pictures_are_refused(times: int) -> None:
    """240 made from 120 or 60 by showing pictures again: all but every second or fourth are copies."""
    shown = sound(way_px=WAY_PX)
    found = found_in([shown[i - i % times] for i in range(COUNT)])

    assert found is not None
    assert found.kind == "repeated"
    assert found.share == pytest.approx(1.0 - 1.0 / times, abs=0.1)
    with pytest.raises(NotMeasurableError, match="after it was filmed"):
        refuse_edited(found)


def test_blended_pictures_are_refused() -> None:
    """240 made from 120 with the mean of two neighbours between them."""
    shown = sound()
    mixed = [
        shown[i] if i % 2 == 0 else np.mean([shown[i - 1], shown[i + 1]], axis=0).round().astype(np.uint8)
        for i in range(COUNT - 1)
    ]
    found = found_in(mixed)

    assert found is not None
    assert found.kind == "blended"
    assert (found.frame % 2 == 1).all()
    with pytest.raises(NotMeasurableError):
        refuse_edited(found)


def test_dropped_pictures_that_the_times_do_not_show_are_refused() -> None:
    """Every tenth left out, the others at even times."""
    kept = [i for i in range(COUNT) if i % 10 != 9]
    found = found_in([sound()[i] for i in kept])

    assert found is not None
    assert found.kind == "missing"
    assert {kept[f] % 10 for f in found.frame.tolist()} == {0}
    assert len(found.frame) >= 6
    with pytest.raises(NotMeasurableError):
        refuse_edited(found)


def test_dropped_pictures_that_the_times_show_are_no_fault() -> None:
    kept = [i for i in range(COUNT) if i % 10 != 9]

    assert found_in([sound()[i] for i in kept], np.array(kept) / 240.0) is None


@pytest.mark.parametrize(("at", "kind"), [(40, "missing"), (40, "repeated")])
def test_a_single_one_is_named_and_not_refused(at: int, kind: str) -> None:
    shown = sound()
    pictures = shown[:at] + shown[at + 1 :] if kind == "missing" else [*shown[:at], shown[at - 1], *shown[at + 1 :]]
    found = found_in(pictures)

    assert found is not None
    assert (found.kind, found.frame.tolist()) == (kind, [at])
    refuse_edited(found)
    assert str(at) in edited_notice(found).text


@given(seed=st.integers(0, 10_000), noise_factor=st.floats(0.0, 0.12))
def test_unrest_is_no_fault(seed: int, noise_factor: float) -> None:
    """Property: changes that waver by some tenths, grow and shrink slowly, are those of a runner."""
    rng = np.random.default_rng(seed)
    slow = 800.0 * (1.0 + 0.3 * np.sin(np.arange(200) / 20.0))
    one = slow * np.exp(rng.normal(0.0, noise_factor / 2.0, 200))
    changes = np.column_stack([one, 1.5 * one, rng.uniform(0.26, 1.1, 200)])

    found = edited(changes, np.arange(200) / 240.0, 0, 199)

    assert found is None or (found.kind == "missing" and len(found.frame) <= 3)


def way(count: int, rate_hz: float, speed_m_per_s: float, *, noise_m: float = 0.004, seed: int = 3) -> Floats:
    """The trunk's place in every frame: its speed swings by 0.3 m/s with the steps, joints err by `noise_m`."""
    t = np.arange(count) / rate_hz
    return speed_m_per_s * t + 0.3 / 25.0 * np.sin(25.0 * t) + np.random.default_rng(seed).normal(0.0, noise_m, count)


@pytest.mark.parametrize(("rate_hz", "every"), [(120.0, 10), (120.0, 6), (60.0, 10), (30.0, 8)])
def test_pictures_left_out_and_retimed_show_in_the_body_s_way(rate_hz: float, every: int) -> None:
    """Every so many-th picture is left out and the times are closed up (TRAPS T43): nothing else shows it."""
    x_m = way(140, rate_hz, 8.0)
    kept = x_m[np.arange(len(x_m)) % every != every - 1]
    frame = np.arange(len(kept))
    found = leaps(frame, frame / rate_hz, kept, None)

    assert found is not None
    assert found.kind == "missing"
    assert set(found.frame.tolist()) <= {i for i in range(len(kept)) if i % (every - 1) == 0}
    with pytest.raises(NotMeasurableError, match="program changed the pictures"):
        refuse_edited(found)


@given(st.integers(0, 10_000), st.sampled_from([30.0, 60.0, 120.0]), st.floats(3.0, 10.0))
def test_a_sound_way_raises_nothing(seed: int, rate_hz: float, speed: float) -> None:
    frame = np.arange(120)

    assert leaps(frame, frame / rate_hz, way(120, rate_hz, speed, seed=seed), None) is None


def test_gaps_that_the_times_show_are_none_and_a_stumble_of_the_joints_is_taken_back() -> None:
    """A dropped frame with its own time is no fault; a look that is 5 cm off comes back at the next."""
    x_m = way(120, 120.0, 8.0)
    kept = np.arange(120) % 10 != 9
    stumbled = x_m.copy()
    stumbled[[30, 60, 61, 90]] += 0.05
    frame = np.arange(120)

    assert leaps(np.arange(kept.sum()), frame[kept] / 120.0, x_m[kept], None) is None
    assert leaps(frame, frame / 120.0, stumbled, None) is None


@given(st.integers(0, 10_000))
def test_somebody_who_stands_before_the_run_raises_nothing(seed: int) -> None:
    """A third of the clip is a start from standing: 40 looks of nothing but what the joints err by, then 4 m/s2."""
    t = np.arange(150) / 60.0
    x_m = 2.0 * np.maximum(t - 0.7, 0.0) ** 2 + np.random.default_rng(seed).normal(0.0, 0.004, 150)

    assert leaps(np.arange(150), t, x_m, None) is None


def test_one_leap_counts_only_where_the_picture_changes_too() -> None:
    x_m = np.delete(way(120, 120.0, 8.0), 60)
    frame = np.arange(119)
    changes = np.full((119, 3), 500.0)
    assert leaps(frame, frame / 120.0, x_m, changes) is None
    changes[60, 0] = 900.0
    found = leaps(frame, frame / 120.0, x_m, changes)

    assert found is not None
    assert found.frame.tolist() == [60]
