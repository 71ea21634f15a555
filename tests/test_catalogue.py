"""The list of measures: it says what the contract says, and a measure that is added to it is seen by everything that reads it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from penult.core.checks.unseen_instants import UNSEEN, withhold
from penult.core.checks.withheld import NO_BOARD, without_board, without_clock
from penult.core.clips.compare import compare
from penult.core.clips.season import season
from penult.core.measures.takeoff import penultimate_measures
from penult.core.synthetic.invented import Form, trial
from penult.model import catalogue
from penult.model.analysis import Analysis
from penult.model.catalogue.entry import CM, LANDS, Entry
from penult.model.comparison import Group
from penult.model.measured import Measured, NotMeasured
from penult.model.trial import MeasureKey, Said, Trial
from penult.outputs.folder.tables import contacts_table
from penult.outputs.pages import content
from penult.outputs.texts import words
from penult.review import looks

ADDED = Entry(
    name="ankle_height_touchdown_m",
    part="contacts",
    words="ankle height at touchdown",
    shown_in=CM,
    definition="Ankle above the runway at touchdown.",
    reason="the ankle is hidden",
    clock=True,
    board=True,
    instants=LANDS,
    moment="touchdown",
    drawing="hip",
    above_runway=True,
    headline={"season": {-1: 9}},
)


@pytest.fixture
def added(monkeypatch: pytest.MonkeyPatch) -> Entry:
    monkeypatch.setitem(catalogue.ROWS, (ADDED.part, ADDED.name), ADDED)
    return ADDED


def clip(height_m: float, day: int, mats: tuple = ()) -> Trial:
    """A clip whose penultimate and take-off contacts have the measure."""
    said = Said(date=f"2026-10-{day:02d}", session="s")
    one = trial(np.random.default_rng(day), Form(athlete="A1", kind="full approach", mats=mats), said)
    value = Measured(value=height_m, u95=0.002)
    contacts = tuple(
        replace(c, measures={**c.measures, ADDED.name: value}) if c.number in (-1, 0) else c
        for c in one.analysis.contacts
    )
    return replace(one, analysis=replace(one.analysis, contacts=contacts))


def values(analysis: Analysis) -> list:
    return [c.measures[ADDED.name] for c in analysis.contacts if ADDED.name in c.measures]


def test_an_added_measure_is_withheld_by_what_it_rests_on(added: Entry) -> None:
    """Clock and board take both contacts; the unseen touchdown of contact -1 takes that one alone, its toe-off none."""
    one = clip(0.08, 1).analysis

    assert values(without_clock(one, "doubted")) == [NotMeasured(reason="doubted")] * 2
    assert values(without_board(one)) == [NotMeasured(reason=NO_BOARD)] * 2
    assert values(withhold(one, [(-1, "touchdown")])) == [NotMeasured(reason=UNSEEN), Measured(value=0.08, u95=0.002)]
    assert all(values(withhold(one, [(-1, "toe_off"), (0, "toe_off")])))


def test_a_measure_that_is_not_in_the_list_cannot_be_let_through() -> None:
    one = clip(0.08, 1).analysis

    with pytest.raises(LookupError, match="ankle_height_touchdown_m"):
        without_clock(one, "doubted")


def test_an_added_measure_is_drawn_where_it_is_seen(added: Entry) -> None:
    place = looks.Place(part="contacts", number=-1, name=added.name)
    one = clip(0.08, 1).analysis
    penultimate = one.contact(-1)
    assert penultimate is not None
    assert penultimate.span_s is not None

    drawn = looks.drawing(place, Measured(value=0.08, u95=0.002))
    assert drawn == {"kind": "hip", "contact": -1, "value": 0.08}
    assert looks.moment_s(one, motion=None, place=place) == penultimate.span_s[0]  # type: ignore[arg-type]
    assert looks.drawing(place, NotMeasured(reason="hidden")) is None


def test_an_added_measure_is_tabled_in_its_own_words_and_unit(added: Entry) -> None:
    one = clip(0.08, 1).analysis
    table = contacts_table(one)

    last = table.set_index("number").loc[-1]
    assert (last[added.name], last["ankle_height_touchdown_u95_m"]) == (0.08, 0.002)
    assert f"{added.name}: not in this result" in table.set_index("number").loc[-3]["not_measured"]
    assert added.name in [name for name, _ in content.everything(one)["contact_rows"]]
    assert words.shown(added.name, Measured(value=0.08, u95=0.002)).text == "8.0 ± 0.2 cm"
    assert words.term(added.name).words == "ankle height at touchdown"


def test_an_added_measure_is_compared_and_followed_over_a_season(added: Entry) -> None:
    """Means of 0.07 and 0.08 m differ by 1 cm; of two lane files it would not be averaged (the measure is a length)."""
    key = MeasureKey("contacts", -1, added.name)
    first = [clip(h, d) for d, h in enumerate((0.069, 0.070, 0.071), 1)]
    second = [clip(h, d) for d, h in enumerate((0.079, 0.080, 0.081), 11)]

    row = compare(Group(name="a", trials=tuple(first)), Group(name="b", trials=tuple(second))).row(key)
    assert row is not None
    assert row.difference is not None
    assert row.difference.value == pytest.approx(0.010)
    assert row.verdict.kind == "clearly different"
    assert key in [m.key for m in season("A1", [*first, *second]).measures]
    lanes = [replace(t, analysis=replace(t.analysis, method={**t.analysis.method, "calibration": f"{i}.json",
             "calibration_sha256": str(i)})) for i, t in enumerate([*first, *second])]  # fmt: skip
    apart = compare(Group(name="a", trials=tuple(lanes[:3])), Group(name="b", trials=tuple(lanes[3:]))).row(key)
    assert apart is not None
    assert apart.difference is None


CLOCKED = {
    "contacts": {"touchdown_s", "toe_off_s", "contact_time_s", "foot_speed_touchdown_m_per_s"},
    "steps": {"flight_time_s", "step_time_s", "step_rate_hz", "step_speed_m_per_s", "step_length_over_time_m_per_s"},
    "penultimate": set(),
    "takeoff": {
        "approach_speed_m_per_s", "takeoff_velocity_x_m_per_s", "takeoff_velocity_y_m_per_s", "takeoff_speed_m_per_s",
        "takeoff_angle_deg", "speed_loss_m_per_s", "speed_loss_percent", "takeoff_height_m", "flight_distance_m",
    },
    "checks": set(),
    "phases": {
        "contact_time_s", "flight_time_s", "phase_time_s", "takeoff_velocity_x_m_per_s", "takeoff_velocity_y_m_per_s",
        "takeoff_angle_deg", "speed_in_m_per_s", "speed_loss_m_per_s", "flight_height_m", "mass_centre_rise_m",
        "flight_contact_ratio",
    },
    "sequence": {
        "speed_kept_share", "left_right_difference_contact_time_s", "left_right_difference_flight_time_s",
        *(f"takeoffs_{which}_{name}" for which in ("mean", "sd") for name in (
            "contact_time_s", "flight_time_s", "takeoff_velocity_y_m_per_s", "takeoff_angle_deg", "speed_loss_m_per_s",
        )),
    },
}  # fmt: skip
"""MEASURES.md section 6: every time, rate, speed, and the take-off velocity, angle, height and flight distance. Of a phase also
what is made of its upward speed, and of the sequence what is made of speeds."""


@pytest.mark.parametrize("part", CLOCKED)
def test_what_rests_on_the_clock_is_what_the_contract_names(part: str) -> None:
    assert {name for name in catalogue.names(part) if catalogue.row(part, name).clock} == CLOCKED[part]


def test_what_is_counted_in_time_is_withheld_with_the_clock() -> None:
    """By units, whatever is added later: seconds, hertz and speeds rest on the clock, but for the check of the clock itself."""
    timed = [e for e in catalogue.ROWS.values() if e.shown_in.ending in {"_s", "_hz", "_m_per_s", "_m_per_s2"}]

    assert {e.name for e in timed if not e.clock} == {"free_fall_m_per_s2"}


def test_every_row_fits_its_place() -> None:
    """Names end with their unit, parts exist, one name has one unit everywhere, places of main numbers are not shared."""
    for (part, name), entry in catalogue.ROWS.items():
        assert (part, name) == (entry.part, entry.name)
        assert part in catalogue.PARTS
        assert name.endswith(entry.shown_in.ending)
        assert entry.u95_name == catalogue.u95_name(name)
        assert entry.shown_in == catalogue.described(name).shown_in
        assert entry.definition.endswith(".")
    for page in ("season", "comparison", "review", "series comparison", "series review"):
        places = [p for e in catalogue.ROWS.values() for p in e.headline.get(page, {}).values()]  # type: ignore[call-overload]
        assert sorted(places) == list(range(1, len(places) + 1))


def test_an_unknown_measure_of_another_version_is_spelled_out() -> None:
    """A result file from a later version is shown, not refused."""
    unknown = catalogue.described("elbow_angle_min_deg", "contacts")

    assert unknown.words == "elbow angle min deg"
    assert unknown.lane


def test_whatever_is_measured_before_a_take_off_has_a_row_in_both_parts() -> None:
    """Small take-offs in a run carry their own hip drops, under `phases`; a name without a row there stops the analysis."""
    given = set(penultimate_measures({}, None))

    assert given <= set(catalogue.names("penultimate"))
    assert given <= set(catalogue.names("phases"))
