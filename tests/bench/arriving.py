"""How long a coach waits: from a clip's last byte in the folder to its numbers on the page.

python tests/bench/arriving.py [FILM] [--clips N]

FILM is a folder with clip.mp4 and lane.json (samples/full_240 by default). A session is started as a coach starts it; a first
clip lets the process load; then what is kept of its joints is deleted, and so many copies of the clip come into the folder one
after the other, each written in pieces as a slow cable does. Of each: seconds from its last byte until it is begun, until its
numbers stand in what the page asks for, until its pictures do; as ratios to the yardstick of `speed.py` of the same run, to be
read on a machine that does nothing else. At the end all of them at once: a whole session against so many single runs.
"""

from __future__ import annotations

import argparse
import os
import re
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from statistics import median
from typing import Any

import httpx
from speed import ROOT, command, yardstick

BAR = 0.75
PIECES = 20
EMPTY_BOX = b"\0\0\0\x08free"  # at an MP4's end it makes another file of the same film
LIMIT_S = 600.0


def main() -> None:
    """Run and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("film", nargs="?", type=Path, default=ROOT / "samples" / "full_240")
    parser.add_argument("--clips", type=int, default=3)
    said = parser.parse_args()
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        os.environ["PENULT_CACHE"] = str(folder / "cache")
        os.environ["PENULT_LOGBOOK"] = str(folder / "book" / "log.sqlite")
        single_s = single(said.film, folder)
        decode_s, pose_s, _ = yardstick(said.film, folder / "result")
        yard_s = decode_s + pose_s
        print(f"yardstick {yard_s:.2f} s; a single run {single_s:.2f} s = {single_s / yard_s:.3f} x")
        with session(said.film, folder / "today") as there:
            one_by_one(there, said.film, folder, said.clips, yard_s)
            at_once(there, said.film, folder, said.clips, single_s)


def single(film: Path, folder: Path) -> float:
    """Return the seconds of one run by the command line, nothing kept."""
    arguments = ["analyse", str(film / "clip.mp4"), "--calib", str(film / "lane.json"), "--quiet"]
    return command([*arguments, "--out", str(folder / "result")]).wall_s


@contextmanager
def session(film: Path, folder: Path) -> Iterator[httpx.Client]:
    """Start a session that stays, with its first clip measured."""
    folder.mkdir()
    arguments = ["session", str(folder), "--calib", str(film / "lane.json"), "--stay", "--no-browser"]
    with subprocess.Popen([sys.executable, "-m", "penult", *arguments], stderr=subprocess.PIPE, text=True) as process:
        assert process.stderr is not None
        found = re.match(r"open (\S+)", process.stderr.readline())
        assert found
        try:
            with httpx.Client(base_url=found[1].split("/open", maxsplit=1)[0], timeout=60.0) as there:
                there.get(found[1], follow_redirects=True)
                come(folder / "first.mp4", (film / "clip.mp4").read_bytes())
                reached(there, "first.mp4", time.perf_counter())
                yield there
        finally:
            process.send_signal(signal.SIGINT)


def one_by_one(there: httpx.Client, film: Path, folder: Path, count: int, yard_s: float) -> None:
    """Each when the one before is done, with nothing kept of it."""
    content = (film / "clip.mp4").read_bytes()
    print(f"{'':10s} begun s  numbers s  x yardstick  pictures s  x yardstick   (numbers: bar {BAR})")
    ratios = []
    for number in range(count):
        shutil.rmtree(folder / "cache", ignore_errors=True)
        clip = folder / "today" / f"run{number}.mp4"
        come(clip, content + EMPTY_BOX * (number + 1))
        begun_s, numbers_s, pictures_s = reached(there, clip.name, time.perf_counter())
        ratios.append(numbers_s / yard_s)
        print(
            f"{clip.stem:10s} {begun_s:7.2f}  {numbers_s:9.2f}  {ratios[-1]:11.3f}  {pictures_s:10.2f}  {pictures_s / yard_s:11.3f}"
        )
    print(f"numbers, median: {median(ratios):.3f} x yardstick{'' if median(ratios) <= BAR else ' !'}")


def at_once(there: httpx.Client, film: Path, folder: Path, count: int, single_s: float) -> None:
    """All of them in the folder at the same moment: the whole session against so many single runs."""
    shutil.rmtree(folder / "cache", ignore_errors=True)
    content = (film / "clip.mp4").read_bytes()
    names = [f"heap{number}.mp4" for number in range(count)]
    for number, name in enumerate(names):
        # other films would be looked at anew; of the same one the joints would be kept after the first
        come(folder / "today" / name, content + EMPTY_BOX * (number + 100), pause_s=0.0)
    begin = time.perf_counter()
    for name in names:
        reached(there, name, begin, clearing=folder / "cache")
    spent_s = time.perf_counter() - begin
    print(
        f"{count} clips at once: {spent_s:.1f} s = {spent_s / (count * single_s):.3f} x {count} single runs (bar {BAR})"
    )


def come(clip: Path, content: bytes, pause_s: float = 0.02) -> None:
    """Write a clip in pieces."""
    with clip.open("wb") as stream:
        for piece in range(PIECES):
            stream.write(content[piece * len(content) // PIECES : (piece + 1) * len(content) // PIECES])
            stream.flush()
            time.sleep(pause_s)


def reached(there: httpx.Client, name: str, since: float, clearing: Path | None = None) -> tuple[float, float, float]:
    """Return the seconds until a clip is begun, its numbers are there, its pictures are."""
    begun = numbers = None
    while time.perf_counter() - since < LIMIT_S:
        content: dict[str, Any] = there.get("/api/session").json()
        now = time.perf_counter() - since
        begun = now if begun is None and content["doing"]["file"] == name else begun
        run = next((r for r in content["runs"] if r["file"] == name), None)
        if run is not None and numbers is None:
            if run["error"]:
                raise SystemExit(f"{name}: {run['error']}")
            numbers = now
            if clearing is not None:
                shutil.rmtree(clearing, ignore_errors=True)
        if run is not None and run["pictures"]:
            return begun or now, numbers or now, now
        time.sleep(0.05)
    raise SystemExit(f"{name} was not measured within {LIMIT_S:.0f} s")


if __name__ == "__main__":
    main()
