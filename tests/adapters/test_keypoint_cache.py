"""Keypoints kept between runs: what comes back is what was kept; damage, two writers and a full disk do no harm."""

from __future__ import annotations

import multiprocessing
import os
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from penult.adapters.caches import keypoint_cache
from penult.adapters.caches.keypoint_cache import Looks
from penult.model.skeleton import JOINTS

KEY = keypoint_cache.key_of("clip", "model")


@pytest.fixture(autouse=True)
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Keep everything in a folder of this test's own."""
    place = tmp_path / "läufer cache"
    monkeypatch.setenv("PENULT_CACHE", str(place))
    return place


def looks(seed: int = 0, rows: int = 60) -> Looks:
    rng = np.random.default_rng(seed)
    joints = rng.uniform(0.0, 3840.0, (rows, len(JOINTS), 3))
    joints[..., 2] = 0.9
    joints[5] = np.nan
    return Looks(frame=np.arange(10, 10 + rows), crop=rng.uniform(0.0, 2000.0, (rows, 4)), joints=joints)


def test_what_was_kept_comes_back(folder: Path) -> None:
    """Frames and crops exactly, joints within a thousandth of a pixel at 4K, gaps as gaps. Nothing else is left in the folder."""
    kept = looks()

    assert keypoint_cache.read(KEY) is None
    keypoint_cache.write(KEY, kept)
    found = keypoint_cache.read(KEY)

    assert found is not None
    assert (found.frame == kept.frame).all()
    assert (found.crop == kept.crop).all()
    assert found.joints[..., :2] == pytest.approx(kept.joints[..., :2], abs=1e-3, nan_ok=True)
    assert found.joints[..., 2] == pytest.approx(kept.joints[..., 2], abs=1e-6, nan_ok=True)
    assert [f.name for f in folder.iterdir()] == [f"{KEY}.npz"]


@given(
    a=st.tuples(st.text(), st.integers(), st.floats(allow_nan=False)),
    b=st.tuples(st.text(), st.integers(), st.floats(allow_nan=False)),
)
@settings(suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_keys_are_file_names_and_differ_where_their_parts_do(
    a: tuple[str, int, float], b: tuple[str, int, float]
) -> None:
    """Property: another clip, model or setting never answers for this one; every key can be a file's name."""
    assert (keypoint_cache.key_of(*a) == keypoint_cache.key_of(*b)) == (repr(a) == repr(b))
    assert keypoint_cache.key_of(*a).isalnum()


@pytest.mark.parametrize(
    "content", [b"", b"PK\x03\x04", b"not a zip at all" * 40], ids=["empty", "cut off at once", "text"]
)
def test_a_foreign_file_is_no_entry_and_is_written_over(folder: Path, content: bytes) -> None:
    """Fails if a stray file raises, is believed, or blocks its place."""
    folder.mkdir(parents=True)
    (folder / f"{KEY}.npz").write_bytes(content)

    assert keypoint_cache.read(KEY) is None
    keypoint_cache.write(KEY, looks())
    assert keypoint_cache.read(KEY) is not None


def test_a_damaged_entry_is_never_an_error(folder: Path) -> None:
    """Cut off anywhere, or a byte turned over anywhere: either the entry reads as it was kept, or there is none."""
    keypoint_cache.write(KEY, looks(rows=8))
    file = folder / f"{KEY}.npz"
    whole = file.read_bytes()
    sound = keypoint_cache.read(KEY)
    assert sound is not None

    damaged = [whole[:n] for n in range(0, len(whole), 97)]
    damaged += [whole[:n] + bytes([whole[n] ^ 0xFF]) + whole[n + 1 :] for n in range(0, len(whole), 31)]
    answers = []
    for content in damaged:
        file.write_bytes(content)
        answers.append(keypoint_cache.read(KEY))

    for answer in answers:
        if answer is not None:
            assert (answer.frame == sound.frame).all()
            assert (answer.crop == sound.crop).all()
            assert np.array_equal(answer.joints, sound.joints, equal_nan=True)
    assert sum(answer is None for answer in answers) > len(answers) / 2


def test_entries_of_another_shape_or_kind_are_refused(folder: Path) -> None:
    """Joints of another skeleton, frames that are no integers, a pickled object: none of them is taken over."""
    folder.mkdir(parents=True)
    file, frame, crop = folder / f"{KEY}.npz", np.arange(4), np.zeros((4, 4))
    joints = np.zeros((4, len(JOINTS), 3), np.float32)

    for wrong in (
        {"frame": frame, "crop": crop, "joints": joints[:, :-1]},
        {"frame": frame[:3], "crop": crop, "joints": joints},
        {"frame": frame, "crop": crop[:, :2], "joints": joints},
        {"frame": frame.astype(float), "crop": crop, "joints": joints},
        {"frame": frame, "joints": joints},
        {"frame": np.array([{}], dtype=object), "crop": crop, "joints": joints},
    ):
        np.savez(file, **wrong)
        assert keypoint_cache.read(KEY) is None
    np.savez(file, frame=frame, crop=crop, joints=joints)
    assert keypoint_cache.read(KEY) is not None


def _keep(folder: str, seed: int, times: int) -> None:
    os.environ["PENULT_CACHE"] = folder
    for _ in range(times):
        keypoint_cache.write(KEY, looks(seed))


def test_two_writers_of_one_entry_leave_one_whole_entry(folder: Path) -> None:
    """Two processes write the same key while a third reads: each reading is one of the two, never a mixture."""
    spawn = multiprocessing.get_context("spawn")
    writers = [spawn.Process(target=_keep, args=(str(folder), seed, 40)) for seed in (1, 2)]
    sounds = {float(np.nansum(looks(seed).joints[..., :2].astype(np.float32).astype(float))) for seed in (1, 2)}
    seen = []

    for writer in writers:
        writer.start()
    while any(writer.is_alive() for writer in writers):
        found = keypoint_cache.read(KEY)
        if found is not None:
            seen.append(float(np.nansum(found.joints[..., :2])))
    for writer in writers:
        writer.join()

    assert [writer.exitcode for writer in writers] == [0, 0]
    assert seen
    assert all(min(abs(s - sound) for sound in sounds) < 1e-3 for s in seen)
    assert [f.name for f in folder.iterdir()] == [f"{KEY}.npz"]


def test_the_cache_is_trimmed_of_what_was_not_used_for_longest(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Written first and read since stays. Fails if the newest entries go, or if the cache grows beyond its bound."""
    keypoint_cache.write("a", looks(1))
    size = (folder / "a.npz").stat().st_size
    monkeypatch.setattr(keypoint_cache, "MOST_BYTES", int(3.5 * size))
    for age, key in enumerate("bcd"):
        keypoint_cache.write(key, looks(age))
        os.utime(folder / f"{key}.npz", (1e9 + age, 1e9 + age))
    os.utime(folder / "a.npz", (1e9 - 1, 1e9 - 1))
    assert keypoint_cache.read("a") is not None

    keypoint_cache.write("e", looks(9))

    assert sorted(f.stem for f in folder.iterdir()) == ["a", "d", "e"]
    assert sum(f.stat().st_size for f in folder.iterdir()) <= keypoint_cache.MOST_BYTES


def test_clearing_removes_entries_and_left_over_halves_and_nothing_else(folder: Path) -> None:
    """It says how many bytes it freed; a file that is not the cache's own stays; clearing nothing is no error."""
    assert keypoint_cache.clear() == 0
    keypoint_cache.write(KEY, looks())
    (folder / f".{KEY}.npz.partial-1-00ff").write_bytes(b"x" * 100)
    (folder / "notes.txt").write_text("mine")
    size = (folder / f"{KEY}.npz").stat().st_size

    assert keypoint_cache.clear() == size + 100
    assert [f.name for f in folder.iterdir()] == ["notes.txt"]


def test_a_place_that_cannot_be_written_is_no_reason_to_fail(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The cache is a convenience: a file where its folder should be, or a full disk, costs only the next run's time."""
    (tmp_path / "file").write_text("in the way")
    monkeypatch.setenv("PENULT_CACHE", str(tmp_path / "file"))

    keypoint_cache.write(KEY, looks())

    assert keypoint_cache.read(KEY) is None

    def full(*_: object, **__: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setenv("PENULT_CACHE", str(tmp_path / "other"))
    monkeypatch.setattr("penult.whole_file.os.fsync", full)  # the disk is full when the bytes are to reach it
    keypoint_cache.write(KEY, looks())
    assert list((tmp_path / "other").iterdir()) == []


def test_the_folder_follows_the_usual_variables(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """PENULT_CACHE first, then XDG_CACHE_HOME or LOCALAPPDATA, then ~/.cache (XDG Base Directory Specification)."""
    for name in ("PENULT_CACHE", "XDG_CACHE_HOME", "LOCALAPPDATA"):
        monkeypatch.delenv(name, raising=False)
    monkeypatch.setenv("HOME", str(tmp_path))
    assert keypoint_cache.cache_folder() == tmp_path / ".cache" / "penult" / "keypoints"
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "x"))
    assert keypoint_cache.cache_folder() == tmp_path / "x" / "penult" / "keypoints"
    monkeypatch.setenv("PENULT_CACHE", str(tmp_path / "mine"))
    assert keypoint_cache.cache_folder() == tmp_path / "mine"
