"""corrections.json: there and back, every fault named, nobody's work overwritten, no half of a file."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from penult.adapters.files.corrections_file import NAME, OutdatedError, read_corrections, write_corrections
from penult.adapters.files.corrections_text import from_plain, from_text, to_plain, to_text
from penult.errors import OutputError, ResultError
from penult.model.analysis import Mat
from penult.model.corrections import (
    AthletePicked,
    CaptureRateSet,
    ContactAdded,
    ContactDeleted,
    Corrections,
    FootChanged,
    InstantConfirmed,
    InstantMoved,
    JointDragged,
    KindSet,
    LegsSwapped,
    MatsSet,
)
from penult.model.skeleton import JOINTS

SHA = "5" * 64
POSITIONS = st.floats(0.0, 1e6, allow_nan=False)
INDICES = st.integers(0, 1_000_000)
FEET = st.sampled_from(["left", "right"])
ENDS = st.sampled_from(["touchdown", "toe_off"])
WHEN = st.sampled_from(["", "2026-11-25T02:30:42Z"])
PLACES = st.tuples(st.floats(0.0, 4000.0), st.floats(0.0, 4000.0))
MATS = st.lists(st.integers(-5, 0), unique=True, max_size=3).map(
    lambda numbers: tuple(Mat(number=n, thickness_m=0.05) for n in numbers)
)
EVERY = st.one_of(
    st.builds(InstantMoved, near_frame=POSITIONS, instant=ENDS, to_frame=POSITIONS, made_at=WHEN),
    st.builds(InstantConfirmed, near_frame=POSITIONS, instant=ENDS, made_at=WHEN),
    st.builds(FootChanged, near_frame=POSITIONS, foot=FEET, everywhere=st.booleans(), made_at=WHEN),
    st.builds(ContactDeleted, near_frame=POSITIONS, made_at=WHEN),
    st.builds(
        lambda start, length, foot: ContactAdded(touchdown_frame=start, toe_off_frame=start + length, foot=foot),
        POSITIONS,
        st.floats(1.0, 60.0),
        FEET,
    ),
    st.builds(JointDragged, frame=INDICES, joint=st.sampled_from(JOINTS), to_px=PLACES),
    st.builds(lambda a, n: LegsSwapped(first_frame=a, last_frame=a + n), INDICES, st.integers(0, 500)),
    st.builds(MatsSet, mats=MATS),
    st.builds(AthletePicked, run=st.integers(1, 9), at=st.none() | PLACES.flatmap(lambda p: INDICES.map(lambda i: (*p, i)))),
    st.builds(CaptureRateSet, capture_rate_hz=st.floats(5.0, 2000.0)),
    st.builds(KindSet, kind=st.text(st.characters(exclude_categories=["Cs", "Cc"]), max_size=80)),
)  # fmt: skip


@given(done=st.lists(EVERY, max_size=6), undone=st.lists(EVERY, max_size=3), version=st.integers(0, 10_000))
def test_there_and_back_is_the_same_to_the_last_digit(done: list[Any], undone: list[Any], version: int) -> None:
    """Any corrections: the text gives them back exactly, and the same text again."""
    history = Corrections(
        clip_sha256=SHA, run=2, at=(1.5, 2.5, 0.25), version=version, done=tuple(done), undone=tuple(undone)
    )

    text = to_text(history)

    assert from_text(text.encode()) == history
    assert to_text(from_text(text.encode())) == text
    assert all(from_plain(json.loads(json.dumps(to_plain(c)))) == c for c in done)


def test_every_fault_is_named_at_its_place(tmp_path: Path) -> None:
    """Six faults at once; fails if reading stops at the first."""
    moved = {"kind": "instant-moved", "near_fram": 1.0, "instant": "landing"}
    swapped = {"kind": "legs-swapped", "first_frame": 9, "last_frame": 3}
    content = {
        "format": "penult-corrections/1",
        "clip_sha256": "x",
        "version": -1,
        "corrections": [moved, swapped],
        "undon": [],
    }
    (tmp_path / NAME).write_text(json.dumps(content))

    with pytest.raises(ResultError) as caught:
        read_corrections(tmp_path)

    said = str(caught.value)
    for place in (
        "clip_sha256",
        "version",
        "corrections[0].near_fram: unknown key; the nearest known key is 'near_frame'",
        "corrections[0].instant",
        "corrections[0].to_frame",
        "corrections[1]",
        "undone",
    ):
        assert place in said
    assert "--ignore-corrections" in said


@pytest.mark.parametrize(
    "text",
    [
        "",
        "[]",
        "nonsense",
        "[" * 100_000,
        '{"format": "penult-corrections/2"}',
        '{"version": 1, "version": 2}',
        '{"format": "penult-corrections/1", "clip_sha256": "'
        + SHA
        + '", "version": 0, "corrections": [NaN], "undone": []}',
    ],
)
def test_what_is_no_corrections_file_is_refused(tmp_path: Path, text: str) -> None:
    """Anything else than the format: one refusal of ours, never another exception."""
    (tmp_path / NAME).write_text(text)

    with pytest.raises(ResultError):
        read_corrections(tmp_path)


@pytest.mark.parametrize(
    "plain",
    [
        None,
        7,
        [],
        {},
        {"kind": "instant-moved"},
        {"kind": "no such kind"},
        {"kind": "kind-set", "word": "a\x00b"},
        {"kind": "kind-set", "word": "x" * 81},
        {"kind": "mats-set", "mats": [{"number": -1, "thickness_m": 0.05}] * 2},
        {"kind": "mats-set", "mats": [{"number": -1, "thickness_m": 5.0}]},
        {"kind": "joint-dragged", "frame": 1, "joint": "tail", "to_px": [1, 1]},
        {"kind": "joint-dragged", "frame": -1, "joint": "left_knee", "to_px": [1, 1]},
        {"kind": "joint-dragged", "frame": 1, "joint": "left_knee", "to_px": [1e9, 1]},
        {"kind": "capture-rate-set", "capture_rate_hz": 0},
        {"kind": "contact-added", "foot": "left", "touchdown_frame": 9.0, "toe_off_frame": 8.0},
        {"kind": "contact-deleted", "near_frame": 1.0, "made_at": "<script>"},
    ],
)
def test_what_is_no_correction_is_refused(plain: object) -> None:
    """What a page or a file may not hold: refused with words."""
    with pytest.raises(ResultError):
        from_plain(plain)


def test_a_large_file_is_not_read(tmp_path: Path) -> None:
    """9 MB: refused by its size, before its content is looked at."""
    (tmp_path / NAME).write_bytes(b" " * 9_000_000)

    with pytest.raises(ResultError, match="too large"):
        read_corrections(tmp_path)


def test_nothing_there_is_no_fault(tmp_path: Path) -> None:
    """No file, no folder: no corrections."""
    assert read_corrections(tmp_path) is None
    assert read_corrections(tmp_path / "nowhere") is None


def test_only_the_known_version_is_replaced(tmp_path: Path) -> None:
    """Two writers on version 1: the second is refused and the first one's work stands."""
    first = Corrections(clip_sha256=SHA, version=1, done=(KindSet(kind="one"),))
    write_corrections(tmp_path, first, over_version=0)
    second = Corrections(clip_sha256=SHA, version=2, done=(KindSet(kind="two"),))
    write_corrections(tmp_path, second, over_version=1)

    with pytest.raises(OutdatedError):
        write_corrections(tmp_path, Corrections(clip_sha256=SHA, version=2, done=()), over_version=1)

    assert read_corrections(tmp_path) == second
    assert [p.name for p in tmp_path.iterdir()] == [NAME]


def test_a_place_that_cannot_be_written_says_so(tmp_path: Path) -> None:
    """The folder has gone: an error of ours in plain words."""
    with pytest.raises(OutputError, match="cannot be saved"):
        write_corrections(tmp_path / "gone", Corrections(clip_sha256=SHA, version=1), over_version=0)


WRITER = """
import sys
from pathlib import Path
from penult.adapters.files.corrections_file import read_corrections, write_corrections
from penult.model.corrections import Corrections, KindSet
folder = Path(sys.argv[1])
there = read_corrections(folder)
version = there.version if there else 0
while True:
    version += 1
    done = tuple(KindSet(kind=f"word {i}") for i in range(version % 50))
    write_corrections(folder, Corrections(clip_sha256="5" * 64, version=version, done=done), over_version=version - 1)
    print(version, flush=True)
"""


@pytest.mark.skipif(sys.platform == "win32", reason="sends SIGKILL")
def test_killed_at_any_moment_the_file_is_whole_and_nothing_saved_is_lost(tmp_path: Path) -> None:
    """Six writers killed in the middle of writing: the last version that was reported, or the next, is there, whole."""
    for delay_s in (0.0, 0.003, 0.007, 0.011, 0.017, 0.023):
        with subprocess.Popen(
            [sys.executable, "-c", WRITER, str(tmp_path)], stdout=subprocess.PIPE, text=True
        ) as writer:
            assert writer.stdout is not None
            seen = int(writer.stdout.readline())
            time.sleep(delay_s)
            os.kill(writer.pid, signal.SIGKILL)
            seen = max([seen, *(int(line) for line in writer.stdout.read().splitlines() if line.strip())])
        there = read_corrections(tmp_path)
        assert there is not None
        assert seen <= there.version <= seen + 1
        assert len(there.done) == there.version % 50
