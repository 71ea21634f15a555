"""A shared copy: no face can be told, no name is left, and the film holds nothing but pictures."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import av
import cv2
import numpy as np
import pytest

from penult.adapters.result_file import read_analysis, read_motion
from penult.adapters.sighting_file import read_sighting
from penult.app.share import _Veil, share
from penult.errors import InputError
from scenes import material, plain, small_px

pytestmark = pytest.mark.slow

ATHLETE, PLACE = "Grete Beispiel", "Sporthalle"


def penult(*words: object, cache: Path) -> None:
    env = {**os.environ, "PENULT_CACHE": str(cache)}
    done = subprocess.run(
        [sys.executable, "-m", "penult", *map(str, words)], env=env, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr


@pytest.fixture(scope="module")
def place(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A result of a small film with two spectators under a telling name, and its shared copy."""
    folder = plain(material("mat_two_240", 2, 2)).write(tmp_path_factory.mktemp("share"))
    film = folder / f"{ATHLETE} {PLACE}.mp4"
    with av.open(str(folder / "clip.mp4")) as old, av.open(str(film), "w") as new:
        new.metadata.update({"location": "+52.5+013.4/", "comment": ATHLETE, "creation_time": "2026-05-01T10:00:00Z"})
        stream = new.add_stream_from_template(old.streams.video[0])
        for packet in old.demux(video=0):
            if packet.dts is not None:
                packet.stream = stream
                new.mux(packet)
    (folder / "clip.mp4").unlink()
    (folder / "lane.json").rename(folder / f"{PLACE}.json")
    words = ("--athlete", ATHLETE, "--kind", f"{ATHLETE} special", "--quiet", "--out", folder / "result")
    penult("analyse", film, "--calib", folder / f"{PLACE}.json", *words, cache=folder / "cache")
    penult("share", folder / "result", "-o", folder / "copy", "--quiet", cache=folder / "cache")
    return folder


def test_no_name_is_left_in_any_file_or_file_name(place: Path) -> None:
    hidden = [w.encode(code).lower() for w in (*ATHLETE.split(), PLACE) for code in ("utf-8", "utf-16-le")]
    hidden.append(read_analysis(place / "result").clip.sha256.encode())
    files = [p for p in (place / "copy").rglob("*") if p.is_file()]

    assert len(files) > 10
    for path in files:
        content = path.read_bytes().lower() + path.name.encode().lower()
        assert [w for w in hidden if w in content] == [], path.name


def test_the_copy_reads_as_a_result_with_the_same_numbers(place: Path) -> None:
    before, after = (json.loads((place / f / "analysis.json").read_text()) for f in ("result", "copy"))

    assert [c["contact_time_s"] for c in after["contacts"]] == [c["contact_time_s"] for c in before["contacts"]]
    assert after["run"]["athlete"] == "A"


def test_the_film_holds_one_picture_stream_and_no_telling_metadata(place: Path) -> None:
    with av.open(str(place / "copy" / "overlay.mp4")) as film:
        told = {**film.metadata, **film.streams[0].metadata}

        assert [s.type for s in film.streams] == ["video"]
        assert set(told) <= {"major_brand", "minor_version", "compatible_brands", "language", "handler_name", "encoder"}


def test_stills_carry_no_exif(place: Path) -> None:
    for still in (place / "copy" / "stills").glob("*.jpg"):
        assert b"Exif" not in still.read_bytes()[:4096]


def detail(picture: np.ndarray) -> np.ndarray:
    """What is left of a picture after everything larger than 3 cm is taken away: eyes, nose, mouth."""
    grey = cv2.cvtColor(picture, cv2.COLOR_RGB2GRAY).astype(np.float32)
    return (grey - cv2.GaussianBlur(grey, (0, 0), 2.5)) ** 2


def test_no_detail_of_a_face_is_left_in_any_frame(place: Path) -> None:
    """Heads are where the film's truth has them; 2.5 px is 3 cm here."""
    small = material("mat_two_240", 2, 2)
    heads = small_px(np.array(small.truth["xy_px"], dtype=float)[::2], 2)
    face = [small.truth["keypoint_names"].index(n) for n in ("head", "left_eye", "right_eye")]
    result = place / "result"
    veil = _Veil(place / f"{ATHLETE} {PLACE}.mp4", read_sighting(result), read_motion(result), lambda *_: None)
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


def test_a_label_that_could_be_a_path_or_markup_is_refused(place: Path) -> None:
    for label in ("../x", "<b>", "", "A B", "ä" * 3):
        with pytest.raises(InputError):
            share(place / "result", place / "no", label=label, progress=lambda *_: None)
    assert not (place / "no").exists()
