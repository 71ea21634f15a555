"""`analysis.json` has the shape that other programs rely on (`penult-analysis/1`)."""

from __future__ import annotations

import io
import json
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from penult.model import catalogue
from penult.model.measured import Measured
from penult.outputs.folder.result import analysis_to_dict, analysis_to_json, motion_to_bytes


def refuse(name: str) -> None:
    raise AssertionError(f"{name} is not JSON")


def test_the_file_has_the_agreed_parts_and_every_measure_of_the_contract(scene: Any) -> None:
    plain = json.loads(analysis_to_json(scene.analysis), parse_constant=refuse)

    assert list(plain) == [
        "format", "clip", "run", "contacts", "steps", "penultimate", "takeoff",
        "phases", "sequence", "run_up", "checks", "warnings", "method",
    ]  # fmt: skip
    assert plain["format"] == "penult-analysis/1"
    assert [c["number"] for c in plain["contacts"]] == [-3, -2, -1, 0]
    assert plain["contacts"][-1]["foot"] == "left"
    for contact in plain["contacts"]:
        assert set(catalogue.names("contacts")) <= set(contact)
    assert set(plain["takeoff"]) == set(catalogue.names("takeoff"))


def test_a_measure_is_a_value_with_its_u95_or_a_reason(scene: Any) -> None:
    penultimate = analysis_to_dict(scene.analysis)["contacts"][2]

    assert penultimate["contact_time_s"] == {"value": 0.11, "u95": 0.0042}
    assert penultimate["knee_angle_min_deg"] == {"value": 140.0, "u95": 3.3, "by_hand": True}
    assert penultimate["foot_speed_touchdown_m_per_s"] == {"not_measured": "hidden behind the near leg"}


@pytest.mark.parametrize("value", [float("nan"), float("inf")])
def test_a_number_that_is_none_is_said_to_be_none(scene: Any, value: float) -> None:
    """JSON has no NaN; a reader must get a reason, not a broken file."""
    broken = replace(scene.analysis, takeoff={"takeoff_angle_deg": Measured(value=value, u95=1.0)})

    assert "not_measured" in json.loads(analysis_to_json(broken), parse_constant=refuse)["takeoff"]["takeoff_angle_deg"]


def test_settings_of_any_kind_become_plain_json(scene: Any) -> None:
    method = {"settings": {"at": (1.0, np.float64(2.0)), "run": np.int64(1), "nan": float("nan"), "folder": {1: None}}}

    plain = json.loads(analysis_to_json(replace(scene.analysis, method=method)), parse_constant=refuse)["method"]

    assert plain == {"settings": {"at": [1.0, 2.0], "run": 1, "nan": None, "folder": {"1": None}}}


def test_the_motion_file_holds_no_pickled_object(scene: Any) -> None:
    """Pickled objects could run code on opening; the file must open with pickling forbidden."""
    with np.load(io.BytesIO(motion_to_bytes(scene.motion)), allow_pickle=False) as arrays:
        assert all(arrays[name].dtype.kind in "ifb" for name in arrays.files)
        assert np.array_equal(arrays["hip_m"], scene.motion.hip_m)
