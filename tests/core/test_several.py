"""Several groups side by side, weeks and months. Truth: the calendar (ISO 8601) and simulated groups without any difference."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from penult.app.groups import of_weeks, split
from penult.core.clips.several import several
from penult.core.synthetic.invented import Form, trial
from penult.errors import InputError
from penult.model.analysis import Mat
from penult.model.comparison import Group
from penult.model.trial import Said, Trial
from penult.outputs.pages.several import several_csv, several_html
from penult.outputs.texts.several_findings import several_findings


def clips(kind: str, count: int, rng: np.random.Generator, date: str = "2026-10-05") -> list[Trial]:
    return [
        trial(rng, Form(athlete="A1", kind=kind), Said(date=date), file=f"{kind}_{date}_{i}.mp4") for i in range(count)
    ]


def alike(rng: np.random.Generator, names: list[str], count: int = 4) -> list[Group]:
    """Groups of clips that are all drawn from one and the same form."""
    return [Group(name=n, trials=tuple(replace_file(t, n) for t in clips("full approach", count, rng))) for n in names]


def replace_file(one: Trial, name: str) -> Trial:
    clip = replace(
        one.analysis.clip, file=f"{name}_{one.analysis.clip.file}", sha256=f"{name}{one.analysis.clip.sha256}"
    )
    return replace(one, analysis=replace(one.analysis, clip=clip))


def test_all_are_held_against_the_full_approach_where_there_is_one() -> None:
    rng = np.random.default_rng(1)
    groups = [Group(name=k, trials=tuple(clips(k, 3, rng))) for k in ("mat drill", "full approach", "run-through")]

    found = several(groups)

    assert found.against == 1
    assert [(p.first.name, p.second.name) for p in found.pairs] == [
        ("full approach", "mat drill"), ("full approach", "run-through"),
    ]  # fmt: skip


def test_many_groups_without_a_difference_seldom_show_one() -> None:
    """60 times five groups of four, all drawn alike: by each interval alone almost always a difference in a chosen measure or the
    rest, with false finds held down over all pairs in about one of ten."""
    rng = np.random.default_rng(17)
    said = 0
    for _ in range(60):
        found = several(alike(rng, ["a", "b", "c", "d", "e"]))
        said += any(r.verdict.kind == "clearly different" for p in found.pairs for r in p.rows)
    assert said / 60 <= 0.2  # 0.0975, and two and a half SD of a share of 60


def test_a_group_that_differs_is_named_with_how_much_and_against_what() -> None:
    rng = np.random.default_rng(2)
    groups = alike(rng, ["full approach", "b", "c"], count=6)
    moved = tuple(
        replace(t, analysis=replace(t.analysis, penultimate={
            n: replace(m, value=m.value + 0.05) if n == "penultimate_hip_drop_m" else m
            for n, m in t.analysis.penultimate.items()
        }))
        for t in groups[1].trials
    )  # fmt: skip
    lead = several_findings(several([groups[0], replace(groups[1], trials=moved), groups[2]]))[0]

    assert "deeper in b than in full approach" in lead
    assert "cm" in lead


def test_the_page_holds_hostile_names_as_text_and_every_group() -> None:
    rng = np.random.default_rng(3)
    hostile = '"><script>alert(1)</script>'
    found = several(alike(rng, ["full approach", hostile, "=c"]))

    page, table = several_html(found, source=hostile), several_csv(found)["side_by_side.csv"].decode()
    assert "<script" not in page
    assert page.count("</svg>") > 3
    assert ",'=c," in table
    assert ",=c," not in table


def test_more_groups_than_a_page_holds_are_refused_with_what_to_do() -> None:
    rng = np.random.default_rng(4)
    with pytest.raises(InputError, match="25 groups"):
        several(alike(rng, [f"g{i}" for i in range(25)], count=1))


def test_weeks_are_those_of_the_calendar() -> None:
    """ISO 8601: 28 September 2026 begins week 40; 4 January 2027 begins week 1 of 2027, 3 January belongs to week 53 of 2026."""
    rng = np.random.default_rng(5)
    days = ["2025-09-29", "2026-09-27", "2026-09-28", "2026-10-04", "2027-01-03", "2027-01-04", ""]
    trials = [clips("full approach", 1, rng, d)[0] for d in days]

    def kept(weeks: tuple[int, int]) -> list[str]:
        return [t.said.date for t in of_weeks(trials, weeks)]

    assert kept((40, 40)) == ["2025-09-29", "2026-09-28", "2026-10-04"]
    assert kept((53, 1)) == ["2027-01-03", "2027-01-04"]
    assert kept((39, 39)) == ["2026-09-27"]
    assert len(of_weeks(trials, None)) == len(trials)


def test_months_and_years_stand_in_the_order_of_time() -> None:
    """The same weeks of two years are two groups; a year is that of its weeks."""
    rng = np.random.default_rng(6)
    trials = [clips("full approach", 1, rng, d)[0] for d in ("2026-10-05", "2025-10-06", "2026-11-02", "2025-10-07")]

    assert [g.name for g in split(trials, "month")] == ["2025-10", "2026-10", "2026-11"]
    assert [(g.name, len(g.trials)) for g in split(of_weeks(trials, (40, 42)), "year")] == [("2025", 2), ("2026", 1)]


def test_one_group_is_refused() -> None:
    rng = np.random.default_rng(7)
    with pytest.raises(InputError, match="one group"):
        split(clips("full approach", 3, rng), "kind")


def test_patterns_of_mats_are_groups_of_their_own() -> None:
    """No mats, one mat, two mats: three groups, not 'with' and 'without'."""
    rng = np.random.default_rng(8)
    mats = [
        (),
        (Mat(number=-1, thickness_m=0.05),),
        (Mat(number=-2, thickness_m=0.05), Mat(number=0, thickness_m=0.05)),
    ]
    trials = [
        trial(rng, Form(athlete="A1", kind="mat drill", mats=m), Said(), file=f"{i}.mp4") for i, m in enumerate(mats)
    ]

    assert [g.name for g in split(trials, "pattern")] == [
        "no mats",
        "5 cm under the penultimate contact",
        "5 cm under the third-last contact and 5 cm under the take-off contact",
    ]
