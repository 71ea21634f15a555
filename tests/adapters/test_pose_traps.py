"""What the pose library does badly and we must not trip over, with the real model on one picture of a sample."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest

from face_detectors import pose_landmarker
from penult.adapters.film import video
from penult.adapters.pose import Crop, PoseModel, pose_model
from penult.model.skeleton import INDEX

pytestmark = pytest.mark.slow

MIDDLE = ("left_shoulder", "right_shoulder", "left_hip", "right_hip", "left_knee", "right_knee")


@pytest.fixture(scope="module")
def model() -> Iterator[PoseModel]:
    with pose_model() as opened:
        yield opened


class Person:
    """A sample's athlete in a picture of their own, with their true joints."""

    def __init__(self, samples: Path) -> None:
        folder = samples / "full_240"
        truth = json.loads((folder / "truth.json").read_text())
        clip = video.open_clip(folder / "clip.mp4")
        index = len(clip.time_s) // 2
        (frame,) = video.frames(folder / "clip.mp4", clip, first=index, last=index)
        self.picture = frame.image
        self.joints_px = np.array([truth["xy_px"][index][truth["keypoint_names"].index(n)] for n in MIDDLE])
        self.height_px = float(np.ptp(np.array(truth["xy_px"][index])[:, 1]))

    def crop(self) -> tuple[Crop, tuple[float, float], float]:
        middle = self.joints_px.mean(axis=0)
        at = (float(middle[0]), float(middle[1]))
        return Crop(centre_px=at, side_px=2.75 * self.height_px), at, self.height_px


@pytest.fixture(scope="module")
def person(samples: Path) -> Person:
    return Person(samples)


def test_what_was_looked_at_before_changes_nothing(model: PoseModel, person: Person) -> None:
    """T19, T20: no clock is fed and nothing is smoothed over time: a picture gives the same bits, first or fourth,
    after others or after nobody, in this model or in a new one (T27)."""
    alone = model.joints(person.picture, *person.crop())
    for other in (np.ascontiguousarray(person.picture[:, ::-1]), np.zeros_like(person.picture), person.picture[::-1]):
        model.joints(other, *person.crop())

    with pose_model() as new:
        again = (model.joints(person.picture, *person.crop()), new.joints(person.picture, *person.crop()))

    assert alone is not None
    assert all(found is not None and found.tobytes() == alone.tobytes() for found in again)


def test_a_small_athlete_is_found_in_a_crop_where_the_whole_picture_shows_nobody(
    model: PoseModel, person: Person
) -> None:
    """T21: in a wide picture, a person of 85 px is nobody to the model; in our crop they are found, within 8 % of
    their height."""
    scale = 85.0 / person.height_px
    wide = np.full((1080, 1920, 3), 120, np.uint8)
    small = cv2.resize(person.picture, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
    wide[600 : 600 + small.shape[0], 900 : 900 + small.shape[1]] = small
    joints_px = scale * person.joints_px + [900.0, 600.0]
    at = (float(joints_px[:, 0].mean()), float(joints_px[:, 1].mean()))

    found = model.joints(wide, Crop(centre_px=at, side_px=2.75 * 85.0), at, 85.0)

    assert people_in(wide) == 0
    x, y = (round(v) for v in at)
    assert people_in(wide[y - 117 : y + 117, x - 117 : x + 117]) == 1  # so the library is asked rightly
    assert found is not None
    gaps = np.linalg.norm(np.sort(found[[INDEX[n] for n in MIDDLE], :2], axis=0) - np.sort(joints_px, axis=0), axis=1)
    assert np.median(gaps) < 0.08 * 85.0


def people_in(picture: np.ndarray) -> int:
    """How many people the bare library sees in a whole picture."""
    import mediapipe as mp  # noqa: PLC0415

    with pose_landmarker() as bare:
        image = mp.Image(image_format=mp.ImageFormat.SRGB, data=np.ascontiguousarray(picture))
        return len(bare.detect(image).pose_landmarks)


def hlg_signal(picture: np.ndarray) -> np.ndarray:
    """An SDR picture as a phone films it in HLG: its white at 203 cd/m2 (ITU-R BT.2408), curve of ITU-R BT.2100 table 5."""
    coded = picture / 255.0
    light = np.where(coded <= 0.04045, coded / 12.92, ((coded + 0.055) / 1.055) ** 2.4) * 203.0 / 1000.0
    scene = light ** (1 / 1.2)
    a, b, c = 0.17883277, 0.28466892, 0.55991073
    return np.where(scene <= 1 / 12, np.sqrt(3 * scene), a * np.log(np.maximum(12 * scene - b, 1e-9)) + c)


def test_the_athlete_is_found_as_well_in_an_hdr_copy(
    model: PoseModel, person: Person, films: Any, tmp_path: Path
) -> None:
    """T13: the same picture filmed in 10-bit HLG; joints move by less than 3 % of the body's height."""
    picture = (255 * hlg_signal(person.picture)).round().astype(np.uint8)
    size_px = (picture.shape[1], picture.shape[0])
    hlg = {"color_trc": 18, "color_primaries": 9, "colorspace": 9, "color_range": 1}
    options = {"preset": "ultrafast", "crf": "10"}
    recipe = films.Recipe(pix_fmt="yuv420p10le", size_px=size_px, options=options, settings=hlg)
    path = films.write(tmp_path / "hdr.mp4", [(picture, 0.0), (picture, 1 / 30)], recipe)
    clip = video.open_clip(path)
    (frame,) = video.frames(path, clip, first=0, last=0)

    plain, copy = (model.joints(image, *person.crop()) for image in (person.picture, frame.image))

    assert "hdr-source" in {notice.code for notice in clip.notices}
    assert plain is not None
    assert copy is not None
    assert np.median(np.linalg.norm(plain[:, :2] - copy[:, :2], axis=1)) < 0.03 * person.height_px


def test_a_picture_of_any_width_is_read(model: PoseModel, person: Person) -> None:
    """T29: a width that is no multiple of four makes rows that do not touch; the athlete is found all the same."""
    for width in (1279, 1278, 1277):
        assert model.joints(person.picture[:, :width], *person.crop()) is not None
