"""Kills, full and read-only disks, wrong clocks, two jobs at once: never half a result, always a clear word, a rerun works."""

from __future__ import annotations

import os
import shutil
import stat
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


@pytest.fixture(scope="module")
def ordinary(tmp_path_factory: pytest.TempPathFactory) -> list[str]:
    """Words before a command that make it run as somebody whom a folder's mode binds; skips where there is no way.

    The superuser may write everywhere; without its capabilities it is bound like anybody else, and still reads an
    interpreter that lies in its own home, which another user may not.
    """
    locked = tmp_path_factory.mktemp("locked")
    locked.chmod(0o555)
    write = [sys.executable, "-c", "import sys, penult; open(sys.argv[1], 'w')"]
    for words in ([], ["setpriv", "--bounding-set=-all", "--inh-caps=-all"]):
        if words and shutil.which(words[0]) is None:
            continue
        place = str(locked / f"file{len(words)}")
        done = subprocess.run([*words, *write, place], capture_output=True, text=True, check=False)
        if "PermissionError" in done.stderr and place in done.stderr:
            return words
    pytest.skip("the superuser runs these tests, and cannot give up its rights here")


@pytest.mark.parametrize("locked", ["an earlier result", "the clip's folder", "the folder named with --out"])
def test_a_folder_that_must_not_be_written_is_said_and_stays_as_it_is(
    small_job: Any, ordinary: list[str], tmp_path: Path, locked: str
) -> None:
    """By its mode, for an ordinary user. A read-only result in a folder that may be written is left alone as well."""
    place = tmp_path / "place"
    place.mkdir()
    film, lane = (Path(shutil.copy(p, place)) for p in (small_job.film, small_job.lane))
    shutil.copy(small_job.lane.with_name("still.png"), place)
    result = Path(shutil.copytree(small_job.result, place / f"{film.stem}_analysis"))
    shut = {"an earlier result": result, "the clip's folder": place}.get(locked, tmp_path / "out")
    shut.mkdir(exist_ok=True)
    out = () if shut in (result, place) else ("--out", str(shut / "result"))
    words = [
        sys.executable,
        "-m",
        "penult",
        "analyse",
        str(film),
        "--calib",
        str(lane),
        *out,
        "--kind",
        "another",
        "--quiet",
    ]
    before = listed(tmp_path)
    shut.chmod(0o555)
    try:
        done = subprocess.run(
            [*ordinary, *words], env=environment(small_job.cache), capture_output=True, text=True, check=False
        )
    finally:
        shut.chmod(0o755)

    assert done.returncode == 2, done.stderr
    assert str(result if not out else shut / "result") in done.stderr
    assert "writing there is not allowed" in done.stderr
    assert "--out" in done.stderr
    assert "Traceback" not in done.stderr
    assert listed(tmp_path) == before


def listed(folder: Path) -> dict[str, tuple[int, int]]:
    """Every file of a folder with its size and the time of its last change; folders by name."""
    files = {str(p.relative_to(folder)): p.stat() for p in folder.rglob("*")}
    return {n: (s.st_size, s.st_mtime_ns) if stat.S_ISREG(s.st_mode) else (0, 0) for n, s in files.items()}


def test_a_result_with_a_read_only_folder_in_it_leaves_nothing_behind_when_replaced(
    ordinary: list[str], own: Path
) -> None:
    """The old result is exchanged and then removed, whatever modes its folders have."""
    (own / "stills").chmod(0o555)
    rewrite = (
        "import json, sys; from pathlib import Path; from penult.outputs.folder.save import write_result\n"
        "place = Path(sys.argv[1]); content = (place / 'analysis.json').read_bytes()\n"
        "write_result(place, [('analysis.json', content)], sha256=json.loads(content)['clip']['sha256'])"
    )
    done = subprocess.run(
        [*ordinary, sys.executable, "-c", rewrite, str(own)], capture_output=True, text=True, check=False
    )

    assert done.returncode == 0, done.stderr
    assert [p.name for p in own.iterdir()] == ["analysis.json"]
    assert [p.name for p in own.parent.iterdir()] == ["result"]


def test_a_clip_in_a_folder_that_may_not_be_entered_is_said(
    small_job: Any, ordinary: list[str], tmp_path: Path
) -> None:
    """Even to ask whether it is there is refused by the system."""
    (tmp_path / "shut").mkdir()
    film = shutil.copy(small_job.film, tmp_path / "shut")
    (tmp_path / "shut").chmod(0o600)
    words = [*ordinary, *command(Path(film), small_job.lane, tmp_path / "result")]
    done = subprocess.run(words, env=environment(small_job.cache), capture_output=True, text=True, check=False)
    (tmp_path / "shut").chmod(0o700)

    assert done.returncode == 2, done.stderr
    assert done.stderr.startswith(f"error: {film} cannot be used: no permission")
    assert not (tmp_path / "result").exists()


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
