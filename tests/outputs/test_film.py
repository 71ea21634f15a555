"""The annotated film: a picture for every frame, quickly, the hip path growing with the run."""

from __future__ import annotations

import time
from dataclasses import replace
from typing import Any

import cv2
import numpy as np
import pytest

from penult.model.clip import Frame, Planes
from penult.outputs.pictures import ink
from penult.outputs.pictures.film import Painter, film_frames, film_size_px


def test_wide_pictures_are_reduced_and_small_ones_left() -> None:
    assert film_size_px((1920, 1080)) == (960, 540)
    assert film_size_px((3840, 2160)) == (960, 540)
    assert film_size_px((720, 1280)) == (720, 1280)
    assert film_size_px((640, 361)) == (640, 361)


@pytest.mark.parametrize("which", ["scene", "leftward", "with_mats", "run_through", "doubted"])
def test_every_frame_gives_a_picture_of_one_size(which: str, request: pytest.FixtureRequest) -> None:
    given = request.getfixturevalue(which)
    frames = [given.frame(i) for i in range(5, 160, 11)]  # some lie before and after the tracked stretch

    drawn = list(film_frames(iter(frames), given.analysis, given.motion))

    assert {picture.shape for picture in drawn} == {(540, 960, 3)}
    assert len(drawn) == len(frames)
    assert (frames[0].image == given.frame(5).image).all(), "the frame handed in is not drawn on"


def test_a_camera_that_moves_has_its_own_lines_in_every_frame(scene: Any) -> None:
    moved = replace(
        scene.motion,
        cameras=tuple(
            replace(scene.motion.cameras[0], centre_px=(639.5, 359.5 + 40.0 * (row % 2)))
            for row in range(len(scene.motion.hip_m))
        ),
    )
    first, second = film_frames((scene.frame(i) for i in (60, 61)), scene.analysis, moved)

    green = [np.flatnonzero((p == ink.RUNWAY).all(axis=2).any(axis=1)).min() for p in (first, second)]
    assert abs(int(green[0]) - int(green[1])) == 30  # three quarters of 40


def test_the_path_grows_with_the_run(scene: Any) -> None:
    """Black of the hip path: more of it in a later frame."""
    blank = np.full((720, 1280, 3), 255, dtype=np.uint8)
    early, late = film_frames(
        (Frame(index=i, time_s=0.1 + (i - 12) / 120.0, image=blank) for i in (40, 130)), scene.analysis, scene.motion
    )

    dark = [int((p[45:352].max(axis=2) < 40).sum()) for p in (early, late)]
    assert dark[1] > 2 * dark[0]


def test_a_frame_costs_a_few_milliseconds(scene: Any) -> None:
    """Measured at 4 to 6 ms on one core of a small machine; the bound leaves room for a busy one."""
    frames = [scene.frame(i) for i in range(20, 60)]
    start = time.process_time()

    for _ in film_frames(frames, scene.analysis, scene.motion):
        pass

    assert (time.process_time() - start) / len(frames) < 0.04


def test_a_film_as_it_is_stored_looks_as_in_rgb(scene: Any) -> None:
    """Drawn on brightness and colour apart and turned into RGB by the formulas of ITU-R BT.709, limited range: the same
    picture as drawn in RGB, but for the colour's half resolution along edges."""
    painter = Painter(scene.analysis, scene.motion)
    for row in (20, 90, 150):
        frame = Frame(index=row, time_s=scene.frame(row).time_s, image=np.full((720, 1280, 3), 120, dtype=np.uint8))
        grey = round(16 + 219 * 120 / 255)
        planes = Planes(
            luma=np.full((540, 960), grey, dtype=np.uint8), chroma=np.full((270, 480, 2), 128, dtype=np.uint8)
        )

        in_rgb = painter.paint(frame)
        painter.draw_on(planes, frame.index, frame.time_s)

        off = np.abs(rgb_of(planes) - in_rgb).max(axis=2)
        drawn = (in_rgb != 120).any(axis=2)
        assert drawn.sum() > 5000
        assert (off > 3).sum() < 0.5 * drawn.sum()  # edges of lines three pixels wide
        flat = np.asarray(cv2.erode(drawn.astype(np.uint8), np.ones((9, 9), np.uint8)), dtype=bool)
        assert np.median(off[flat]) <= 3
        assert off[~np.asarray(cv2.dilate(drawn.astype(np.uint8), np.ones((7, 7), np.uint8)), dtype=bool)].max() <= 1


def rgb_of(planes: Planes) -> Any:
    luma = (planes.luma.astype(float) - 16) / 219
    blue, red = ((np.kron(planes.chroma[..., i], np.ones((2, 2))) - 128) / 224 for i in (0, 1))
    r, b = luma + 1.5748 * red, luma + 1.8556 * blue
    g = (luma - 0.2126 * r - 0.0722 * b) / 0.7152
    return 255 * np.clip(np.stack([r, g, b], axis=-1), 0, 1)


@pytest.mark.parametrize("kind", ["rgb", "planes"])
def test_a_layer_laid_on_a_picture_is_what_was_drawn(kind: str) -> None:
    random = np.random.default_rng(3)
    picture: Any = random.integers(0, 256, (120, 200, 3), dtype=np.uint8)
    if kind == "planes":
        picture = Planes(luma=picture[..., 0].copy(), chroma=picture[::2, ::2, 1:].copy())
    direct, laid = picture.copy(), picture.copy()

    def draw(on: Any) -> None:
        ink.stroke(on, np.array([[10.3, 20.7], [150.2, 90.1]]), ink.RUNWAY, 3.0, outline=ink.WHITE)
        ink.plate(on, (40, 30, 90, 60), ink.WHITE, 0.7)
        ink.write(on, "−3 m", (45, 32), 15, ink.BLACK)
        ink.ring(on, np.array([100.0, 50.0]), 6.0, ink.SUPPORT)

    draw(direct)
    ink.layer(picture, draw).lay_on(laid)

    for one, other in zip(ink.sheets(direct), ink.sheets(laid), strict=True):
        assert np.abs(one.pixels.astype(int) - other.pixels).max() <= 3
    assert ink.layer(picture, lambda on: None).parts[0][1].size == 0
