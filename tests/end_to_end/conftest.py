"""Small films that are analysed once for several tests."""

from __future__ import annotations

import os
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

import av
import pytest

from golden import FILMS, analysed
from scenes import material, plain

ATHLETE, PLACE = "Grete Beispiel", "Sporthalle"


def penult(*words: object, cache: Path) -> subprocess.CompletedProcess[str]:
    """Run the command line with a cache of its own."""
    env = {**os.environ, "PENULT_CACHE": str(cache)}
    return subprocess.run(
        [sys.executable, "-m", "penult", *map(str, words)], env=env, capture_output=True, text=True, check=False
    )


@dataclass(frozen=True)
class SmallJob:
    """A small film with telling names and metadata, its lane file, its result and the cache that holds its joints."""

    film: Path
    lane: Path
    result: Path
    cache: Path


@pytest.fixture(scope="session")
def small_job(tmp_path_factory: pytest.TempPathFactory) -> SmallJob:
    """Analyse a sample in small (two spectators stand in it)."""
    folder = plain(material("mat_two_240", 2, 2)).write(tmp_path_factory.mktemp("small"))
    film, lane = folder / f"{ATHLETE} {PLACE}.mp4", folder / f"{PLACE}.json"
    with av.open(str(folder / "clip.mp4")) as old, av.open(str(film), "w") as new:
        new.metadata.update({"location": "+52.5+013.4/", "comment": ATHLETE, "creation_time": "2026-05-01T10:00:00Z"})
        stream = new.add_stream_from_template(old.streams.video[0])
        for packet in old.demux(video=0):
            if packet.dts is not None:
                packet.stream = stream
                new.mux(packet)
    (folder / "clip.mp4").unlink()
    (folder / "lane.json").rename(lane)
    job = SmallJob(film=film, lane=lane, result=folder / "result", cache=folder / "cache")
    words = ("--athlete", ATHLETE, "--kind", f"{ATHLETE} special", "--quiet", "--out", job.result)
    done = penult("analyse", film, "--calib", lane, *words, cache=job.cache)
    assert done.returncode == 0, done.stderr
    return job


@pytest.fixture(scope="session")
def results(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """Result folders of the three sample films, each analysed once."""
    folder = tmp_path_factory.mktemp("results")
    return {film: analysed(film, folder / film) for film in FILMS}
