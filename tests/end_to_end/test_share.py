"""A shared copy: no face can be told, no name is left, and the film holds nothing but pictures."""

from __future__ import annotations

import json
import shutil
from pathlib import Path
from typing import Any

import av
import cv2
import numpy as np
import pytest

from face_detectors import LEAST_SURE, face_network, face_score, is_person_with_face, pose_landmarker
from penult.adapters.files.result_file import read_analysis, read_motion
from penult.adapters.files.sighting_file import read_sighting
from penult.adapters.film import video
from penult.app.film import film_of_one, film_of_two
from penult.app.share import _Veil, share, share_pair
from penult.errors import InputError
from penult.model.showing import Showing
from scenes import material, small_px

pytestmark = pytest.mark.slow

WHOLE = Showing(film="whole")
ATHLETE, PLACE = "Grete Beispiel", "Sporthalle"


@pytest.fixture(scope="module")
def copy(small_job: Any, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The shared copy of the small film's result."""
    folder = tmp_path_factory.mktemp("share") / "copy"
    share(small_job.result, folder, clip=small_job.film, showing=WHOLE, progress=lambda *_: None)
    return folder


@pytest.fixture(scope="module")
def whole_film(small_job: Any, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The result's own film with the whole picture: faces are then where they are in the clip."""
    place = tmp_path_factory.mktemp("whole") / "whole.mp4"
    return film_of_one(small_job.result, place, WHOLE, clip=small_job.film, progress=lambda *_: None)


def test_no_name_is_left_in_any_file_or_file_name(small_job: Any, copy: Path) -> None:
    hidden = [w.encode(code).lower() for w in (*ATHLETE.split(), PLACE) for code in ("utf-8", "utf-16-le")]
    hidden.append(read_analysis(small_job.result).clip.sha256.encode())
    files = [p for p in (copy).rglob("*") if p.is_file()]

    assert len(files) > 10
    for path in files:
        content = path.read_bytes().lower() + path.name.encode().lower()
        assert [w for w in hidden if w in content] == [], path.name


def test_the_copy_reads_as_a_result_with_the_same_numbers(small_job: Any, copy: Path) -> None:
    before, after = (json.loads((f / "analysis.json").read_text()) for f in (small_job.result, copy))

    assert [c["contact_time_s"] for c in after["contacts"]] == [c["contact_time_s"] for c in before["contacts"]]
    assert after["run"]["athlete"] == "A"


def test_the_film_holds_one_picture_stream_and_no_telling_metadata(small_job: Any, copy: Path) -> None:
    with av.open(str(copy / "overlay.mp4")) as film:
        told = {**film.metadata, **film.streams[0].metadata}

        assert [s.type for s in film.streams] == ["video"]
        assert set(told) <= {"major_brand", "minor_version", "compatible_brands", "language", "handler_name", "encoder"}


def test_stills_carry_no_exif(small_job: Any, copy: Path) -> None:
    for still in (copy / "stills").glob("*.jpg"):
        assert b"Exif" not in still.read_bytes()[:4096]


def test_a_film_of_two_that_is_shared_hides_faces_and_holds_no_word_but_the_label(
    small_job: Any, tmp_path: Path
) -> None:
    """The run beside itself, as it is and coarse: the face detector finds faces in the one and none in the other."""
    place = tmp_path / "to_send"
    results = []
    for name in ("one", "two"):
        shutil.copytree(small_job.result, tmp_path / name)
        shutil.copy(small_job.film, tmp_path / name)
        results.append(tmp_path / name)
    quiet = lambda *_: None  # noqa: E731
    film_of_two(results, tmp_path / "plain.mp4", Showing(), align=None, progress=quiet)

    done = share_pair(results, place, label="B", showing=Showing(), align=None, progress=quiet)

    assert [p.name for p in place.iterdir()] == list(done.files) == ["pair.mp4"]
    content = (place / "pair.mp4").read_bytes().lower()
    assert [w for w in (*ATHLETE.split(), PLACE) if w.encode().lower() in content] == []
    with pytest.raises(InputError):  # a folder with anything else in it could be sent by mistake
        share_pair(results, results[0], label="B", showing=Showing(), align=None, progress=quiet)
    network = face_network()
    before, after = (
        [face_score(network, image, least_px=8.0, enlarge=2) for image in film_pictures(film, every=60)]
        for film in (tmp_path / "plain.mp4", place / "pair.mp4")
    )
    assert np.median(before) > 0.4
    assert max(after) < LEAST_SURE


SPECTATORS_PX = ((416, 238), (203, 241))
"""Where the faces of the two who stand in the small film are."""


def film_pictures(path: Path, every: int) -> list[np.ndarray]:
    clip = video.open_clip(path)
    return [f.image for f in video.frames(path, clip) if f.index % every == every // 2]


def test_the_pose_model_sees_the_spectators_faces_in_the_result_s_film_and_none_in_the_copy_s(
    whole_film: Path, copy: Path
) -> None:
    """Nothing is drawn over them there; heads and shoulders, three times as large."""

    def seen(film: Path) -> list[bool]:
        films = film_pictures(film, every=40)
        heads = [image[y - 48 : y + 48, x - 48 : x + 48] for image in films for x, y in SPECTATORS_PX]
        return [is_person_with_face(model, cv2.resize(head, (288, 288))) for head in heads]

    with pose_landmarker() as model:
        before, after = seen(whole_film), seen(copy / "overlay.mp4")

    assert np.mean(before) > 0.7  # the athlete passes in front of them once
    assert len(after) >= 8
    assert not any(after)


def test_a_face_detector_finds_faces_in_the_result_s_film_and_stills_and_none_in_the_copy_s(
    small_job: Any, whole_film: Path, copy: Path
) -> None:
    """CenterFace over whole pictures, everybody's face, the athlete's too."""
    network = face_network()

    def scores(result: Path, film_path: Path) -> tuple[list[float], list[float]]:
        film = film_pictures(film_path, every=60)
        stills = [cv2.imread(str(p))[..., ::-1] for p in sorted((result / "stills").glob("*.jpg"))]
        return (
            [face_score(network, image, least_px=8.0, enlarge=2) for image in film],  # faces there: 12 px
            [face_score(network, np.ascontiguousarray(still), least_px=25.0) for still in stills],  # there: 45 px
        )

    film_before, stills_before = scores(small_job.result, whole_film)
    film_after, stills_after = scores(copy, copy / "overlay.mp4")

    assert min(film_before) > 0.6
    assert sorted(stills_before)[1] > LEAST_SURE  # in one of the nine a head that is turned away scores 0.19
    assert np.mean(np.array(stills_before) > 0.4) > 0.7
    assert len(stills_after) == len(stills_before)
    assert max(*film_after, *stills_after) < LEAST_SURE


def detail(picture: np.ndarray) -> np.ndarray:
    """What is left of a picture after everything larger than 3 cm is taken away: eyes, nose, mouth."""
    grey = cv2.cvtColor(picture, cv2.COLOR_RGB2GRAY).astype(np.float32)
    return (grey - cv2.GaussianBlur(grey, (0, 0), 2.5)) ** 2


def test_no_detail_of_a_face_is_left_in_any_frame(small_job: Any, copy: Path) -> None:
    """Heads are where the film's truth has them; 2.5 px is 3 cm here."""
    small = material("mat_two_240", 2, 2)
    heads = small_px(np.array(small.truth["xy_px"], dtype=float)[::2], 2)
    face = [small.truth["keypoint_names"].index(n) for n in ("head", "left_eye", "right_eye")]
    result = small_job.result
    veil = _Veil(small_job.film, read_sighting(result), read_motion(result), lambda *_: None)
    worst, others, checked = 0.0, 0.0, 0
    for frame in veil.frames():
        original = small.pictures[frame.index]
        before, after = detail(original), detail(frame.image)
        for x, y in heads[frame.index, face]:
            if not (12 < x < 948 and 12 < y < 528):
                continue
            spot = np.s_[int(y) - 8 : int(y) + 9, int(x) - 8 : int(x) + 9]
            worst = max(worst, float(after[spot].sum() / before[spot].sum()))
            checked += 1
        away = np.abs(np.arange(960) - small.middle_px[frame.index, 0]) > 110
        others = max(others, float(after[60:310, away].sum() / before[60:310, away].sum()))

    assert checked > 300
    assert worst < 0.25
    assert others < 0.25  # spectators, and whoever else is anywhere above the runway


def test_a_label_that_could_be_a_path_or_markup_is_refused(small_job: Any, copy: Path) -> None:
    for label in ("../x", "<b>", "", "A B", "ä" * 3):
        with pytest.raises(InputError):
            share(small_job.result, copy.parent / "no", label=label, progress=lambda *_: None)
    assert not (copy.parent / "no").exists()
