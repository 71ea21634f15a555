"""Kills, full and read-only disks, wrong clocks, two jobs at once: never half a result, always a clear word, a rerun works."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from accidents import command, environment, fault_of, killed

pytestmark = [pytest.mark.slow, pytest.mark.skipif(sys.platform != "linux", reason="mounts and kills of Linux")]


def analysed(job: Any, out: Path, *more: str) -> subprocess.CompletedProcess[str]:
    done = command(job.film, job.lane, out, *more)
    return subprocess.run(done, env=environment(job.cache), capture_output=True, text=True, check=False)


@pytest.fixture
def own(small_job: Any, tmp_path: Path) -> Path:
    """A result of one's own to play with."""
    return Path(shutil.copytree(small_job.result, tmp_path / "result"))


def test_kills_at_random_moments_leave_a_whole_result_and_a_rerun_works(small_job: Any, own: Path) -> None:
    """The first run is let through and times the others; 200 kills: tests/bench/robustness.py --kills 200."""
    kills = killed(small_job.film, small_job.lane, own, small_job.cache, count=3)

    assert kills.broken == []
    assert kills.whole == 3
    assert analysed(small_job, own).returncode == 0
    assert fault_of(own) is None
    assert [p.name for p in own.parent.iterdir()] == ["result"]


def in_namespace(script: str) -> subprocess.CompletedProcess[str]:
    """Run a shell script that may mount; skips where that is not permitted."""
    if subprocess.run(["unshare", "-rm", "true"], capture_output=True, check=False).returncode:
        pytest.skip("mounting is not permitted here")
    return subprocess.run(["unshare", "-rm", "sh", "-ec", script], capture_output=True, text=True, check=False)


def shell(words: list[str]) -> str:
    return " ".join("'" + w.replace("'", "'\\''") + "'" for w in words)


def test_a_full_disk_is_said_and_leaves_nothing(small_job: Any, tmp_path: Path) -> None:
    place = tmp_path / "full"
    place.mkdir()
    job = shell(command(small_job.film, small_job.lane, place / "result"))
    cache = shell([f"PENULT_CACHE={small_job.cache}"])
    done = in_namespace(
        f"mount -t tmpfs -o size=300k tmpfs '{place}'; set +e; env {cache} {job}; echo status $?; ls -A '{place}'"
    )

    assert "status 2" in done.stdout, done.stderr
    assert done.stdout.strip().endswith("status 2")  # and nothing is listed after it
    assert "full" in done.stderr
    assert "Traceback" not in done.stderr


def test_a_read_only_folder_is_said_before_the_work_begins(small_job: Any, tmp_path: Path) -> None:
    place = tmp_path / "locked"
    place.mkdir()
    job = shell(command(small_job.film, small_job.lane, place / "result"))
    done = in_namespace(
        f"mount --bind '{place}' '{place}'; mount -o remount,ro,bind '{place}'; set +e; {job}; echo status $?; ls -A '{place}'"
    )

    assert done.stdout.strip().endswith("status 2"), done.stderr
    assert "read-only" in done.stderr
    assert "--out" in done.stderr


def test_two_analyses_of_one_clip_at_once_both_end_well(small_job: Any, own: Path) -> None:
    jobs = [
        subprocess.Popen(
            command(small_job.film, small_job.lane, own, "--kind", f"word {i}"),
            env=environment(small_job.cache),
            stderr=subprocess.PIPE,
            text=True,
        )
        for i in range(2)
    ]
    said = [job.communicate(timeout=300)[1] for job in jobs]

    assert [job.returncode for job in jobs] == [0, 0], said
    assert fault_of(own) is None


def test_a_result_from_the_future_that_is_open_elsewhere_is_replaced(small_job: Any, own: Path) -> None:
    """A clock was wrong, and a player holds the old film open; it keeps what it has, the folder holds the new one."""
    for path in own.rglob("*"):
        os.utime(path, (4_000_000_000, 4_000_000_000))
    with (own / "overlay.mp4").open("rb") as film:
        before = film.read(100)
        done = analysed(small_job, own, "--kind", "another word")
        film.seek(0)

        assert done.returncode == 0, done.stderr
        assert film.read(100) == before
    assert fault_of(own) is None
