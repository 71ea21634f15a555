"""The synthetic runs that tests of the measuring core share; made once."""

from __future__ import annotations

import numpy as np
import pytest

from penult.core.locate import joint_depths, to_runway
from penult.core.synthetic import RUN_THROUGH, Runner, make_runner
from penult.core.synthetic_film import film, frame_times_s, square_camera
from penult.model.calibration import Camera
from penult.model.track import PixelTrack, RunwayTrack

RATE_HZ = 240.0


@pytest.fixture(scope="session")
def camera() -> Camera:
    """Return a known camera, square to the run."""
    return square_camera()


@pytest.fixture(scope="session")
def runner() -> Runner:
    """Return a full approach with a take-off from the left foot."""
    return make_runner()


@pytest.fixture(scope="session")
def run_through() -> Runner:
    """Return a run that goes on beyond the line."""
    return make_runner(RUN_THROUGH)


@pytest.fixture(scope="session")
def pixels(runner: Runner, camera: Camera) -> PixelTrack:
    """Return the full approach without any fault, in the picture."""
    return film(runner, camera, frame_times_s(runner, RATE_HZ))


@pytest.fixture(scope="session")
def runway(pixels: PixelTrack, camera: Camera) -> RunwayTrack:
    """Return the same on the runway."""
    return to_runway(pixels, (camera,), np.asarray(joint_depths()))
