"""The annotated film: a picture for every frame, quickly, the hip path growing with the run."""

from __future__ import annotations

import time
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from penult.model.clip import Frame
from penult.outputs import ink
from penult.outputs.film import film_frames, film_size_px


def test_wide_pictures_are_reduced_and_small_ones_left() -> None:
    assert film_size_px((1920, 1080)) == (1280, 720)
    assert film_size_px((3840, 2160)) == (1280, 720)
    assert film_size_px((720, 1280)) == (720, 1280)
    assert film_size_px((640, 361)) == (640, 361)


@pytest.mark.parametrize("which", ["scene", "leftward", "with_mats", "run_through", "doubted"])
def test_every_frame_gives_a_picture_of_one_size(which: str, request: pytest.FixtureRequest) -> None:
    given = request.getfixturevalue(which)
    frames = [given.frame(i) for i in range(5, 160, 11)]  # some lie before and after the tracked stretch

    drawn = list(film_frames(iter(frames), given.analysis, given.motion))

    assert {picture.shape for picture in drawn} == {(720, 1280, 3)}
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
    assert abs(int(green[0]) - int(green[1])) == 40


def test_the_path_grows_with_the_run(scene: Any) -> None:
    """Black of the hip path: more of it in a later frame."""
    blank = np.full((720, 1280, 3), 255, dtype=np.uint8)
    early, late = film_frames(
        (Frame(index=i, time_s=0.1 + (i - 12) / 120.0, image=blank) for i in (40, 130)), scene.analysis, scene.motion
    )

    dark = [int((p[60:470].max(axis=2) < 40).sum()) for p in (early, late)]
    assert dark[1] > 2 * dark[0]


def test_a_frame_costs_a_few_milliseconds(scene: Any) -> None:
    """Measured at 4 to 6 ms on one core of a small machine; the bound leaves room for a busy one."""
    frames = [scene.frame(i) for i in range(20, 60)]
    start = time.process_time()

    for _ in film_frames(frames, scene.analysis, scene.motion):
        pass

    assert (time.process_time() - start) / len(frames) < 0.04
