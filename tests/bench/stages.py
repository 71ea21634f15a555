# ruff: noqa: PLC0415  # a command: it prints, and loads what it times when it times it
"""Where the time of one analysis goes: python tests/bench/stages.py [FILM] [--again LANE].

Wall seconds, CPU seconds of all threads, and resident memory after each stage, in the order in which the stages end.
A stage within another (decoding, one inference) is counted in both. --again measures a second time with another lane
file, joints and whatever else is kept coming from the first.
"""

from __future__ import annotations

import argparse
import os
import shutil
import sys
import tempfile
import time
from collections.abc import Callable
from functools import wraps
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parents[2]
STAGES = {
    "penult.app.fresh": ("fresh",),
    "penult.adapters.film.video": ("FirstReading",),
    "penult.app.cameras": ("first_look",),
    "penult.app.joints.Looking": ("first_track",),
    "penult.app.see": ("see", "look_closer", "locate"),
    "penult.app.shoes.ShoeLook": ("contacts",),
    "penult.app.trunk.TrunkLook": ("motions",),
    "penult.core.corrections.outcome": ("outcome_of",),
    "penult.app.pictures": ("write_pictures",),
    "penult.app.pictures._Page": ("_make",),
}


def main() -> None:
    """Run and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("film", nargs="?", type=Path, default=ROOT / "samples" / "full_240")
    parser.add_argument("--again", type=Path)
    said = parser.parse_args()
    with tempfile.TemporaryDirectory() as place:
        os.environ["PENULT_CACHE"] = f"{place}/cache"
        begun = time.process_time()
        from penult.app.analyse import analyse
        from penult.model.settings import Settings

        watch()
        print(f"{'stage':28s} {'wall s':>7s} {'CPU s':>7s} {'system':>7s} {'GB then':>8s}")
        print(f"{'first imports':28s} {'':7s} {time.process_time() - begun:7.2f}")
        for lane in [said.film / "lane.json", *([said.again] if said.again else [])]:
            out = Path(place) / "result"
            shutil.rmtree(out, ignore_errors=True)
            begun = time.process_time()
            analyse(said.film / "clip.mp4", lane, Settings(), out, lambda *_: None)
            print(f"{'all of it':28s} {'':7s} {time.process_time() - begun:7.2f}\n")


def watch() -> None:
    """Put a clock around every stage."""
    import importlib

    for place, names in STAGES.items():
        module, _, kind = place.rpartition(".") if place.rsplit(".", 1)[1].lstrip("_")[0].isupper() else (place, "", "")
        holder: Any = importlib.import_module(module)
        holder = getattr(holder, kind) if kind else holder
        for name in names:
            setattr(holder, name, timed(f"{kind or module.rsplit('.', 1)[1]}.{name}", getattr(holder, name)))


def timed(name: str, work: Callable[..., Any]) -> Callable[..., Any]:
    """Return the same function, telling what it took."""

    @wraps(work)
    def clocked(*given: Any, **named: Any) -> Any:
        wall_s, cpu_s, sys_s = time.perf_counter(), time.process_time(), os.times().system
        try:
            return work(*given, **named)
        finally:
            pages = int(Path("/proc/self/statm").read_text().split()[1]) if sys.platform == "linux" else 0
            gb = pages * 4096 / 1e9
            spent = (time.perf_counter() - wall_s, time.process_time() - cpu_s, os.times().system - sys_s)
            print(f"{name:28s} " + " ".join(f"{s:7.2f}" for s in spent) + f" {gb:8.2f}", flush=True)

    return clocked


if __name__ == "__main__":
    main()
