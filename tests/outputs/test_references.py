"""Published values: copied right, marked as read or remembered, and only the read ones drawn."""

from __future__ import annotations

import json
import os
from pathlib import Path

import pytest

from penult.model import catalogue
from penult.model.analysis import Run
from penult.outputs.texts.references import Band, bands, bands_beside, drawn_band


def run_of(*, kind: str = "full approach", sex: str | None = "female", has_takeoff: bool = True) -> Run:
    return Run(direction="left to right", kind=kind, has_takeoff=has_takeoff, sex=sex)


def bands_for(measure: str, number: int | None = None) -> list[Band]:
    return [band for band in bands() if (band.measure, band.number) == (measure, number)]


def test_every_band_belongs_to_a_measure_and_names_its_source() -> None:
    for band in bands():
        assert band.measure in {name for _, name in catalogue.ROWS}
        assert band.low <= band.high
        assert band.sex in {"female", "male"}
        assert ("women" in band.group) == (band.sex == "female")
        assert band.source
        assert band.source_short
        assert (band.high > band.low) == (band.kind != "single")


def test_nothing_recalled_is_published() -> None:
    """A value that was not read in print stands nowhere. Fails if a source that names no publication comes back."""
    assert not [band for band in bands() if "memory" in (band.source + band.note).lower()]


@pytest.mark.parametrize(
    "run",
    [
        run_of(kind="mat drill"),
        run_of(kind="short approach"),
        run_of(kind=""),
        run_of(sex=None),
        run_of(has_takeoff=False, kind="run-through"),
    ],
)
def test_no_band_stands_beside_another_kind_of_run_or_an_athlete_not_known(run: Run) -> None:
    """Every published jump here is one in competition: beside a drill its numbers would pass for an aim."""
    assert bands_beside(run) == ()
    assert drawn_band(run, "takeoff_angle_deg") is None


def test_women_stand_beside_women_and_men_beside_men() -> None:
    assert {b.sex for b in bands_beside(run_of())} == {"female"}
    assert {b.sex for b in bands_beside(run_of(sex="male"))} == {"male"}
    assert drawn_band(run_of(), "takeoff_angle_deg") is not None
    assert drawn_band(run_of(sex="male"), "takeoff_angle_deg") is None


def test_a_band_of_another_definition_is_not_drawn() -> None:
    """Published drops are of the centre of mass and other instants; beside the headline they would mislead."""
    assert bands_for("penultimate_hip_drop_m")
    assert drawn_band(run_of(sex="male"), "penultimate_hip_drop_m") is None


@pytest.mark.parametrize(
    ("measure", "number", "mean", "sd"),
    [
        # abstract of Panoutsakopoulos and others 2021 (read): mean and SD of 11 jumps
        ("takeoff_angle_deg", None, 20.7, 2.3),
        ("takeoff_speed_m_per_s", None, 8.3, 0.4),
        ("takeoff_height_m", None, 1.15, 0.05),
        ("knee_angle_toe_off_deg", 0, 171.2, 4.7),
        # abstract of Sunami 2013 (read)
        ("leg_angle_touchdown_deg", 0, 62.08, 3.22),
        ("speed_loss_percent", None, 13.67, 3.74),
    ],
)
def test_bands_of_mean_and_sd_are_the_published_ones(measure: str, number: int | None, mean: float, sd: float) -> None:
    band = next(b for b in bands_for(measure, number) if b.kind == "mean and SD")

    assert (band.low + band.high) / 2 == pytest.approx(mean, abs=0.06)
    assert (band.high - band.low) / 2 == pytest.approx(sd, abs=0.06)


def test_the_ratio_of_the_last_steps_follows_from_the_published_difference() -> None:
    """Penultimate step 12.2 % (SD 2.8 %) longer than the last: last over penultimate is 1 / 1.122."""
    band = bands_for("step_length_ratio", 0)[0]

    assert band.low == pytest.approx(1 / 1.150, abs=1e-3)
    assert band.high == pytest.approx(1 / 1.094, abs=1e-3)


@pytest.mark.skipif("PENULT_SHARED" not in os.environ, reason="needs the collected references (PENULT_SHARED)")
def test_single_and_ranged_values_stand_in_the_collection() -> None:
    """Every number but those computed here is one that the collection of references holds."""
    rows = json.loads((Path(os.environ["PENULT_SHARED"]) / "refs/reference_values.json").read_text())["values"]
    known = {value for row in rows for value in [row.get("value"), *row.get("range", [])]}
    known |= {127.0 / 1000.0, 120.0, 25.5, 15.5}  # 84 + 43 ms; 'about 120 deg' and the angles stand in notes
    for band in bands():
        if band.kind == "mean and SD" or band.measure in {"trunk_angle_touchdown_deg", "speed_loss_percent"}:
            continue
        assert {band.low, band.high} <= known, band
