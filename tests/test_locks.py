"""Locks between programs: a second writer waits, and a lock goes with its program."""

from __future__ import annotations

import os
import subprocess
import sys
import time
from pathlib import Path

import pytest

from penult import locks

HOLDER = """
import sys, time
from pathlib import Path
from penult import locks
with locks.one_writer(Path(sys.argv[1])):
    print("held", flush=True)
    time.sleep(float(sys.argv[2]))
"""


def holder(folder: Path, seconds: float) -> subprocess.Popen[str]:
    """Start a program that holds the folder; returns when it does."""
    started = subprocess.Popen(
        [sys.executable, "-c", HOLDER, str(folder), str(seconds)], stdout=subprocess.PIPE, text=True
    )
    assert started.stdout is not None
    assert started.stdout.readline().strip() == "held"
    return started


def test_a_second_writer_waits_for_the_first(tmp_path: Path) -> None:
    with holder(tmp_path, 0.5):
        begun = time.monotonic()
        with locks.one_writer(tmp_path):
            waited = time.monotonic() - begun

    assert waited > 0.3


def test_a_lock_goes_with_a_program_that_is_killed(tmp_path: Path) -> None:
    with holder(tmp_path, 60.0) as held:
        held.kill()
        held.wait()
        with locks.one_writer(tmp_path):
            pass


@pytest.mark.skipif(sys.platform == "win32", reason="there a file beside the folder's own is locked")
def test_another_program_sees_that_a_file_is_held(tmp_path: Path) -> None:
    handle, again = (os.open(tmp_path / "a", os.O_CREAT | os.O_RDWR) for _ in range(2))
    locks.hold(handle)

    assert locks.is_held(again)
    os.close(handle)
    assert not locks.is_held(again)
    os.close(again)


def test_a_folder_that_is_not_there_is_said_so(tmp_path: Path) -> None:
    with pytest.raises(FileNotFoundError), locks.one_writer(tmp_path / "none"):
        pass
