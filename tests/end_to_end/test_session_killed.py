"""A session that stays is killed in the middle of a clip and started again: a real process, a real film, a real browser."""

from __future__ import annotations

import re
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import httpx
import pytest

pytestmark = pytest.mark.slow
PATIENCE_S = 240.0
ANALYSE = [sys.executable, "-m", "penult"]


@contextmanager
def session(folder: Path, lane: Path) -> Iterator[tuple[subprocess.Popen[str], httpx.Client]]:
    """Start `penult session --stay` and give it with a client that has opened its page."""
    command = [*ANALYSE, "session", str(folder), "--calib", str(lane), "--stay", "--no-browser"]
    with subprocess.Popen(command, stderr=subprocess.PIPE, text=True) as process:
        try:
            assert process.stderr is not None
            found = re.match(r"open (\S+)", process.stderr.readline())
            assert found
            with httpx.Client(base_url=found[1].split("/open", maxsplit=1)[0], timeout=60.0) as there:
                assert there.get(found[1], follow_redirects=True).status_code == 200
                yield process, there
        finally:
            if process.poll() is None:
                process.kill()


def until(there: httpx.Client, is_so: Any) -> dict[str, Any]:
    end_s = time.monotonic() + PATIENCE_S
    while time.monotonic() < end_s:
        content: dict[str, Any] = there.get("/api/session").json()
        if is_so(content):
            return content
        time.sleep(0.05)
    raise AssertionError("it never came to be")


def test_killed_in_the_middle_nothing_is_lost_and_nothing_is_half(samples: Path, tmp_path: Path) -> None:
    """A copy under way waits; what was tapped and the clip survive SIGKILL; the numbers are those of a run by itself."""
    folder, lane = tmp_path / "today", samples / "full_240" / "lane.json"
    folder.mkdir()
    film = (samples / "full_240" / "clip.mp4").read_bytes()
    with session(folder, lane) as (process, there):
        there.post("/api/tap", json={"file": "", "athlete": "A1", "kind": "full approach"})
        with (folder / "run.mp4").open("wb") as copy:  # as a cable does, in pieces
            for begin in range(0, len(film), len(film) // 4 + 1):
                copy.write(film[begin : begin + len(film) // 4 + 1])
                copy.flush()
                content = until(there, lambda c: c["coming"] or c["doing"]["file"])
                assert begin + len(film) // 4 >= len(film) or not content["doing"]["file"]
        until(there, lambda c: c["doing"]["file"] == "run.mp4" and c["doing"]["what"] not in ("", "opening the clip"))
        process.send_signal(signal.SIGKILL)
        process.wait(60.0)
    assert (folder / "run.mp4").read_bytes() == film
    assert not (folder / "run_analysis").exists()

    with session(folder, lane) as (process, there):
        content = until(there, lambda c: c["runs"] and c["runs"][0]["pictures"])
        process.send_signal(signal.SIGINT)
        assert process.wait(60.0) == 0
    run = content["runs"][0]
    assert (run["athlete"], run["kind"]) == ("A1", "full approach")
    alone = tmp_path / "alone"
    said = ["--calib", str(lane), "--out", str(alone), "--quiet", "--athlete", "A1", "--kind", "full approach"]
    done = subprocess.run([*ANALYSE, "analyse", str(folder / "run.mp4"), *said], check=False)
    assert done.returncode == 0
    assert (alone / "contacts.csv").read_bytes() == (folder / "run_analysis" / "contacts.csv").read_bytes()
    shutil.rmtree(alone)
