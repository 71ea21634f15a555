"""Hard scenes: the right answer or a refusal that names the reason, never a silent wrong number.

The whole list, with the expensive ones: python tests/bench/robustness.py --scenes.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from accidents import command, environment
from scenes import MEASURED, REFUSED, faults

pytestmark = pytest.mark.slow

IN_THE_GATE = ("second runner in front, the other way", "two runs")


def run(name: str, folder: Path) -> tuple[int, str, dict[str, Any] | None, dict[str, Any]]:
    """Make a scene and analyse it: exit status, what was said, the result, the truth."""
    import subprocess  # noqa: PLC0415

    make = MEASURED[name] if name in MEASURED else REFUSED[name][0]
    place = make().write(folder)
    more = json.loads((place / "arguments.json").read_text())
    words = command(place / "clip.mp4", place / "lane.json", place / "result", *more)
    done = subprocess.run(words, env=environment(folder / "cache"), capture_output=True, text=True, check=False)
    result = json.loads((place / "result" / "analysis.json").read_text()) if done.returncode == 0 else None
    return done.returncode, done.stderr, result, json.loads((place / "truth.json").read_text())


@pytest.mark.parametrize("name", IN_THE_GATE)
def test_no_value_is_further_from_the_truth_than_three_times_its_interval(name: str, tmp_path: Path) -> None:
    status, said, result, truth = run(name, tmp_path)

    assert status == 0, said
    assert result is not None
    assert list(faults(truth, result)) == []


def test_a_view_turned_by_14_degrees_is_measured_and_warned_of(tmp_path: Path) -> None:
    """Its last three contacts and its take-off within three intervals of the truth, and the turn is said."""
    status, said, result, truth = run("turned by 14 degrees", tmp_path)

    assert status == 0, said
    assert result is not None
    assert [w["text"] for w in result["warnings"] if w["code"] == "view-turned"] == [
        "The camera is turned by 14 degrees from square to the run; lengths and angles lose accuracy."
    ]
    assert [c["number"] for c in result["contacts"]] == [-2, -1, 0]
    assert all("value" in result["takeoff"][name] for name in ("approach_speed_m_per_s", "takeoff_angle_deg"))
    assert list(faults(truth, result)) == []


def test_a_view_turned_by_22_degrees_keeps_times_and_places_and_loses_angles(tmp_path: Path) -> None:
    """MEASURES section 4a: beyond 20 degrees from square angles are not measured, toe places and times may be."""
    status, said, result, truth = run("turned by 22 degrees", tmp_path)

    assert status == 0, said
    assert result is not None
    for contact in result["contacts"]:
        assert "22 degrees" in contact["leg_angle_touchdown_deg"]["not_measured"]
        assert "value" in contact["toe_x_m"]
        assert "value" in contact["contact_time_s"]
    assert list(faults(truth, result)) == []


@pytest.mark.parametrize(
    "name",
    ["cut to another view", "pan that loses the scene", "frontal", "sideways", "nobody"],
)
def test_what_cannot_be_measured_is_refused_with_its_reason(name: str, tmp_path: Path) -> None:
    status, said, _, _ = run(name, tmp_path)

    assert status == 3, said
    assert REFUSED[name][1] in said
    assert not (tmp_path / "result").exists()
