"""Every number in a record says its unit in its name, or is named here with the reason why it has none."""

from __future__ import annotations

import dataclasses
import importlib
import pkgutil
import re
from collections.abc import Iterator

import pytest

import penult.core
import penult.model

UNIT = re.compile(r"_(s|m|m2|px|px2|deg|rad|hz|cm|percent|m_per_s|m_per_s2|m_per_px|px_per_m)$")
NUMBER = re.compile(r"\b(float|Floats)\b")

PURE = re.compile(
    r"(^|_)(share|shares|ratio|scale|score|weight|weights|cover|quality|contrast|frame|freedom|error|by|slope|slope_[xy]"
    r"|sure|same|same_foot|again|probability)$"
)
"""Pure numbers: shares, ratios, weights, scores, places counted in frames; probabilities."""

EXEMPT = {
    "Footing.tangent": "a pure number",
    "Measured.value": "in the unit that the measure's name ends with",
    "Measured.u95": "in the unit that the measure's name ends with",
    "Settings.at": "x, y in pixels and a time: three units",
    "AthletePicked.at": "x, y in pixels and a frame: two units",
    "Corrections.at": "x, y in pixels and a time: three units",
    "Panorama.k1": "pure number of the lens polynomial",
    "Panorama.log_focal": "a logarithm",
    "Panorama.turns": "rotation matrices",
    "Panorama.covariance": "metres, a logarithm and angles in one matrix",
    "Between.*": "in the unit of what is spoken of",
    "Steering.probability": "a probability",
    "Splits.gate": "speeds in metres a second, or None",
    "Turn.motion": "angles and a logarithm in one vector",
    "Turn.covariance": "of that vector",
    "Lens.k1": "pure number of the lens polynomial",
    "Lens.k2": "pure number of the lens polynomial",
    "Camera.parameters": "angles, metres, a logarithm and pure numbers in one vector",
    "Camera.covariance": "of that vector",
    "Problem.base": "a camera's vector",
    "Problem.prior_mean": "of a camera's vector",
    "Problem.prior_sd": "of a camera's vector",
    "Draws.camera_theta": "departures of that vector",
    "Draws.by_depth": "metres a metre",
    "Draws.noise_factor": "how many times the joints drift more than usual",
    "Draws.shared_timing_error": "in SDs of each instant",
    "Draws.cloth": "how many times less pixels and joints of the trunk agree than usual",
    "Draws.restless": "how many times more the joints drift in a row",
    "Crossing.way": "times and places, in pairs",
    "SegmentTable.*": "shares of the body's mass and of segment lengths",
    "ShoePictures.noise": "grey levels of a picture",
    "HandTrack.drags": "pixels by frame and joint, in a mapping",
    "Corrected.hand": "how far a person put it there, 0 to 1",
    "BodyDraws.hand": "how far a person put it there, 0 to 1",
    "Loss.quantiser": "the coder's own number of how coarsely it wrote",
    "Loss.bits": "bits that a changed pixel cost",
}
MIXED = {
    "penult.model.comparison": "values of whatever measure is compared, in its unit",
    "penult.core.moving_camera.registration": "motions of a picture: angle, scale and pixels in one vector",
    "penult.core.moving_camera.camera_path": "motions of a picture: angle, scale and pixels in one vector",
    "penult.core.moving_camera.background_points": "lines of sight: directions have no unit",
}


def records() -> Iterator[type]:
    for package in (penult.core, penult.model):
        for module in pkgutil.walk_packages(package.__path__, f"{package.__name__}."):
            for name, thing in vars(importlib.import_module(module.name)).items():
                own = isinstance(thing, type) and thing.__module__ == module.name
                if own and dataclasses.is_dataclass(thing) and not name.startswith("_"):
                    yield thing


def unnamed(record: type) -> list[str]:
    """Return the numbers of a record that carry no unit and are not excused."""
    if record.__module__ in MIXED or f"{record.__name__}.*" in EXEMPT:
        return []
    return [
        f"{record.__module__}.{record.__name__}.{field.name}"
        for field in dataclasses.fields(record)
        if NUMBER.search(str(field.type))
        and not UNIT.search(field.name)
        and not PURE.search(field.name)
        and f"{record.__name__}.{field.name}" not in EXEMPT
    ]


def test_every_number_in_a_record_of_core_and_model_says_its_unit() -> None:
    """Fails on a float or an array whose name ends in no unit. Give it one, or say in this file why it has none."""
    found = list(records())

    assert len(found) > 30
    assert [name for record in found for name in unnamed(record)] == []


def test_the_check_itself_bites() -> None:
    """A record with a bare `height` is caught, `height_m` and `gap_share` are not."""
    made = dataclasses.make_dataclass("Made", [("height", "float"), ("height_m", "Floats"), ("gap_share", "float")])

    assert [name.split(".")[-1] for name in unnamed(made)] == ["height"]


@pytest.mark.parametrize("name", sorted(EXEMPT))
def test_no_excuse_outlives_its_record(name: str) -> None:
    """Fails when an excused field is gone, so that the list cannot grow stale."""
    owner, _, field = name.partition(".")
    known = {f.name for record in records() if record.__name__ == owner for f in dataclasses.fields(record)}

    assert known
    assert field in {"*", *known}
