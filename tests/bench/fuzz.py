# ruff: noqa: PLC0415  # a command: it prints, and loads what it needs when it needs it
"""Fuzz every reader: python tests/bench/fuzz.py RESULT [--seconds 60] [--only lane] [--seed 1] [--keep FOLDER] [--guided].

RESULT is a result folder of this version (with motion.npz and sighting.npz in it). --guided uses atheris, where it is
installed, to steer by coverage (one reader at a time, named with --only). Clips run in child processes, because a fault
in a decoder would end this one. Prints the cases, what was read and refused, and every finding; exit 1 with findings.
"""

from __future__ import annotations

import argparse
import random
import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT / "tests"))

from fuzzing import Tally, Target, bytes_mutant, mutants, targets  # noqa: E402

MOST_MEMORY_BYTES = 6_000_000_000


def main() -> None:
    """Run and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("result", type=Path)
    parser.add_argument("--seconds", type=float, default=60.0, help="for each reader")
    parser.add_argument("--only", default="")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--keep", type=Path, help="folder for the files that were found")
    parser.add_argument("--guided", action="store_true")
    parser.add_argument("--clip-child", type=Path, help=argparse.SUPPRESS)
    said = parser.parse_args()
    if said.clip_child:
        clip_cases(said.clip_child, said.seed)
        return
    resource.setrlimit(resource.RLIMIT_AS, (MOST_MEMORY_BYTES, MOST_MEMORY_BYTES))
    with tempfile.TemporaryDirectory(dir="/dev/shm" if Path("/dev/shm").is_dir() else None) as name:
        work = Path(name)
        chosen = [t for t in targets(said.result, work) if said.only in t.name]
        if said.guided:
            guided(chosen[0], work)
        totals = [shown(target, fuzzed(target, said, work), said.keep) for target in chosen]
        if said.only in "clip":
            totals.append(clips(said, work))
    print(f"all: {sum(t.cases for t in totals)} cases, {sum(len(t.found) for t in totals)} findings")
    sys.exit(any(t.found for t in totals))


def fuzzed(target: Target, said: argparse.Namespace, work: Path) -> Tally:
    """Hand mutants to one reader for a while."""
    tally, folder, end = Tally(), work / "case", time.monotonic() + said.seconds
    folder.mkdir(exist_ok=True)
    for data in mutants(target, random.Random(f"{said.seed} {target.name}")):
        tally.one(target, data, folder)
        if time.monotonic() > end:
            break
    return tally


def shown(target: Target, tally: Tally, keep: Path | None) -> Tally:
    """Print one reader's line, and keep what was found."""
    print(
        f"{target.name:24s} {tally.cases:9d} cases  {tally.read:9d} read  {tally.refused:9d} refused  {len(tally.found)} found"
    )
    for i, (what, data) in enumerate(tally.found.items()):
        print(f"    {what}")
        if keep:
            keep.mkdir(parents=True, exist_ok=True)
            (keep / f"{target.name.replace(' ', '_')}_{i}").write_bytes(data)
    sys.stdout.flush()
    return tally


def clips(said: argparse.Namespace, work: Path) -> Tally:
    """Broken clips, in children of 60 cases each."""
    from scenes import material, plain

    scene = plain(material("full_240", 6, 8))
    folder = scene.write(work / "clip")
    tally, end, seed = Tally(), time.monotonic() + said.seconds, said.seed
    while time.monotonic() < end:
        seed += 1
        command = [
            sys.executable,
            __file__,
            str(said.result),
            "--clip-child",
            str(folder / "clip.mp4"),
            "--seed",
            str(seed),
        ]
        done = subprocess.run(command, capture_output=True, text=True, timeout=600, check=False)
        lines = [line for line in done.stdout.splitlines() if line]
        cases, read, refused = (int(n) for n in lines[-1].split()) if done.returncode == 0 else (60, 0, 0)
        tally.cases, tally.read, tally.refused = tally.cases + cases, tally.read + read, tally.refused + refused
        for line in lines[:-1] if done.returncode == 0 else [f"the process ended with {done.returncode} (seed {seed})"]:
            tally.found.setdefault(line, b"")
    return shown(Target("clip", (), lambda _data, _folder: None), tally, None)


def clip_cases(path: Path, seed: int) -> None:
    """Read 60 broken versions of a clip; print findings, then the counts."""
    from penult.adapters import video

    def read(data: bytes, folder: Path) -> None:
        broken = folder / "broken.mp4"
        broken.write_bytes(data)
        clip = video.open_clip(broken)
        assert sum(1 for _ in video.grey_frames(broken, clip)) <= len(clip.time_s)

    tally, draw, whole = Tally(), random.Random(seed), path.read_bytes()
    target = Target("clip", (whole,), read, "bytes")
    with tempfile.TemporaryDirectory(dir=path.parent) as name:
        for _ in range(60):
            tally.one(target, bytes_mutant(whole, draw), Path(name))
    for what in tally.found:
        print(what)
    print(tally.cases, tally.read, tally.refused)


def guided(target: Target, work: Path) -> None:
    """Let atheris steer one reader by coverage; never returns."""
    import atheris

    folder, corpus = work / "case", work / "corpus"
    folder.mkdir()
    corpus.mkdir()
    for i, seed in enumerate(target.seeds):
        (corpus / str(i)).write_bytes(seed)
    tally = Tally()

    def one(data: bytes) -> None:
        before = len(tally.found)
        tally.one(target, data, folder)
        if len(tally.found) > before:
            print(list(tally.found)[-1], flush=True)

    atheris.instrument_all()
    atheris.Setup([sys.argv[0], str(corpus), "-max_len=20000"], one)
    atheris.Fuzz()


if __name__ == "__main__":
    main()
