"""Lane files: there and back, and every fault of a hand-edited one named at its place."""

from __future__ import annotations

import json
import os
from dataclasses import replace
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from penult.adapters.files.lane_file import (
    LaneEntry,
    lane_text,
    read_lane,
    read_still,
    still_path,
    write_lane,
    write_still,
)
from penult.errors import CalibrationError, OutputError
from penult.model.calibration import LaneFile, Lens, Mark

FILMS = Path(os.environ.get("PENULT_SHARED", "missing")) / "films"

LANE = LaneFile(
    image_size_px=(64, 48),
    marks=tuple(
        Mark(name=f"pole {i} läufer", pixel_px=(i * 1.25, 2.0), runway_m=(-8.0 + i, 0.0, 0.61)) for i in range(4)
    ),
    pixel_sd_px=0.7,
    camera_distance_m=12.0,
    lens=Lens(fx_px=60.0, fy_px=60.0, cx_px=31.5, cy_px=23.5, k1=-0.1),
    still="lane3.jpg",
    note="tripod on lane 6",
)


def content() -> dict[str, Any]:
    made: dict[str, Any] = json.loads(lane_text(LANE))
    return made


def refusal(folder: Path, written: Any) -> CalibrationError:
    path = folder / "lane.json"
    path.write_text(written if isinstance(written, str) else json.dumps(written), encoding="utf-8")
    with pytest.raises(CalibrationError) as caught:
        read_lane(path)
    assert "lane.json" in str(caught.value)
    return caught.value


def test_there_and_back(tmp_path: Path) -> None:
    """Every field survives writing and reading, in a folder with letters of two scripts."""
    path = tmp_path / "läufer 跳" / "lane3.json"
    path.parent.mkdir()

    write_lane(path, LANE)

    assert read_lane(path) == LANE
    assert [p.name for p in path.parent.iterdir()] == ["lane3.json"]  # nothing left aside


coordinates = st.floats(-50, 50).map(lambda v: round(v, 3) + 0.0)


@given(pixel=st.tuples(coordinates, coordinates), place=st.tuples(coordinates, st.just(1.5), coordinates))
def test_any_mark_survives(tmp_path_factory: pytest.TempPathFactory, pixel: Any, place: Any) -> None:
    """To the hundredth of a pixel and the tenth of a millimetre that a file keeps."""
    path = tmp_path_factory.getbasetemp() / "any.json"
    write_lane(path, replace(LANE, marks=(Mark(name="m", pixel_px=pixel, runway_m=place),)))
    mark = read_lane(path).marks[0]

    assert mark.pixel_px == pytest.approx(pixel, abs=0.00501)
    assert mark.runway_m == pytest.approx(place, abs=0.00005)


def test_optional_keys_may_be_absent(tmp_path: Path) -> None:
    """Only format, picture size and marks are needed; a byte-order mark of a Windows editor does no harm."""
    bare = {key: value for key, value in content().items() if key in ("format", "image_size_px", "marks")}
    (tmp_path / "lane.json").write_text(json.dumps(bare), encoding="utf-8-sig")

    lane = read_lane(tmp_path / "lane.json")

    assert (lane.pixel_sd_px, lane.board, lane.still, lane.lens) == (1.0, True, None, None)


def test_every_fault_is_listed_with_its_place(tmp_path: Path) -> None:
    """Six faults of different kinds: six lines, each with the path into the file."""
    wrong = content()
    wrong["camera_distnace_m"] = wrong.pop("camera_distance_m")
    wrong["marks"][1]["pixel"][0] = "twelve"
    wrong["marks"][2]["runway_m"] = [1.0, 2.0]
    wrong["marks"][3]["nmae"] = wrong["marks"][3].pop("name")
    wrong["image_size_px"][1] = 48.5

    lines = refusal(tmp_path, wrong).details

    assert any("camera_distnace_m: unknown key; the nearest known key is 'camera_distance_m'" in x for x in lines)
    assert any('marks[1].pixel[0]: a number is wanted, got "twelve"' in x for x in lines)
    assert any("marks[2].runway_m[2]: missing" in x for x in lines)
    assert any("marks[3].nmae: unknown key; the nearest known key is 'name'" in x for x in lines)
    assert any("marks[3].name: missing" in x for x in lines)
    assert any("image_size_px[1]: a whole number" in x for x in lines)
    assert len(lines) == 6


@pytest.mark.parametrize(
    "name", ["../lane3.jpg", "/etc/still.png", "a\\b.jpg", "C:x.jpg", "lane3", "", "..", "a\0.jpg"]
)
def test_the_still_is_a_bare_picture_name(tmp_path: Path, name: str) -> None:
    """A lane file from elsewhere must not make the tool read another folder's files."""
    assert "still" in refusal(tmp_path, content() | {"still": name}).details[0]


@pytest.mark.parametrize(
    ("key", "value"),
    [
        ("pixel_sd_px", 0.0),
        ("pixel_sd_px", "1"),
        ("camera_distance_m", -3),
        ("image_size_px", [1920, 10**9]),
        ("board", "yes"),
        ("board", 1),
        ("format", "penult-calibration/9"),
        ("marks", []),
        ("marks", {}),
        ("lens", {"fx_px": 1000}),
    ],
)
def test_wrong_values_name_their_key(tmp_path: Path, key: str, value: Any) -> None:
    assert all(key in line for line in refusal(tmp_path, content() | {key: value}).details)


@pytest.mark.parametrize("number", ["NaN", "Infinity", "-Infinity", "1e999"])
def test_no_number_is_endless_or_undefined(tmp_path: Path, number: str) -> None:
    """JSON as Python writes it may hold NaN; a camera fitted to it would be NaN everywhere."""
    assert refusal(tmp_path, lane_text(LANE).replace("12.0", number))


def test_a_key_that_stands_twice_is_a_fault(tmp_path: Path) -> None:
    """A JSON reader would silently take the last of the two."""
    doubled = lane_text(LANE).replace('"board": true', '"board": true,\n  "board": false')

    assert refusal(tmp_path, doubled).details == ("board: stands twice",)


@pytest.mark.parametrize("text", ["", "{", "[]", "3", "not json", "[" * 5000])
def test_no_lane_file_at_all(tmp_path: Path, text: str) -> None:
    refusal(tmp_path, text)


def test_missing_folder_and_binary_files_are_said_plainly(tmp_path: Path) -> None:
    (tmp_path / "clip.mp4").write_bytes(b"\xff\xd8\x00" * 50)
    (tmp_path / "huge.json").write_bytes(b" " * ((1 << 20) + 1))
    for name, word in (("none.json", "No such file"), ("clip.mp4", "not text"), ("huge.json", "larger")):
        with pytest.raises(CalibrationError, match=word):
            read_lane(tmp_path / name)
    with pytest.raises(CalibrationError, match="directory"):
        read_lane(tmp_path)


def test_a_failed_write_leaves_the_old_file(tmp_path: Path) -> None:
    """What cannot be written is refused before the old file is touched."""
    path = tmp_path / "lane.json"
    write_lane(path, LANE)
    with pytest.raises(CalibrationError, match="cannot be written"):
        write_lane(path, replace(LANE, still="../up.jpg"))
    with pytest.raises(OutputError, match="cannot be written"):
        write_lane(tmp_path / "missing" / "lane.json", LANE)

    assert read_lane(path) == LANE


def test_the_still_comes_back_upright_and_of_the_lane_s_size(tmp_path: Path) -> None:
    """RGB order, size checked, missing and broken pictures named with what to do."""
    path = tmp_path / "lane.json"
    image = np.zeros((48, 64, 3), np.uint8)
    image[..., 0] = 200
    lane = replace(LANE, still="lane3.png")
    write_still(path, lane, image)

    assert still_path(path, lane) == tmp_path / "lane3.png"
    assert (read_still(path, lane) == image).all()
    assert read_still(path, replace(lane, still=None)) is None
    with pytest.raises(CalibrationError, match="64 x 48"):
        read_still(path, replace(lane, image_size_px=(640, 480)))
    with pytest.raises(CalibrationError, match="cannot be read"):
        read_still(path, replace(lane, still="gone.jpg"))
    (tmp_path / "text.jpg").write_text("no picture")
    with pytest.raises(CalibrationError, match="not a picture"):
        read_still(path, replace(lane, still="text.jpg"))


def test_the_published_schema_is_the_reader_s_own() -> None:
    """calibration/schema.json, for editors that check while typing, must not drift from what is read."""
    published = Path(__file__).parents[2] / "calibration" / "schema.json"

    assert (
        json.loads(published.read_text(encoding="utf-8"))["properties"] == LaneEntry.model_json_schema()["properties"]
    )


@pytest.mark.skipif(not FILMS.is_dir(), reason="films with known truth are not here (PENULT_SHARED)")
def test_lane_files_of_the_films() -> None:
    """Written by another program: all read, and their stills fit."""
    for path in sorted(FILMS.glob("*/lane.json")):
        lane = read_lane(path)
        still = read_still(path, lane)
        assert still is not None
        assert cv2.cvtColor(still, cv2.COLOR_RGB2GRAY).std() > 5.0
