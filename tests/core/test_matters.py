"""What matters, and how many clips settle it. Truth: the noncentral t distribution of scipy.stats, and simulated comparisons."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from penult.core.clips.matters import judged, matter, size_of
from penult.core.clips.statistics import clips_needed, welch_difference
from penult.model.comparison import ComparedMeasure, GroupValues, Interval, TypicalError, Verdict
from penult.model.measured import Measured
from penult.model.trial import MeasureKey
from penult.outputs.texts.verdicts import matters_text


def power(n: int, effect: float) -> float:
    """Power of the two-sided t test of two samples of n, from the noncentral t distribution (Cohen 1988, chapter 2)."""
    freedom, shift = 2 * n - 2, effect * np.sqrt(n / 2.0)
    limit = stats.t.ppf(0.975, freedom)
    return float(stats.nct.sf(limit, freedom, shift) + stats.nct.cdf(-limit, freedom, shift))


@pytest.mark.parametrize("effect", [0.3, 0.5, 0.8, 1.0, 1.5, 2.0])
def test_so_many_clips_see_it_in_four_of_five_comparisons(effect: float) -> None:
    """Not more than one clip beside the exact number, from half an SD to two."""
    n = clips_needed(1.0, effect)

    assert n is not None
    exact = next(m for m in range(2, 1000) if power(m, effect) >= 0.8)
    assert abs(n - exact) <= 1


def test_cohens_table() -> None:
    """Cohen 1988, table 2.4.1, two-sided 0.05, power 0.80: d = 0.5 needs 64 in each group, d = 0.8 needs 26."""
    assert (clips_needed(1.0, 0.5), clips_needed(1.0, 0.8)) == (64, 26)


def test_simulated_comparisons_see_it_as_often_as_said() -> None:
    """2,000 comparisons with so many clips: 77 to 84 % of Welch's intervals leave out zero; with half as many under 60."""
    rng = np.random.default_rng(5)
    n = clips_needed(0.6, 0.7)
    assert n is not None

    def share(count: int) -> float:
        seen = 0
        for _ in range(2000):
            d = welch_difference(rng.normal(0.0, 0.6, count).tolist(), rng.normal(0.7, 0.6, count).tolist())
            seen += d.low > 0.0 or d.high < 0.0
        return seen / 2000

    assert 0.77 <= share(n) <= 0.84
    assert share(n // 2) < 0.6


def test_what_no_number_of_clips_can_show_is_said_to_be_none() -> None:
    assert clips_needed(1.0, 0.01) is None


@pytest.mark.parametrize(
    ("text", "name", "size"),
    [
        ("hip drop=1 cm", "penultimate_hip_drop_m", 0.01),
        ("hip drop: 1,5", "penultimate_hip_drop_m", 0.015),
        ("Hip drop = 0.01 m", "penultimate_hip_drop_m", 0.01),
        ("contact_time_s=5ms", "contact_time_s", 0.005),
        ("contact time 5", "contact_time_s", 0.005),
        ("take-off angle=1.5 deg", "takeoff_angle_deg", 1.5),
        ("approach speed=0,1 m/s", "approach_speed_m_per_s", 0.1),
    ],
)
def test_a_size_is_read_as_a_coach_writes_it(text: str, name: str, size: float) -> None:
    found = matter(text)

    assert found[0] == name
    assert found[1] == pytest.approx(size)


@pytest.mark.parametrize(
    "text", ["", "hip drop", "wind=1", "hip drop=1 kg", "hip drop=0", "hip drop=-1 cm", "hip drop=1 ms"]
)
def test_what_is_no_size_is_refused(text: str) -> None:
    with pytest.raises(ValueError, match=r"\w"):
        matter(text)


def row(value: float, half: float, kind: str = "not seen") -> ComparedMeasure:
    nothing = GroupValues(values=(), missing=(), mean=None)
    return ComparedMeasure(
        key=MeasureKey("penultimate", None, "penultimate_hip_drop_m"), first=nothing, second=nothing,
        difference=Interval(value=value, half_width=half, freedom=10.0, how=""),
        typical_error=TypicalError(value=0.01, freedom=10.0, clips=12, from_repeats=True),
        minimal_detectable_change=None, verdict=Verdict(kind=kind),  # type: ignore[arg-type]
    )  # fmt: skip


def test_seen_and_mattering_are_two_things() -> None:
    """1 cm matters. 0.2 +- 0.5 is certainly smaller; 0.3 +- 0.1 is seen and smaller; 3 +- 1 is larger; 0.5 +- 2 is open."""
    small, seen_small, large, unsure = judged(
        [
            row(0.002, 0.005),
            row(0.003, 0.001, "clearly different"),
            row(0.03, 0.01, "clearly different"),
            row(0.005, 0.02),
        ],
        {"penultimate_hip_drop_m": 0.01},
    )

    assert [(r.is_small, r.is_large) for r in (small, seen_small, large, unsure)] == [
        (True, False), (True, False), (False, True), (False, False),
    ]  # fmt: skip
    assert [r.clips_needed for r in (small, seen_small, large)] == [None] * 3
    assert unsure.clips_needed == clips_needed(0.01, 0.01) == 17  # Cohen 1988, table 2.4.1: d = 1.0 needs 17


def test_without_repeats_no_number_of_clips_is_said() -> None:
    """How much the athlete varies is not known: no number can be."""
    one = row(0.005, 0.02)
    one = replace(one, typical_error=TypicalError(value=0.005, freedom=float("inf"), clips=2, from_repeats=False))

    assert judged([one], {"penultimate_hip_drop_m": 0.01})[0].clips_needed is None


def test_both_hip_drops_share_what_matters() -> None:
    assert size_of("penultimate_hip_drop_above_support_m", {"penultimate_hip_drop_m": 0.01}) == 0.01


def test_what_would_settle_it_is_said_as_how_many_more() -> None:
    """17 in each group are needed (Cohen's table for one SD); 6 are there: 11 more. With 20 there no number is said."""
    values = tuple((i, Measured(value=0.01 * i, u95=0.009)) for i in range(20))

    def said(count: int) -> str:
        side = GroupValues(values=values[:count], missing=(), mean=0.0)
        return matters_text(
            judged([replace(row(0.005, 0.02), first=side, second=side)], {"penultimate_hip_drop_m": 0.01})[0]
        )

    assert said(6) == "about 11 more clips in each group, 17 in all, would settle whether 1 cm, which matters, is there"
    assert said(20) == "whether it is as much as matters (1 cm) is open"
