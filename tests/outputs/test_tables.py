"""Tables open in a spreadsheet: a row a contact or step, u95 beside every value, reasons in their own column."""

from __future__ import annotations

import io
from typing import Any

import numpy as np
import pandas as pd
import pytest

from penult.model import catalogue
from penult.model.catalogue import u95_name
from penult.outputs.folder.tables import contacts_table, hip_path_table, steps_table, to_csv


def read_back(table: pd.DataFrame) -> pd.DataFrame:
    return pd.read_csv(io.BytesIO(to_csv(table)))


def test_contacts_come_back_from_csv_with_value_and_u95(scene: Any) -> None:
    table = read_back(contacts_table(scene.analysis))

    assert table["number"].tolist() == [-3, -2, -1, 0]
    assert table["foot"].tolist() == ["right", "left", "right", "left"]
    assert table["contact_time_s"].tolist() == [0.11] * 4
    assert table["contact_time_u95_s"].tolist() == [0.0042] * 4
    for name in catalogue.names("contacts"):
        assert {name, u95_name(name)} <= set(table.columns)


def test_a_value_that_is_missing_leaves_its_cells_empty_and_its_reason_beside(scene: Any) -> None:
    table = read_back(contacts_table(scene.analysis))

    assert table["foot_speed_touchdown_m_per_s"].isna().all()
    assert table["foot_speed_touchdown_u95_m_per_s"].isna().all()
    assert "foot_speed_touchdown_m_per_s: hidden behind the near leg" in table["not_measured"][0]


def test_steps_carry_the_number_of_the_contact_they_end_at(scene: Any) -> None:
    table = read_back(steps_table(scene.analysis))

    assert table["number"].tolist() == [-2, -1, 0]
    assert table["name"].tolist() == ["third-last step", "penultimate step", "last step"]
    assert table["step_length_m"].tolist() == [2.0] * 3


def test_the_hip_path_is_the_motion_within_its_rounding(scene: Any) -> None:
    table = read_back(hip_path_table(scene.motion))

    assert list(table.columns) == ["time_s", "x_m", "hip_height_m"]
    np.testing.assert_allclose(table[["x_m", "hip_height_m"]].to_numpy(), scene.motion.hip_m, atol=1e-5)


@pytest.mark.parametrize(
    ("name", "beside"),
    [
        ("contact_time_s", "contact_time_u95_s"),
        ("takeoff_angle_deg", "takeoff_angle_u95_deg"),
        ("step_speed_m_per_s", "step_speed_u95_m_per_s"),
        ("free_fall_m_per_s2", "free_fall_u95_m_per_s2"),
        ("step_length_ratio", "step_length_ratio_u95"),
    ],
)
def test_the_unit_stays_last_in_a_name(name: str, beside: str) -> None:
    assert u95_name(name) == beside
