"""Results are read back whole or refused with every fault named."""

from __future__ import annotations

import io
import json
import zipfile
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from penult.adapters.files import result_file
from penult.adapters.files.result_file import read_analysis, read_motion
from penult.errors import ResultError
from penult.model.analysis import Analysis, ClipRecord, Contact, Mat, Notice, Run, Step
from penult.model.calibration import Camera
from penult.model.measured import Measured, NotMeasured
from penult.model.skeleton import JOINTS
from penult.model.track import Motion, PixelTrack, RunwayTrack
from penult.outputs.folder.result import analysis_to_dict, analysis_to_json, motion_to_bytes

# ---------------------------------------------------------------- analyses of every kind

NUMBERS = st.integers(-9000000, 9000000).map(lambda n: n / 1000.0)
TEXT = st.text(st.characters(exclude_categories=["Cs"]), max_size=40)
NAMES = st.sampled_from(["contact_time_s", "knee_angle_min_deg", "toe_x_m", "something_new_m"])
MEASURES = st.dictionaries(
    NAMES,
    st.one_of(
        st.builds(Measured, value=NUMBERS, u95=NUMBERS.map(abs), by_hand=st.booleans()),
        st.builds(NotMeasured, reason=TEXT),
    ),
)
CONTACTS = st.lists(
    st.builds(
        Contact,
        number=st.integers(-9, 3),
        foot=st.sampled_from(["left", "right"]),
        measures=MEASURES,
        lowest_s=st.none() | NUMBERS,
        span_s=st.none() | st.tuples(NUMBERS, NUMBERS),
        strike=st.sampled_from(["", "heel first", "flat", "forefoot"]),
        wholly_seen=st.booleans(),
        by_hand=st.booleans(),
    ),
    unique_by=lambda c: c.number,
    max_size=4,
).map(lambda rows: tuple(sorted(rows, key=lambda c: c.number)))
STEPS = st.lists(
    st.builds(Step, number=st.integers(-9, 0), measures=MEASURES), unique_by=lambda s: s.number, max_size=3
).map(lambda rows: tuple(sorted(rows, key=lambda s: s.number)))
ANALYSES = st.builds(
    Analysis,
    clip=st.builds(
        ClipRecord,
        file=TEXT,
        sha256=st.just("0f" * 32),
        frames=st.integers(0, 10000),
        capture_rate_hz=NUMBERS.map(lambda n: min(abs(n), 2000.0)),
        capture_rate_from=st.just("frame times"),
        first_frame_s=NUMBERS,
    ),
    run=st.builds(
        Run,
        direction=st.sampled_from(["left to right", "right to left"]),
        kind=TEXT,
        has_takeoff=st.booleans(),
        mats=st.lists(
            st.builds(Mat, number=st.integers(-9, 0), thickness_m=st.integers(0, 200).map(lambda n: n / 1000.0)),
            max_size=3,
        ).map(tuple),
        athlete=TEXT,
        takeoff_foot=st.sampled_from([None, "left", "right"]),
        sex=st.sampled_from([None, "female"]),
        height_m=st.none() | st.just(1.85),
    ),
    contacts=CONTACTS,
    steps=STEPS,
    penultimate=MEASURES,
    takeoff=MEASURES,
    checks=MEASURES,
    warnings=st.lists(st.builds(Notice, code=st.just("camera-moved"), text=TEXT), max_size=2).map(tuple),
    method=st.dictionaries(TEXT, st.none() | st.booleans() | TEXT | st.lists(st.integers(), max_size=3), max_size=3),
)  # fmt: skip


@given(analysis=ANALYSES)
@settings(max_examples=60, suppress_health_check=[HealthCheck.too_slow])
def test_a_result_comes_back_as_it_was_written(analysis: Analysis, tmp_path_factory: pytest.TempPathFactory) -> None:
    path = tmp_path_factory.mktemp("result") / "analysis.json"
    path.write_text(analysis_to_json(analysis), "utf-8")

    assert read_analysis(path) == analysis


@pytest.fixture
def plain() -> dict[str, Any]:
    """The content of a small valid result."""
    analysis = Analysis(
        clip=ClipRecord(
            file="clip.mp4", sha256="0f" * 32, frames=100, capture_rate_hz=240.0, capture_rate_from="frame times",
            first_frame_s=0.0,
        ),
        run=Run(direction="left to right", kind="mat drill", has_takeoff=True),
        contacts=(Contact(number=0, foot="left", measures={"contact_time_s": Measured(value=0.11, u95=0.004)}),),
        steps=(),
        penultimate={},
        takeoff={"takeoff_angle_deg": NotMeasured(reason="no flight in the picture")},
        checks={},
        warnings=(),
        method={"penult": "0.1.0"},
    )  # fmt: skip
    return analysis_to_dict(analysis)


def written(folder: Path, content: Any) -> Path:
    path = folder / "analysis.json"
    path.write_text(content if isinstance(content, str) else json.dumps(content), "utf-8")
    return path


def test_the_folder_stands_for_the_file_in_it(tmp_path: Path, plain: dict[str, Any]) -> None:
    written(tmp_path, plain)

    assert read_analysis(tmp_path).run.kind == "mat drill"


def test_every_fault_is_named_with_its_place(tmp_path: Path, plain: dict[str, Any]) -> None:
    plain["contacts"][0]["foot"] = "middle"
    plain["contacts"][0]["contact_time_s"] = {"value": 0.11}
    plain["takeoff"]["takeoff_angle_deg"] = {"value": "nineteen", "u95": 1.0}
    plain["runn"] = {}
    del plain["clip"]["sha256"]

    with pytest.raises(ResultError) as caught:
        read_analysis(written(tmp_path, plain))

    faults = str(caught.value)
    for place in ("contacts[0].foot", "contacts[0].contact_time_s", "takeoff.takeoff_angle_deg", "runn", "clip.sha256"):
        assert place in faults


@pytest.mark.parametrize(
    "change",
    [
        {"contacts": [{"number": 0, "foot": "left"}, {"number": 0, "foot": "right"}]},
        {"takeoff": {"takeoff_angle_deg": {"value": 1e300, "u95": 1.0}}},
        {"takeoff": {"takeoff_angle_deg": {"value": 1.0, "u95": -1.0}}},
        {"takeoff": {"takeoff_angle_deg": {"value": 1.0, "u95": 1.0, "not_measured": "both"}}},
        {"takeoff": {"takeoff_angle_deg": 19.0}},
        {"takeoff": {"Robert'); drop": {"value": 1.0, "u95": 1.0}}},
        {"steps": [{"number": 1.5}]},
        {"contacts": {"number": 0}},
        {"warnings": [{"code": "x"}]},
    ],
)
def test_what_is_not_a_result_is_refused(tmp_path: Path, plain: dict[str, Any], change: dict[str, Any]) -> None:
    with pytest.raises(ResultError):
        read_analysis(written(tmp_path, plain | change))


@pytest.mark.parametrize(
    ("text", "why"),
    [
        ("", "JSON"),
        ("[]", "format"),
        ('{"format": "penult-calibration/1"}', "penult-calibration/1"),
        ('{"format": "penult-analysis/1", "format": "penult-analysis/1"}', "twice"),
        ('{"format": NaN}', "NaN"),
        ("[" * 200000, "deep"),
        ('{"format": ' + "9" * 10000 + "}", "JSON"),
    ],
)
def test_a_file_of_another_kind_is_refused_with_its_reason(tmp_path: Path, text: str, why: str) -> None:
    with pytest.raises(ResultError, match=why):
        read_analysis(written(tmp_path, text))


def test_a_missing_and_a_huge_file_are_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    with pytest.raises(ResultError, match="cannot be read"):
        read_analysis(tmp_path / "nothing.json")
    monkeypatch.setattr(result_file, "LARGEST_JSON_BYTES", 10)
    with pytest.raises(ResultError, match="too large"):
        read_analysis(written(tmp_path, "{}" + " " * 20))


# ---------------------------------------------------------------- motion


def motion(rows: int = 7, cameras: int = 1) -> Motion:
    generator = np.random.default_rng(3)
    shape = (rows, len(JOINTS))
    one = Camera(
        parameters=generator.normal(size=9), covariance=np.eye(9), image_size_px=(1920, 1080), centre_px=(959.5, 539.5)
    )
    xy_px = generator.normal(size=(*shape, 2))
    xy_px[2, 3] = np.nan
    return Motion(
        pixels=PixelTrack(
            frame=np.arange(rows), time_s=np.arange(rows) / 240.0, xy_px=xy_px, score=np.ones(shape),
            filled=generator.random(shape) > 0.5,
        ),
        runway=RunwayTrack(
            frame=np.arange(rows), time_s=np.arange(rows) / 240.0, xy_m=xy_px / 100.0, z_m=np.zeros(len(JOINTS)),
            filled=np.zeros(shape),
        ),
        hip_m=xy_px[:, 7] / 100.0,
        mass_centre_m=xy_px[:, 8] / 100.0,
        cameras=(one,) * cameras,
    )  # fmt: skip


@pytest.mark.parametrize("cameras", [1, 7])
def test_a_motion_comes_back_to_the_last_bit(tmp_path: Path, cameras: int) -> None:
    before = motion(cameras=cameras)
    (tmp_path / "motion.npz").write_bytes(motion_to_bytes(before))

    after = read_motion(tmp_path)

    np.testing.assert_array_equal(after.pixels.xy_px, before.pixels.xy_px)
    np.testing.assert_array_equal(after.pixels.filled, before.pixels.filled)
    np.testing.assert_array_equal(after.runway.xy_m, before.runway.xy_m)
    np.testing.assert_array_equal(after.hip_m, before.hip_m)
    np.testing.assert_array_equal(after.mass_centre_m, before.mass_centre_m)
    assert len(after.cameras) == cameras
    np.testing.assert_array_equal(after.camera_of(6).parameters, before.camera_of(6).parameters)


def packed(**changed: Any) -> bytes:
    with np.load(io.BytesIO(motion_to_bytes(motion()))) as arrays:
        content = {name: arrays[name] for name in arrays.files} | changed
    buffer = io.BytesIO()
    np.savez(buffer, **{name: value for name, value in content.items() if value is not None})
    return buffer.getvalue()


@pytest.mark.parametrize(
    "content",
    [
        b"",
        b"PK\x03\x04 cut off",
        motion_to_bytes(motion())[:2000],
        packed(hip_m=np.zeros((3, 2))),
        packed(time_s=np.array(["a"] * 7)),
        packed(camera_parameters=np.zeros((3, 9))),
        packed(mass_centre_m=None),
        packed(frame=np.float64(3.0)),
        packed(hip_m=np.array([object()] * 7, dtype=object)),  # would have to be unpickled
    ],
)
def test_what_is_not_a_motion_is_refused(tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "motion.npz"
    path.write_bytes(content)

    with pytest.raises(ResultError, match="does not hold a motion"):
        read_motion(path)


def test_a_motion_that_would_unpack_to_too_much_is_refused_before_it_does(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A small file may hold gigabytes of zeros."""
    monkeypatch.setattr(result_file, "LARGEST_MOTION_BYTES", 1_000_000)
    path = tmp_path / "motion.npz"
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("frame.npy", b"\0" * 2_000_000)

    with pytest.raises(ResultError, match="would unpack"):
        read_motion(path)
