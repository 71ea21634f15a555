"""Chance among many measures. Truth: scipy.stats (an implementation of its own), and simulated comparisons without any change."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from penult.core.clips.chance import CHOSEN, by_chance, controlled, false_shares
from penult.core.clips.statistics import welch_difference
from penult.model.comparison import ComparedMeasure, GroupValues, Interval, Verdict
from penult.model.trial import MeasureKey


@given(st.lists(st.floats(1e-12, 1.0), min_size=1, max_size=40))
def test_the_shares_are_those_of_benjamini_and_hochberg(chances: list[float]) -> None:
    assert false_shares(chances) == pytest.approx(stats.false_discovery_control(chances).tolist())


def test_the_chance_of_a_welch_difference_is_that_of_welchs_test() -> None:
    first, second = [3.1, 2.7, 3.6, 3.0], [3.9, 4.4, 3.2]

    assert by_chance(welch_difference(first, second)) == pytest.approx(
        stats.ttest_ind(second, first, equal_var=False).pvalue
    )


def test_a_known_spread_has_the_normal_chance() -> None:
    """1.96 standard errors: 5 %."""
    known = Interval(value=1.0, half_width=1.0, freedom=float("inf"), how="")

    assert by_chance(known) == pytest.approx(0.05, abs=1e-6)


@given(st.lists(st.floats(1e-12, 1.0), min_size=1, max_size=40))
def test_weights_that_are_all_alike_change_nothing(chances: list[float]) -> None:
    assert false_shares(chances, [1.0] * len(chances)) == false_shares(chances)


def test_a_chosen_measure_is_found_more_easily_than_one_of_many() -> None:
    """One real change of two and a half standard errors among 80 measures without: seen oftener where it was chosen before."""
    rng = np.random.default_rng(12)
    found = {}
    for key in (CHOSEN[2], MeasureKey("contacts", -1, "made_up_m")):
        count = 0
        for _ in range(200):
            rows = rows_of(rng, 81, shifted=0)
            real = welch_difference(rng.normal(size=12).tolist(), (rng.normal(size=12) + 1.4).tolist())
            verdict = Verdict(kind="clearly different" if real.low > 0.0 else "not seen")
            rows[0] = replace(rows[0], key=key, difference=real, verdict=verdict)
            count += controlled(rows)[0].verdict.kind == "clearly different"
        found[key] = count / 200
    chosen, other = found.values()
    assert chosen > 2.0 * other
    assert chosen > 0.5


def test_a_thousand_comparisons_without_a_change_seldom_show_one() -> None:
    """Four chosen measures and 80 others, six clips against six, nothing changed: by each interval alone nearly every comparison
    has a find, with false finds held down at most one in ten (5 % for the hip drop, 5 % for all others)."""
    rng = np.random.default_rng(11)
    plain = plain_chosen = said = said_chosen = 0
    for _ in range(1000):
        rows = rows_of(rng, 84)
        rows = [replace(r, key=CHOSEN[i]) if i < len(CHOSEN) else r for i, r in enumerate(rows)]
        clear = [r.verdict.kind == "clearly different" for r in rows]
        told = [r.verdict.kind == "clearly different" for r in controlled(rows)]
        plain, said = plain + any(clear), said + any(told)
        plain_chosen, said_chosen = plain_chosen + any(clear[:4]), said_chosen + any(told[:4])
    assert plain / 1000 > 0.95
    assert plain_chosen / 1000 > 0.12
    assert said / 1000 <= 0.10
    assert said_chosen / 1000 <= 0.09


def rows_of(rng: np.random.Generator, count: int, shifted: int = 0) -> list[ComparedMeasure]:
    nothing = GroupValues(values=(), missing=(), mean=None)
    rows = []
    for i in range(count):
        difference = welch_difference(rng.normal(size=6).tolist(), (rng.normal(size=6) + 4.0 * (i < shifted)).tolist())
        clear = difference.low > 0.0 or difference.high < 0.0
        verdict = Verdict(kind="clearly different") if clear else Verdict(kind="not seen", limit=difference.half_width)
        key = MeasureKey("contacts", -1, f"made_up_{i}_m")
        rows.append(
            ComparedMeasure(
                key=key, first=nothing, second=nothing, difference=difference, typical_error=None,
                minimal_detectable_change=None, verdict=verdict,
            )
        )  # fmt: skip
    return rows


def test_where_nothing_changed_few_comparisons_find_anything() -> None:
    """25 measures, 400 comparisons without a change: without control a find in most (0.72 expected), with it in about 5 %."""
    rng = np.random.default_rng(7)
    plain = found = 0
    for _ in range(400):
        rows = rows_of(rng, 25)
        plain += any(r.verdict.kind == "clearly different" for r in rows)
        found += any(r.verdict.kind == "clearly different" for r in controlled(rows))
    assert plain / 400 > 0.55
    assert found / 400 < 0.09


def test_real_changes_are_still_found() -> None:
    """Five of 25 measures moved by four standard deviations are found nearly always."""
    rng = np.random.default_rng(8)
    found = [
        sum(r.verdict.kind == "clearly different" for r in controlled(rows_of(rng, 25, 5))[:5]) for _ in range(100)
    ]

    assert np.mean(found) > 4.8


def test_what_was_chosen_beforehand_is_judged_on_its_own() -> None:
    """Among many noisy measures the chosen one keeps its own interval's verdict. Fails if it joins the others."""
    rng = np.random.default_rng(9)
    rows = rows_of(rng, 24)
    barely = Interval(value=1.0, half_width=0.98, freedom=10.0, how="")
    own = ComparedMeasure(
        key=CHOSEN[0], first=rows[0].first, second=rows[0].second, difference=barely, typical_error=None,
        minimal_detectable_change=None, verdict=Verdict(kind="clearly different"),
    )  # fmt: skip

    assert controlled([*rows, own])[-1].verdict.kind == "clearly different"
