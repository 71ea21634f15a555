"""Accidents that are really done: kills at random moments, and what is left of a result afterwards."""

from __future__ import annotations

import os
import random
import signal
import subprocess
import sys
import time
from dataclasses import dataclass, field
from pathlib import Path

import av

from penult.adapters.files.result_file import read_analysis, read_motion
from penult.errors import PenultError


@dataclass
class Kills:
    """What came of some kills."""

    done: int = 0
    whole: int = 0
    absent: int = 0
    finished: int = 0
    broken: list[str] = field(default_factory=list)


def command(film: Path, lane: Path, out: Path, *more: str) -> list[str]:
    """Return the command that analyses a film."""
    words = ["analyse", str(film), "--calib", str(lane), "--out", str(out), "--quiet", *more]
    return [sys.executable, "-m", "penult", *words]


def environment(cache: Path) -> dict[str, str]:
    """Return an environment with a cache of its own."""
    return {**os.environ, "PENULT_CACHE": str(cache)}


def fault_of(result: Path) -> str | None:
    """Return why a result folder is not a whole result, or None; a folder that is not there is no half result."""
    if not result.exists():
        return None
    try:
        read_analysis(result)
        read_motion(result)
        with av.open(str(result / "overlay.mp4")) as film:
            if sum(1 for _ in film.decode(video=0)) < 10:
                return "the film is short"
    except (PenultError, OSError, av.FFmpegError) as error:
        return f"{type(error).__name__}: {error}"
    missing = [
        n for n in ("summary.html", "contacts.csv", "steps.csv", "hip_path.csv") if not (result / n).stat().st_size
    ]
    return f"empty: {missing}" if missing else None


def killed(film: Path, lane: Path, out: Path, cache: Path, count: int, seed: int = 1) -> Kills:
    """Kill the job `count` times at random moments, the result being made anew each time, and look at what is left.

    Every run writes with another word of the coach, so that none is spared its work by the result before.
    """
    kills, draw, span_s = Kills(), random.Random(seed), 0.0
    for i in range(count):
        began = time.monotonic()
        run = subprocess.Popen(
            command(film, lane, out, "--kind", f"word {i}"),
            env=environment(cache),
            start_new_session=True,
            stderr=subprocess.DEVNULL,
        )
        if span_s:
            try:
                run.wait(timeout=draw.uniform(0.02, 1.0) * span_s)
            except subprocess.TimeoutExpired:
                os.killpg(run.pid, signal.SIGKILL)
        has_ended = run.wait() == 0
        kills.finished += has_ended
        span_s = time.monotonic() - began if has_ended or not span_s else span_s  # the machine is not always as quick
        kills.done += 1
        fault = fault_of(out)
        kills.whole += fault is None and out.exists()
        kills.absent += not out.exists()
        if fault:
            kills.broken.append(f"kill {i}: {fault}")
    return kills
