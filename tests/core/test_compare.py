"""Comparisons: verdicts in the agreed words, bad groups named and never averaged, coverage of the stated intervals."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from penult.core.clips.compare import compare, verdict_of
from penult.core.clips.groups import depends_on_lane, mixed
from penult.core.synthetic.invented import Form, Made, trial
from penult.errors import InputError
from penult.model.analysis import Mat
from penult.model.comparison import ComparedMeasure, Comparison, Group, Interval
from penult.model.measured import Measured, NotMeasured
from penult.model.trial import MeasureKey, Said, Trial

DROP = MeasureKey("penultimate", None, "penultimate_hip_drop_m")
CONTACT = MeasureKey("contacts", -1, "contact_time_s")
MAT = (Mat(number=-1, thickness_m=0.05),)


def clips(
    drops: Sequence[float],
    *,
    seed: int = 1,
    kind: str = "full approach",
    athlete: str = "A1",
    mats: tuple[Mat, ...] = (),
    u95: float = 0.009,
    date: str = "2026-10-03",
    **made: str,
) -> list[Trial]:
    """Return clips whose hip drops are exactly those given."""
    rng = np.random.default_rng(seed)
    form = Form(athlete=athlete, kind=kind, mats=mats)
    found = []
    for i, drop in enumerate(drops):
        one = trial(rng, form, Said(date=date, session="hall"), file=f"{kind}_{i}.mp4", made=Made(**made))  # type: ignore[arg-type]
        measures = {**one.analysis.penultimate, DROP.name: Measured(value=drop, u95=u95)}
        found.append(replace(one, analysis=replace(one.analysis, penultimate=measures)))
    return found


def group(name: str, trials: Sequence[Trial]) -> Group:
    return Group(name=name, trials=tuple(trials))


def drop_row(comparison: Comparison) -> ComparedMeasure:
    row = comparison.row(DROP)
    assert row is not None
    return row


def codes(comparison: Comparison) -> set[str]:
    return {n.code for n in comparison.notices}


def test_the_difference_is_the_second_mean_minus_the_first() -> None:
    """Means 0.02 and 0.05 of three clips each, spread 0.01: +0.03, t interval with four degrees of freedom (by hand)."""
    first, second = clips([0.01, 0.02, 0.03]), clips([0.04, 0.05, 0.06], seed=2)

    row = drop_row(compare(group("a", first), group("b", second)))

    assert row.difference is not None
    assert (row.first.mean, row.second.mean) == (pytest.approx(0.02), pytest.approx(0.05))
    assert row.difference.value == pytest.approx(0.03)
    assert row.difference.freedom == pytest.approx(4.0)
    assert row.difference.half_width == pytest.approx(2.776445 * 0.01 * (2.0 / 3.0) ** 0.5, rel=1e-6)  # t table, 4 df
    assert row.verdict.kind == "clearly different"


def test_minimal_detectable_change_rests_on_both_groups_own_repeats() -> None:
    """Spread 0.01 in each group: typical error 0.01 from six repeats, change 1.96 x sqrt(2) x 0.01."""
    row = drop_row(
        compare(group("a", clips([0.01, 0.02, 0.03])), group("b", clips([0.04, 0.05, 0.06], seed=2, kind="drill")))
    )

    assert row.typical_error is not None
    assert (row.typical_error.value, row.typical_error.clips) == (pytest.approx(0.01), 6)
    assert row.minimal_detectable_change == pytest.approx(1.96 * 2**0.5 * 0.01)


def test_two_and_two_clips_are_compared_by_what_the_measurement_supports() -> None:
    """Means 1.5 and 9.5 cm, each known to 0.9 cm: 8.0 apart, +- hypot(0.9, 0.9) cm; what is usual is not known (by hand)."""
    row = drop_row(compare(group("a", clips([0.01, 0.02])), group("b", clips([0.09, 0.10], seed=2, kind="drill"))))

    assert row.verdict.kind == "apart in these runs"
    assert "not known yet" in row.verdict.reason
    assert row.difference is not None
    assert row.difference.value == pytest.approx(0.08)
    assert row.difference.half_width == pytest.approx(2**0.5 * 0.009)
    assert row.typical_error is not None
    assert not row.typical_error.from_repeats
    assert row.minimal_detectable_change == pytest.approx(1.96 * 2**0.5 * 0.0045)


def test_two_runs_nearer_than_the_measurement_are_not_told_apart() -> None:
    """3.0 and 3.6 cm, each +- 0.9: nothing may be said. Fails if the number of clips narrows what all clips share."""
    comparison = compare(group("a", clips([0.030])), group("b", clips([0.036], seed=2)))

    assert drop_row(comparison).verdict.kind == "not told apart"
    assert "single-clip" not in codes(comparison)


def test_a_single_clip_is_named_and_judged_by_the_repeats_of_the_other_group() -> None:
    """One clip against four: its value is shown, the interval comes from the athlete's typical error."""
    comparison = compare(
        group("one", clips([0.06])), group("four", clips([0.01, 0.02, 0.03, 0.02], seed=2, kind="drill"))
    )
    row = drop_row(comparison)

    assert "single-clip" in codes(comparison)
    assert row.difference is not None
    assert "typical error" in row.difference.how
    assert row.difference.freedom == 3


def test_repeats_elsewhere_make_two_clips_enough() -> None:
    """Three more clips of the same kind from the logbook give the typical error that the groups lack."""
    first, second = clips([0.01, 0.02]), clips([0.08, 0.09], seed=2, kind="drill")
    elsewhere = clips([0.03, 0.031, 0.029], seed=5, date="2026-09-01")

    row = drop_row(compare(group("a", first), group("b", second), repeats=elsewhere))

    assert row.verdict.kind == "clearly different"
    assert row.typical_error is not None
    assert row.typical_error.from_repeats


def test_repeats_of_somebody_else_are_not_taken() -> None:
    """The typical error is this athlete's own."""
    first, second = clips([0.01, 0.02]), clips([0.08, 0.09], seed=2, kind="drill")
    others = clips([0.03, 0.031, 0.029], seed=5, athlete="A2")

    assert (
        drop_row(compare(group("a", first), group("b", second), repeats=others)).verdict.kind == "apart in these runs"
    )


@pytest.mark.parametrize(
    ("odd", "word"),
    [
        (clips([0.02], seed=9, athlete="A2"), "athletes"),
        (clips([0.02], seed=9, kind="mat drill"), "kinds"),
        (clips([0.02], seed=9, penult="0.0.9"), "versions"),
        (clips([0.02], seed=9, pose_model_sha256="f" * 64), "versions"),
    ],
)
def test_a_mixed_group_is_named_and_never_averaged(odd: list[Trial], word: str) -> None:
    """Another athlete, kind, mat or method among the clips: values are shown, no mean, no difference, no verdict."""
    comparison = compare(group("a", [*clips([0.01, 0.02, 0.03]), *odd]), group("b", clips([0.04, 0.05, 0.06], seed=2)))

    assert "mixed-group" in codes(comparison)
    assert word in next(n.text for n in comparison.notices if n.code == "mixed-group")
    for row in comparison.rows:
        assert row.first.mean is None
        assert row.difference is None
        assert row.verdict.kind == "not compared"
    assert len(drop_row(comparison).first.values) == 4


def test_one_odd_drill_is_left_aside_and_takes_nothing_with_it() -> None:
    """Three clips without mats and one on a mat: the three are compared, take-off angle included, the one is named once."""
    odd = clips([0.09], seed=9, mats=MAT)
    comparison = compare(group("a", [*clips([0.01, 0.02, 0.03]), *odd]), group("b", clips([0.04, 0.05, 0.06], seed=2)))

    row = drop_row(comparison)
    told = [n.text for n in comparison.notices if n.code == "patterns-split"]
    assert (row.first.mean, row.second.mean) == (pytest.approx(0.02), pytest.approx(0.05))
    assert len(told) == 1
    assert odd[0].analysis.clip.file in told[0]
    assert comparison.row(MeasureKey("takeoff", None, "takeoff_angle_deg")).difference is not None  # type: ignore[union-attr]


def test_groups_of_two_method_versions_are_named_and_not_compared() -> None:
    """Each group keeps its mean, but a difference would be one between programs."""
    comparison = compare(
        group("a", clips([0.01, 0.02, 0.03], penult="0.1.0")),
        group("b", clips([0.04, 0.05, 0.06], penult="0.2.0", seed=2)),
    )

    assert "mixed-methods" in codes(comparison)
    assert all(r.difference is None for r in comparison.rows)
    assert drop_row(comparison).first.mean == pytest.approx(0.02)


def test_one_lane_file_each_widens_the_interval_but_not_that_of_times() -> None:
    """The uncertainty of both lane files is added in quadrature; a contact time does not hang on a lane file."""
    first, second = clips([0.01, 0.02, 0.03], lane="x"), clips([0.04, 0.05, 0.06], seed=2, lane="y")
    plain = compare(group("a", first), group("b", clips([0.04, 0.05, 0.06], seed=2, lane="x")))
    comparison = compare(group("a", first), group("b", second))
    row, alike = drop_row(comparison), drop_row(plain)

    assert "mixed-lanes" in codes(comparison)
    assert row.difference is not None
    assert alike.difference is not None
    assert row.difference.half_width == pytest.approx((alike.difference.half_width**2 + 2 * (0.98 * 0.009) ** 2) ** 0.5)
    times, times_alike = comparison.row(CONTACT), plain.row(CONTACT)
    assert times is not None
    assert times_alike is not None
    assert times.difference == times_alike.difference


def test_shared_lane_files_are_compared_within_each() -> None:
    """Lane y shifts everything by 0.5 m: within each lane the difference is 0.03, and that is what comes out."""
    first = [*clips([0.01, 0.02, 0.03], lane="x"), *clips([0.51, 0.52], seed=3, lane="y")]
    second = [*clips([0.04, 0.05], seed=2, lane="x"), *clips([0.54, 0.55, 0.56], seed=4, lane="y")]

    row = drop_row(compare(group("a", first), group("b", second)))

    assert row.difference is not None
    assert row.difference.value == pytest.approx(0.0302, abs=0.0005)
    assert row.verdict.kind == "clearly different"
    assert (row.first.mean, row.second.mean) == (None, None)


def test_several_lane_files_without_a_common_one_are_not_compared_unless_asked_for() -> None:
    """Then each lane file's mean counts as one value, and says so."""
    first = [t for i, lane in enumerate("uvw") for t in clips([0.01 + 0.002 * i, 0.02], seed=i, lane=lane)]
    second = [t for i, lane in enumerate("xyz") for t in clips([0.05 + 0.002 * i, 0.06], seed=9 + i, lane=lane)]
    groups = group("a", first), group("b", second)

    closed, asked = drop_row(compare(*groups)), drop_row(compare(*groups, across_lanes=True))

    assert closed.verdict.kind == "not compared"
    assert "lane files" in closed.verdict.reason
    assert asked.difference is not None
    assert asked.difference.value == pytest.approx(0.04)
    assert "3 and 3" in asked.notes[-1]


def test_mats_in_one_group_only_are_named_and_hip_heights_stay_above_the_runway() -> None:
    """The drill against the full approach is the coach's question: compared, with the mats named and not taken off."""
    drill = clips([0.01, 0.012, 0.011], kind="mat drill", mats=MAT)
    comparison = compare(group("drill", drill), group("full", clips([0.04, 0.05, 0.06], seed=2)))
    height = comparison.row(MeasureKey("contacts", -1, "hip_height_lowest_m"))

    assert "mats-differ" in codes(comparison)
    assert height is not None
    values = [t.analysis.contact(-1).measures["hip_height_lowest_m"].value for t in drill]  # type: ignore[union-attr]
    assert height.first.mean == pytest.approx(float(np.mean(values)))
    assert height.notes == ("above the runway, mats not taken off",)


def test_a_run_through_is_compared_on_what_it_has() -> None:
    """No take-off: the penultimate contact is compared, take-off measures have no value on that side, both said."""
    rng = np.random.default_rng(4)
    form = Form(athlete="A1", kind="run-through", has_takeoff=False)
    through = [trial(rng, form, Said(date="2026-10-03")) for _ in range(3)]
    comparison = compare(group("through", through), group("full", clips([0.04, 0.05, 0.06])))
    angle = comparison.row(MeasureKey("takeoff", None, "takeoff_angle_deg"))

    assert "no-takeoff" in codes(comparison)
    assert drop_row(comparison).difference is not None
    assert angle is not None
    assert angle.verdict.kind == "too few clips"
    assert "no take-off in the clip" in angle.verdict.reason


def test_values_that_are_missing_keep_their_reason() -> None:
    """A clip without a value is listed with why, and does not enter the mean."""
    first = clips([0.01, 0.02, 0.03, 0.9])
    hidden = {**first[3].analysis.penultimate, DROP.name: NotMeasured(reason="hip hidden behind a spectator")}
    first[3] = replace(first[3], analysis=replace(first[3].analysis, penultimate=hidden))

    row = drop_row(compare(group("a", first), group("b", clips([0.04, 0.05, 0.06], seed=2))))

    assert row.first.missing == ((3, "hip hidden behind a spectator"),)
    assert row.first.mean == pytest.approx(0.02)


def test_an_empty_group_and_a_clip_in_both_are_refused() -> None:
    """Both are mistakes of the input, named."""
    some = clips([0.01, 0.02, 0.03])
    with pytest.raises(InputError, match="holds no clip"):
        compare(group("a", some), group("b", []))
    with pytest.raises(InputError, match="in both groups"):
        compare(group("a", some), group("b", some[:1]))


def test_repeats_that_agree_to_the_last_digit_are_no_perfect_typical_error() -> None:
    """The minimal detectable change then rests on the measurement, not on zero."""
    row = drop_row(compare(group("a", clips([0.02, 0.02, 0.02])), group("b", clips([0.02, 0.02, 0.02], seed=2))))

    assert row.minimal_detectable_change == pytest.approx(1.96 * 2**0.5 * 0.0045)
    assert row.verdict.kind == "not seen"


@given(st.floats(-10.0, 10.0), st.floats(0.0, 10.0))
def test_the_verdict_is_clear_exactly_when_the_interval_leaves_out_zero(value: float, half: float) -> None:
    """And else it carries the half-width as the limit of what could have been seen."""
    verdict = verdict_of(Interval(value=value, half_width=half, freedom=4.0, how=""))

    assert (verdict.kind == "clearly different") == (abs(value) > half)
    assert verdict.limit == (None if abs(value) > half else half)


def test_stated_intervals_of_whole_comparisons_cover_the_truth() -> None:
    """1,500 comparisons of four against five clips with a true difference of 1 cm: 93 to 97 % of the intervals hold it."""
    rng = np.random.default_rng(12)
    base = clips([0.0] * 9)
    inside = 0
    for _ in range(1500):
        drops = np.r_[rng.normal(0.03, 0.006, 4), rng.normal(0.04, 0.006, 5)]
        trials = [_with_only_drop(t, d) for t, d in zip(base, drops, strict=True)]
        row = drop_row(compare(group("a", trials[:4]), group("b", trials[4:])))
        assert row.difference is not None
        inside += row.difference.low <= 0.01 <= row.difference.high
    assert 0.93 <= inside / 1500 <= 0.97


def _with_only_drop(one: Trial, drop: float) -> Trial:
    measures = {DROP.name: Measured(value=float(drop), u95=0.009)}
    analysis = replace(one.analysis, contacts=(), steps=(), takeoff={}, checks={}, penultimate=measures)
    return replace(one, analysis=analysis)


def test_only_durations_and_rates_do_not_hang_on_the_lane_file() -> None:
    """By their units: nothing in metres, degrees or metres a second is free of it."""
    assert not depends_on_lane(MeasureKey("contacts", 0, "contact_time_s"))
    assert all(
        depends_on_lane(key)
        for key in (
            MeasureKey("steps", 0, "step_length_m"),
            MeasureKey("takeoff", None, "takeoff_angle_deg"),
            MeasureKey("takeoff", None, "approach_speed_m_per_s"),
            MeasureKey("steps", 0, "step_length_ratio"),
        )
    )


def test_an_even_group_is_not_called_mixed() -> None:
    """The guard does not cry wolf."""
    assert mixed(group("a", clips([0.01, 0.02], mats=MAT))) == ""


def test_repeats_of_a_length_are_told_apart_by_lane_file_those_of_a_duration_are_not() -> None:
    """One session, two lane files. Lengths repeat within each lane file: SD 0.002 m, although the lanes lie 0.04 m apart.

    Durations know no lane: SD of all six times, 100, 102, 104, 110, 112, 114 ms, is sqrt((2 x 8 + 6 x 25) / 5) ms.
    """
    times_s = {"a": (0.100, 0.102, 0.104), "b": (0.110, 0.112, 0.114)}
    one = [
        with_contact_time(t, times_s[lane][i])
        for lane, drops in (("a", [0.050, 0.052, 0.054]), ("b", [0.090, 0.092, 0.094]))
        for i, t in enumerate(clips(drops, lane=f"{lane}.json"))
    ]
    other = clips([0.03], date="2026-10-10", kind="mat drill", mats=MAT)

    found = compare(group("one", one), group("other", other))

    drop, time = drop_row(found).typical_error, found.row(CONTACT)
    assert drop is not None
    assert time is not None
    assert time.typical_error is not None
    assert drop.value == pytest.approx(0.002)
    assert time.typical_error.value == pytest.approx(0.001 * np.sqrt((2 * 8 + 6 * 25) / 5.0))


def with_contact_time(one: Trial, time_s: float) -> Trial:
    """The clip with another contact time of the penultimate contact."""
    contacts = tuple(
        replace(c, measures={**c.measures, CONTACT.name: Measured(value=time_s, u95=0.002)}) if c.number == -1 else c
        for c in one.analysis.contacts
    )
    return replace(one, analysis=replace(one.analysis, contacts=contacts))
