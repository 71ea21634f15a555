"""The clip's clock, by numbers alone."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from penult.adapters.film.clock import Clock, base_interval, clock
from penult.errors import ClipError


def read(stamp_s: Any, *, tick_s: float = 1 / 90_000, header_rate_hz: float = 30.0, **rates: float | None) -> Clock:
    stated, tag = rates.get("stated"), rates.get("tag")
    return clock(
        np.asarray(stamp_s, dtype=float),
        tick_s=tick_s,
        header_rate_hz=header_rate_hz,
        stated_rate_hz=stated,
        tag_rate_hz=tag,
    )


def even(count: int, rate_hz: float) -> np.ndarray:
    return np.arange(count) / rate_hz


@given(rate_hz=st.floats(15, 960), tick_s=st.sampled_from([1e-3, 1 / 600, 1 / 90_000]), count=st.integers(40, 400))
def test_the_rate_is_found_whatever_the_tick(rate_hz: float, tick_s: float, count: int) -> None:
    """T3: a clock in steps of up to a third of the interval makes no other rate and no missing frames."""
    assume(tick_s * rate_hz < 0.33)

    found = read(np.rint(even(count, rate_hz) / tick_s) * tick_s, tick_s=tick_s)

    assert found.capture_rate_hz == pytest.approx(rate_hz, rel=1.5 * tick_s * rate_hz / count + 1e-9)
    assert found.notices == ()


@pytest.mark.parametrize("rate_hz", [24000 / 1001, 30000 / 1001, 59.94, 119.88, 240.0])
def test_the_rates_of_real_cameras_are_met_closely(rate_hz: float) -> None:
    for tick in (1e-3, 1 / 600, 1 / 90_000):
        found = read(np.rint(even(300, rate_hz) / tick) * tick, tick_s=tick)
        assert found.capture_rate_hz == pytest.approx(rate_hz, rel=2e-3)
        assert found.notices == ()


def test_a_stated_rate_scales_uneven_times_alike() -> None:
    """Gaps stay gaps: the interval between neighbours, not the average, becomes 1 / rate."""
    kept = np.delete(np.arange(100), [30, 31, 60])

    found = read(kept / 30, stated=240)

    assert found.time_s == pytest.approx(kept / 240)
    assert np.median(np.diff(found.time_s)) == pytest.approx(1 / 240)
    assert {n.code for n in found.notices} == {"slow-motion", "frames-dropped"}


def test_a_stated_rate_that_agrees_leaves_the_file_times_alone() -> None:
    stamp_s = even(200, 239.7)

    found = read(stamp_s, stated=240)

    assert found.time_s == pytest.approx(stamp_s)
    assert (found.capture_rate_hz, found.capture_rate_from) == (pytest.approx(239.7), "command line")
    assert found.notices == ()


def test_a_tag_that_is_no_rate_is_passed_over() -> None:
    for tag in (0.0, -240.0, float("nan"), float("inf"), 1e9):
        assert read(even(50, 60), tag=tag).capture_rate_from == "frame times"


@pytest.mark.parametrize("stated", [0.0, -1.0, float("nan"), float("inf"), 1e6])
def test_a_stated_rate_that_is_no_rate_is_refused(stated: float) -> None:
    with pytest.raises(ClipError, match="capture rate"):
        read(even(50, 60), stated=stated)


@pytest.mark.parametrize("stated", [216.0, 228.0, 250.0, 300.0])
def test_a_stated_rate_that_fits_no_device_is_refused_with_the_likely_one(stated: float) -> None:
    """T44: on a clip of 240 each left 14 to 21 values beyond three intervals."""
    with pytest.raises(ClipError, match="does not fit") as raised:
        read(even(200, 240), stated=stated)

    assert "--capture-rate 240" in str(raised.value)


@pytest.mark.parametrize(
    "stamp_s",
    [[0, 2, 1, 3, 5, 4, 6, 8, 7, 9], [0] * 10, [np.nan] * 10, [0, 1, 2, 3, 3, 5, 6, 7, 8, 9], [*range(9), np.nan]],
)
def test_useless_stamps_give_a_constant_assumed_rate(stamp_s: list[float]) -> None:
    """T5: neighbours in the file are 1/25 s apart, or the header alone says so."""
    found = read(np.array(stamp_s) / 25, header_rate_hz=25.0)

    assert found.time_s == pytest.approx(even(10, 25))
    assert "times-rebuilt" in {n.code for n in found.notices}


def test_hours_of_film_are_refused() -> None:
    with pytest.raises(ClipError, match="7 hours"):
        read([0, 1 / 30, 7.2 * 3600])


def test_the_base_interval_is_not_drawn_by_gaps_or_by_a_second_rate() -> None:
    assert base_interval(np.array([0.010, 0.300]), 1e-5) == pytest.approx(0.010)
    assert base_interval(np.array([1 / 30] * 20 + [1 / 24] * 15), 1e-5) == pytest.approx(1 / 30)
    assert base_interval(np.array([0.004, 0.004, 0.005] * 10), 1e-3) == pytest.approx(0.013 / 3)


@pytest.mark.parametrize("count", [7, 12])
def test_many_places_of_dropped_frames_are_drawn_together(count: int) -> None:
    kept = np.delete(np.arange(200), 10 * np.arange(1, count + 1))

    text = next(n.text for n in read(kept / 120).notices if n.code == "frames-dropped")

    assert text.startswith(f"{count} frames are missing inside the film: 1 after 0.075 s")
    assert text.endswith(f"and at {count - 6} more places.")
