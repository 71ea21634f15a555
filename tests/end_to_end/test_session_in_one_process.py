"""A folder of clips in one process: what they share leaves no trace in what comes out."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from scenes import material, plain

pytestmark = pytest.mark.slow


def penult(*words: object, cache: Path) -> subprocess.CompletedProcess[str]:
    env = {**os.environ, "PENULT_CACHE": str(cache), "PENULT_WORKERS": "2"}
    return subprocess.run(
        [sys.executable, "-m", "penult", *map(str, words)], env=env, capture_output=True, text=True, check=False
    )


def test_neighbouring_clips_give_what_each_gives_alone(tmp_path: Path) -> None:
    """Fails if the page, the film or the numbers of one clip come from its neighbour's, whose stages overlap with its own."""
    folder = plain(material("mat_two_240", 2, 2)).write(tmp_path / "made")
    clips = tmp_path / "clips"
    clips.mkdir()
    for number in range(2):
        box = (16 + 8).to_bytes(4, "big") + b"free" + number.to_bytes(16, "big")  # players pass over it
        (clips / f"clip_{number}.mp4").write_bytes((folder / "clip.mp4").read_bytes() + box)
    lane, cache = folder / "lane.json", tmp_path / "cache"

    done = penult("session", clips, "--calib", lane, "--quiet", cache=cache)

    assert done.returncode == 0, done.stderr
    alone = tmp_path / "alone"
    done = penult("analyse", clips / "clip_1.mp4", "--calib", lane, "--out", alone, "--quiet", cache=cache)
    assert done.returncode == 0, done.stderr
    for name in ("analysis.json", "summary.html", "contacts.csv", "overlay.mp4"):
        assert (clips / "clip_1_analysis" / name).read_bytes() == (alone / name).read_bytes(), name
    assert "clip_0.mp4" in (clips / "clip_0_analysis" / "analysis.json").read_text(encoding="utf-8")
    assert not [path for path in clips.iterdir() if path.name.startswith(".") and path.is_dir()]
