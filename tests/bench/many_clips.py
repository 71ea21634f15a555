"""How long compare and season take: ten clips from folders, and a logbook of 20 athletes x 40 sessions x 12 clips.

Run with `pytest -s tests/bench/many_clips.py`. Bars: 3 s for ten clips, 2 s for the logbook, a whole
command each, on a two-core machine.
"""

from __future__ import annotations

import os
import subprocess
import sys
import time
from datetime import date, timedelta
from pathlib import Path

import numpy as np
import pytest

from penult.adapters.logbook.book import opened
from penult.core.synthetic.invented import Form, Made, trial
from penult.model.analysis import Mat
from penult.model.trial import Said, Trial
from penult.outputs.folder.result import analysis_to_json

pytestmark = pytest.mark.bench

PLANS = (
    Form(athlete="", kind="mat drill", approach_strides=13, mats=(Mat(number=-1, thickness_m=0.05),), drop_m=0.015),
    Form(athlete="", kind="short approach", approach_strides=14, drop_m=0.04),
    Form(athlete="", kind="full approach", approach_strides=18, drop_m=0.05),
)


@pytest.fixture(scope="module")
def logbook(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a logbook of 9,600 invented clips."""
    path = tmp_path_factory.mktemp("many") / "log.sqlite"
    rng = np.random.default_rng(1)
    with opened(path, create=True) as log:
        for a in range(20):
            log.put_trials([_clip(rng, a, s, c) for s in range(40) for c in range(12)])
    return path


def _clip(rng: np.random.Generator, athlete: int, session: int, number: int) -> Trial:
    plan = PLANS[number % 3]
    form = Form(athlete=f"A{athlete + 1}", kind=plan.kind, mats=plan.mats, drop_m=plan.drop_m)
    day = (date(2026, 1, 5) + timedelta(days=4 * session)).isoformat()
    distance = 6.0 + 0.1 * float(rng.normal()) if number % 3 == 2 else None
    said = Said(date=day, session="hall", approach_strides=plan.approach_strides, official_distance_m=distance)
    return trial(rng, form, said, file=f"{session}_{number}.mp4", made=Made(lane=f"lane{session // 10}.json"))


def _best_s(tmp_path: Path, *arguments: str) -> float:
    """Return the shortest of three whole runs of the command, interpreter start included."""
    times, busy = [], []
    for i in range(3):
        start, before = time.perf_counter(), os.times()
        command = [
            sys.executable,
            "-c",
            "from penult.cli import main; main()",
            *arguments,
            "--out",
            str(tmp_path / str(i)),
            "--quiet",
        ]
        subprocess.run(command, check=True, capture_output=True, cwd=tmp_path)
        times.append(time.perf_counter() - start)
        after = os.times()
        busy.append(after.children_user + after.children_system - before.children_user - before.children_system)
    sys.stdout.write(f"\n{arguments[0]}: {min(times):.2f} s, {min(busy):.2f} s of one core (best of three)\n")
    return min(times)


def test_ten_clips_from_folders_in_under_three_seconds(tmp_path: Path) -> None:
    """Five against five result folders, page and tables written."""
    rng = np.random.default_rng(2)
    for number in range(10):
        one = _clip(rng, 0, 0, 2 * (number % 2))
        folder = tmp_path / "results" / f"{number}_analysis"
        folder.mkdir(parents=True)
        (folder / "analysis.json").write_text(analysis_to_json(one.analysis), encoding="utf-8")
        assert one.hip_path is not None
        rows = zip(one.hip_path.time_s, one.hip_path.x_m, one.hip_path.height_m, strict=True)
        text = "time_s,x_m,hip_height_m\n" + "".join(f"{t},{x},{h}\n" for t, x, h in rows)
        (folder / "hip_path.csv").write_text(text, encoding="utf-8")
    assert _best_s(tmp_path, "compare", str(tmp_path / "results")) < 3.0


def test_a_logbook_of_9600_clips_answers_compare_in_under_two_seconds(logbook: Path, tmp_path: Path) -> None:
    """All 160 mat drills of one athlete against all 160 full approaches."""
    groups = ("--first", "kind=mat drill", "--second", "kind=full approach")
    assert _best_s(tmp_path, "compare", "--logbook", str(logbook), "--athlete", "A7", *groups) < 2.0


def test_a_logbook_of_9600_clips_answers_season_in_under_two_seconds(logbook: Path, tmp_path: Path) -> None:
    """All 480 clips of one athlete."""
    assert _best_s(tmp_path, "season", "--logbook", str(logbook), "--athlete", "A7") < 2.0
