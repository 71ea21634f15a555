"""A season: typical error within sessions, changes against it, slopes, weeks; bad input named."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from penult.core.clips.season import headlines, season
from penult.core.synthetic.invented import Form, Made, trial
from penult.errors import InputError
from penult.model.measured import Measured
from penult.model.trial import Said, Trial

DROP = headlines()[0]
DAYS = ("2026-10-05", "2026-10-12", "2026-10-26", "2026-11-09")


def clips(drops_by_day: dict[str, list[float]], *, lanes: dict[str, str] | None = None, **made: str) -> list[Trial]:
    """Return full approaches with exactly these hip drops."""
    rng = np.random.default_rng(3)
    found = []
    for day, drops in drops_by_day.items():
        for i, drop in enumerate(drops):
            lane = (lanes or {}).get(day, "lane.json")
            said = Said(date=day, session="hall", approach_strides=18)
            one = trial(
                rng, Form(athlete="A1", kind="full approach"), said, file=f"{day}_{i}.mp4", made=Made(lane=lane, **made)
            )  # type: ignore[arg-type]
            measures = {**one.analysis.penultimate, DROP.name: Measured(value=drop, u95=0.009)}
            found.append(replace(one, analysis=replace(one.analysis, penultimate=measures)))
    return found


EVEN = {day: [0.05 - 0.01 * i - 0.002, 0.05 - 0.01 * i, 0.05 - 0.01 * i + 0.002] for i, day in enumerate(DAYS)}


def test_the_typical_error_is_the_spread_within_sessions_not_between_them() -> None:
    """Each session spreads by 0.002 around its own mean: that is the typical error, whatever the means do."""
    found = season("A1", clips(EVEN)).measures[0]

    assert found.typical_error is not None
    assert (found.typical_error.value, found.typical_error.clips) == (pytest.approx(0.002), 12)
    assert found.minimal_detectable_change == pytest.approx(1.96 * math.sqrt(2.0) * 0.002)


def test_a_change_is_read_from_the_last_session_before_the_date_to_the_latest() -> None:
    """Since 20 October: 12 October (0.04) against 9 November (0.02): -0.02, with Student's t of 8 degrees of freedom, 2.306.

    Four sessions of three clips spread by 0.002: half-width 2.306 x 0.002 x sqrt(1/3 + 1/3) = 0.0038.
    """
    change = season("A1", clips(EVEN), since="2026-10-20").changes[0]

    assert (change.before_date, change.since_date) == ("2026-10-12", "2026-11-09")
    assert change.difference.value == pytest.approx(-0.02)
    assert change.difference.half_width == pytest.approx(2.306 * 0.002 * math.sqrt(2.0 / 3.0), rel=1e-4)
    assert change.beyond


def test_a_change_within_its_interval_is_not_called_one() -> None:
    """0.004 against t(0.975, 4) x 0.002 x sqrt(2/3) = 2.776 x 0.00163 = 0.0045."""
    small = {"2026-10-05": [0.048, 0.05, 0.052], "2026-10-12": [0.044, 0.046, 0.048]}

    change = season("A1", clips(small)).changes[0]

    assert change.difference.value == pytest.approx(-0.004)
    assert not change.beyond


def test_two_lane_files_count_their_uncertainty_into_the_limit() -> None:
    """The same change between lane files: sqrt(half^2 + 2 (0.98 u95)^2), half from Student's t, and it says so."""
    found = season("A1", clips(EVEN, lanes={DAYS[3]: "other.json"}))
    change = found.changes[0]

    half = stats.t.ppf(0.975, 8) * 0.002 * math.sqrt(2.0 / 3.0)
    assert change.difference.half_width == pytest.approx(math.sqrt(half**2 + 2.0 * (0.98 * 0.009) ** 2))
    assert any("lane files" in n for n in change.notes)
    assert "mixed-lanes" in {n.code for n in found.notices}


def test_a_session_with_two_lane_files_is_not_averaged_over_them() -> None:
    """The lane file of most of its clips is taken and named; the other clip stays out of the mean."""
    trials = clips(EVEN)
    odd = clips({DAYS[3]: [0.9]}, lanes={DAYS[3]: "other.json"})

    change = season("A1", [*trials, *odd]).changes[0]

    assert change.since == pytest.approx((0.018, 0.02, 0.022))
    assert any("only the clips measured with" in n for n in change.notes)


def test_two_method_versions_are_never_compared_with_one_another() -> None:
    """Sessions before and after an update are two conditions: each has one session, so no change is stated."""
    old = clips({DAYS[0]: EVEN[DAYS[0]]}, penult="0.1.0")
    new = clips({DAYS[1]: EVEN[DAYS[1]]}, penult="0.2.0")

    found = season("A1", [*old, *new])

    assert not [c for c in found.changes if c.key == DROP]
    assert "mixed-methods" in {n.code for n in found.notices}


def test_fewer_than_three_repeats_leave_the_measurement_alone() -> None:
    """Two clips on two days: the typical error is half of u95 and marked as not from repeats."""
    found = season("A1", clips({DAYS[0]: [0.05, 0.03], DAYS[1]: [0.02, 0.04]})).measures[0]

    assert found.typical_error is not None
    assert not found.typical_error.from_repeats
    assert found.typical_error.value == pytest.approx(0.0045)


def test_the_athletes_own_slope_is_scipys_with_its_interval() -> None:
    """Distance against approach speed by least squares; the interval is t times the standard error."""
    trials = [replace(t, said=replace(t.said, official_distance_m=5.5 + 0.1 * i)) for i, t in enumerate(clips(EVEN))]
    slope = season("A1", trials).slopes[0]
    x, y = [p[0] for p in slope.points], [p[1] for p in slope.points]
    fit = stats.linregress(x, y)

    assert slope.slope_s == pytest.approx(fit.slope)
    assert slope.half_width_s == pytest.approx(stats.t.ppf(0.975, len(x) - 2) * fit.stderr)


def test_take_offs_are_counted_by_week_with_the_empty_weeks() -> None:
    """5 and 12 October, 26 October, 9 November 2026 are Mondays: weeks of 3, 3, 0, 3, 0, 3."""
    assert [n for _, n in season("A1", clips(EVEN)).takeoffs_a_week] == [3, 3, 0, 3, 0, 3]


def test_no_clips_and_no_dates_are_named() -> None:
    """An empty season is an error that says what to do."""
    with pytest.raises(InputError, match="no clips of A9"):
        season("A9", [])
    undated = [replace(t, said=replace(t.said, date="")) for t in clips({DAYS[0]: [0.01]})]
    with pytest.raises(InputError, match="has a date"):
        season("A1", undated)


def test_clips_without_a_date_are_left_out_and_counted() -> None:
    """One of thirteen has no date."""
    trials = clips(EVEN)
    found = season("A1", [*trials, replace(trials[0], said=Said())])

    assert len(found.trials) == 12
    assert "1 clip has no date" in found.notices[0].text


def test_the_date_from_which_changes_are_counted_is_the_last_day_before_them() -> None:
    """Since 12 October, a day with a session: that session (0.04) is the one before, not that of the week before (0.05)."""
    change = season("A1", clips(EVEN), since="2026-10-12").changes[0]

    assert change.before_date == "2026-10-12"
    assert change.difference.value == pytest.approx(0.02 - 0.04)


def test_sessions_without_repeats_are_told_apart_by_the_measurement_alone() -> None:
    """One clip a day: 0.03 apart with u95 of 0.009 each is beyond sqrt(2) x 0.009 = 0.0127, 0.01 is not."""
    far, near = (season("A1", clips({DAYS[0]: [0.05], DAYS[1]: [0.05 - apart]})).changes[0] for apart in (0.03, 0.01))

    assert far.difference.half_width == pytest.approx(0.009 * math.sqrt(2.0))
    assert (far.beyond, near.beyond) == (True, False)


def test_a_season_in_which_nothing_changed_seldom_shows_a_change() -> None:
    """300 seasons of 2 sessions of 4 clips, all drawn alike: a change is said in at most one of ten (0.0975, and two SD of a
    share of 300: 0.132); by each change's own interval alone in about a third (9 measures at 5 %: 0.37)."""
    rng = np.random.default_rng(21)
    said = plain = 0
    for _ in range(300):
        trials = [
            trial(rng, Form(athlete="A1", kind="full approach"), Said(date=day, session="hall"), file=f"{day}_{i}.mp4")
            for day in DAYS[:2]
            for i in range(4)
        ]
        changes = season("A1", trials).changes
        said += any(c.beyond for c in changes)
        plain += any(c.difference.low > 0.0 or c.difference.high < 0.0 for c in changes)
    assert plain / 300 > 0.2
    assert said / 300 <= 0.132


def test_what_matters_stands_beside_a_change() -> None:
    assert season("A1", clips(EVEN), matters={DROP.name: 0.01}).changes[0].matters == pytest.approx(0.01)
