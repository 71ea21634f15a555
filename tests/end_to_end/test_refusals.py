"""Wrong input gets one clear message, the right exit status, nothing on standard output and nothing half-written."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import av
import cv2
import numpy as np
import pytest

from penult.cli import run

SCALE = 3  # the sample's still, 1920 x 1080, made small so that these tests are quick


def lane_of(samples: Path) -> dict[str, Any]:
    """Return the sample's lane file for a picture a third of the size."""
    lane = json.loads((samples / "full_240" / "lane.json").read_text())
    lane["image_size_px"] = [n // SCALE for n in lane["image_size_px"]]
    for mark in lane["marks"]:
        mark["pixel"] = [(p + 0.5) / SCALE - 0.5 for p in mark["pixel"]]
    lane["still"] = "still.png"
    return lane


@pytest.fixture
def place(samples: Path, tmp_path: Path) -> Path:
    """Return a folder with lane.json, still.png and empty.mp4: 40 frames of the hall with nobody in it, 120 a second."""
    still = cv2.imread(str(samples / "full_240" / "still.jpg"))
    small = cv2.resize(still, (640, 360), interpolation=cv2.INTER_AREA)
    cv2.imwrite(str(tmp_path / "still.png"), small)
    (tmp_path / "lane.json").write_text(json.dumps(lane_of(samples)))
    rng = np.random.default_rng(1)
    film(tmp_path / "empty.mp4", [small + rng.integers(0, 3, small.shape, np.uint8) for _ in range(40)])
    return tmp_path


def film(path: Path, pictures: list[np.ndarray], rate: int = 120) -> None:
    """Encode BGR pictures."""
    with av.open(str(path), "w") as out:
        stream = out.add_stream("libx264", rate=rate, options={"crf": "18", "preset": "ultrafast"})
        stream.height, stream.width = pictures[0].shape[:2]
        stream.pix_fmt = "yuv420p"
        for picture in pictures:
            out.mux(stream.encode(av.VideoFrame.from_ndarray(picture, format="bgr24")))
        out.mux(stream.encode())


@pytest.fixture
def refused(place: Path, capsys: pytest.CaptureFixture[str]) -> Callable[..., tuple[int, str]]:
    """Return a call that runs `analyse` and gives exit status and message, having checked that nothing was written."""

    def call(clip: str, lane: str = "lane.json", *more: str) -> tuple[int, str]:
        before = sorted(p.name for p in place.iterdir())
        with pytest.raises(SystemExit) as stop:
            run(["analyse", str(place / clip), "--calib", str(place / lane), *more])
        said = capsys.readouterr()
        assert said.out == ""
        assert sorted(p.name for p in place.iterdir()) == before
        return int(str(stop.value.code)), said.err

    return call


def test_a_clip_that_is_not_there(refused: Callable[..., tuple[int, str]]) -> None:
    status, message = refused("missing.mp4")

    assert status == 2
    assert "missing.mp4" in message


def test_a_text_with_a_film_s_name(refused: Callable[..., tuple[int, str]], place: Path) -> None:
    (place / "text.mp4").write_text("this is no film")

    status, message = refused("text.mp4")

    assert status == 2
    assert "text.mp4" in message
    assert "next:" in message


def test_a_lane_file_of_another_picture_size_names_both_sizes(
    refused: Callable[..., tuple[int, str]], place: Path
) -> None:
    lane = json.loads((place / "lane.json").read_text())
    lane |= {"image_size_px": [1280, 720], "still": None}
    (place / "other.json").write_text(json.dumps(lane))

    status, message = refused("empty.mp4", "other.json")

    assert status == 2
    assert "1280 x 720" in message
    assert "640 x 360" in message


def test_a_lane_file_that_does_not_parse_says_where(refused: Callable[..., tuple[int, str]], place: Path) -> None:
    (place / "broken.json").write_text('{"format": "penult-calibration/1", "marks": [')

    status, message = refused("empty.mp4", "broken.json")

    assert status == 2
    assert "broken.json" in message


def test_nobody_in_the_picture(refused: Callable[..., tuple[int, str]]) -> None:
    status, message = refused("empty.mp4")

    assert status == 3
    assert "nobody" in message


def test_a_view_turned_by_65_degrees_is_refused_with_its_angle(
    refused: Callable[..., tuple[int, str]], place: Path
) -> None:
    turn, focal = np.radians(65.0), 700.0
    lane = json.loads((place / "lane.json").read_text())
    lane["still"] = None
    camera = np.array(
        [-4.0 - 12.0 * np.sin(turn), 1.2, 12.0 * np.cos(turn)]
    )  # to the right of the run, looking back at it
    forward = np.array([np.sin(turn), 0.0, -np.cos(turn)])
    right = np.array([np.cos(turn), 0.0, np.sin(turn)])
    for mark in lane["marks"]:
        off = np.array(mark["runway_m"]) - camera
        mark["pixel"] = [319.5 + focal * off @ right / (off @ forward), 179.5 - focal * off[1] / (off @ forward)]
    lane["marks"] = [m for m in lane["marks"] if 0 <= m["pixel"][0] < 640 and 0 <= m["pixel"][1] < 360]
    (place / "oblique.json").write_text(json.dumps(lane))

    status, message = refused("empty.mp4", "oblique.json")

    assert status == 3
    assert "65 degrees" in message


def test_a_clip_filmed_from_elsewhere_is_refused(refused: Callable[..., tuple[int, str]], place: Path) -> None:
    rng = np.random.default_rng(2)
    other = cv2.resize(rng.integers(0, 255, (36, 64, 3), np.uint8), (640, 360), interpolation=cv2.INTER_CUBIC)
    film(place / "elsewhere.mp4", [other] * 40)

    status, message = refused("elsewhere.mp4")

    assert status == 3
    assert "background" in message


def test_twelve_frames_a_second_are_too_few(refused: Callable[..., tuple[int, str]], place: Path) -> None:
    still = cv2.imread(str(place / "still.png"))
    film(place / "slow.mp4", [still] * 15, rate=12)

    status, message = refused("slow.mp4")

    assert status == 3
    assert "frame rate" in message


def test_a_folder_with_something_else_in_it_is_not_touched(
    refused: Callable[..., tuple[int, str]], place: Path
) -> None:
    (place / "mine").mkdir()
    (place / "mine" / "letter.txt").write_text("keep")

    status, message = refused("empty.mp4", "lane.json", "--out", str(place / "mine"))

    assert status == 2
    assert "mine" in message
    assert (place / "mine" / "letter.txt").read_text() == "keep"
