"""sighting.npz: there and back without loss, refused when it is not whole."""

from __future__ import annotations

import io
import zipfile
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from penult.adapters.files.sighting_file import NAME, read_sighting, sighting_to_bytes
from penult.core.corrections.outcome import outcome_of
from penult.core.lane.fit import fit_lane
from penult.core.synthetic.film import Faults, ShoeSpread, clip_of, film, frame_times_s, lane_file, shoes, square_camera
from penult.core.synthetic.run import make_runner
from penult.errors import ResultError
from penult.model.analysis import Mat, Notice
from penult.model.lane_profile import LaneProfile
from penult.model.settings import Settings
from penult.model.shoe import ShoeContact
from penult.model.sighting import Sighting
from penult.outputs.folder.result import analysis_to_json


@pytest.fixture(scope="module")
def sighting() -> Sighting:
    """Return what was seen of a synthetic run, with a gap, settings, notices and a shoe that was not found."""
    runner, camera, rng = make_runner(), square_camera(), np.random.default_rng(1)
    time_s = frame_times_s(runner, 120.0)
    track = film(runner, camera, time_s, Faults(noise_px=1.0, gap_share=0.02), rng)
    seen: list[ShoeContact | None] = list(shoes(list(runner.shown().values()), ShoeSpread(), rng))
    seen[0] = None
    return Sighting(
        clip=clip_of(time_s, camera),
        fit=fit_lane(lane_file(camera, 0.5, rng)),
        cameras=(camera,),
        settings=Settings(kind="drill", mats=(Mat(number=-1, thickness_m=0.05),), at=(3.0, 4.0, 0.5)),
        joints=track,
        profile=LaneProfile(
            time_s=np.arange(3.0), x_m=np.arange(2.0), cover=np.zeros((3, 2)), ground_z_m=np.full((3, 2), np.nan)
        ),
        shoes=tuple(seen),
        notices=(Notice(code="variable-rate", text="uneven"),),
        method={"penult": "0.0", "settings": {"run": 1}},
    )


def write(folder: Path, data: bytes) -> None:
    (folder / NAME).write_bytes(data)


def test_what_is_measured_from_it_is_the_same_to_the_last_byte(sighting: Sighting, tmp_path: Path) -> None:
    """Fails if an array loses a digit, a NaN or a setting on the way."""
    write(tmp_path, sighting_to_bytes(sighting))

    again = read_sighting(tmp_path)

    assert again.settings == sighting.settings
    assert again.shoes == sighting.shoes
    assert again.notices == sighting.notices
    assert again.fit.lane == sighting.fit.lane
    assert np.array_equal(again.joints.xy_px, sighting.joints.xy_px, equal_nan=True)
    assert np.array_equal(again.profile.ground_z_m, sighting.profile.ground_z_m, equal_nan=True)
    assert analysis_to_json(outcome_of(again).analysis) == analysis_to_json(outcome_of(sighting).analysis)


def test_a_result_without_it_says_what_to_do(tmp_path: Path) -> None:
    """Older results have none."""
    with pytest.raises(ResultError, match="analyse the clip again"):
        read_sighting(tmp_path)


def changed(data: bytes, **arrays: Any) -> bytes:
    """Return the file with some arrays replaced, or dropped where None is given."""
    with np.load(io.BytesIO(data)) as stored:
        content = {name: stored[name] for name in stored.files}
    content |= arrays
    buffer = io.BytesIO()
    np.savez(buffer, allow_pickle=False, **{k: v for k, v in content.items() if v is not None})
    return buffer.getvalue()


@pytest.mark.parametrize(
    "arrays",
    [
        {"frame": None},
        {"words": None},
        {"xy_px": np.zeros((3, 17, 2))},
        {"words": np.zeros(10, dtype=np.uint8)},
        {"words": np.frombuffer(b"[" * 5000, dtype=np.uint8)},
        {"words": np.frombuffer(b'{"format": "other"}', dtype=np.uint8)},
        {"camera_parameters": np.zeros((5, 9))},
        {"time_s": np.zeros(7)},
        {"frame": np.array([10**9])},
    ],
    ids="-".join,
)
def test_damaged_files_are_refused(sighting: Sighting, tmp_path: Path, arrays: dict[str, Any]) -> None:
    """One refusal of ours, never another exception or a crooked record."""
    write(tmp_path, changed(sighting_to_bytes(sighting), **arrays))

    with pytest.raises(ResultError):
        read_sighting(tmp_path)


@pytest.mark.parametrize("cut", [0, 10, 1000, -100])
def test_a_cut_file_is_refused(sighting: Sighting, tmp_path: Path, cut: int) -> None:
    """Ends early: refused."""
    write(tmp_path, sighting_to_bytes(sighting)[:cut])

    with pytest.raises(ResultError):
        read_sighting(tmp_path)


def test_what_would_unpack_to_too_much_is_refused_unread(tmp_path: Path) -> None:
    """A small archive of an immense array."""
    with zipfile.ZipFile(tmp_path / NAME, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("frame.npy", bytes(500_000_000))

    with pytest.raises(ResultError, match="too much"):
        read_sighting(tmp_path)


def test_pickled_objects_are_never_loaded(tmp_path: Path) -> None:
    """An array of objects could run code on loading."""
    buffer = io.BytesIO()
    np.savez(buffer, allow_pickle=True, words=np.array([{}], dtype=object))
    write(tmp_path, buffer.getvalue())

    with pytest.raises(ResultError):
        read_sighting(tmp_path)
