"""Published values: copied right, marked as read or remembered, and only the read ones drawn."""

from __future__ import annotations

import json
import os
from pathlib import Path

import pytest

from penult.model import catalogue
from penult.outputs.texts.references import bands, bands_for, drawn_band


def test_every_band_belongs_to_a_measure_and_names_its_source() -> None:
    for band in bands():
        assert band.measure in {name for _, name in catalogue.ROWS}
        assert band.low <= band.high
        assert band.mark in {"SEEN", "MEMORY"}
        assert band.source
        assert band.source_short
        assert (band.high > band.low) == (band.kind != "single")


def test_a_remembered_value_is_called_unverified_and_never_drawn() -> None:
    assert {b.mark_words for b in bands() if b.mark == "MEMORY"} == {"from memory, unverified"}
    for band in bands():
        drawn = drawn_band(band.measure, band.number)
        assert drawn is None or (drawn.mark == "SEEN" and drawn.same_definition)
    assert bands_for("contact_time_s", 0)[0].mark == "SEEN"


def test_a_band_of_another_definition_is_not_drawn() -> None:
    """Published drops are of the centre of mass and other instants; beside the headline they would mislead."""
    assert bands_for("penultimate_hip_drop_m")
    assert drawn_band("penultimate_hip_drop_m") is None


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
