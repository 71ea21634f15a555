# ruff: noqa: PLC0415  # a command: it prints, and loads what it needs when it needs it
"""Broken and hostile files for every reader: python tests/bench/fuzz.py RESULT [--seconds 60] [--examples 2000] [--guided 0].

RESULT is a result folder of a recent analysis (with motion.npz and sighting.npz in it). Three ways, each for each reader,
the clip reader included: mutants of sound files for so many --seconds, and until there are --least so many; --examples made
by hypothesis; --guided cases that atheris steers by coverage, where it is installed. Every reader runs in a child process
with bounded memory, because a fault in a decoder would end this one. Prints cases, what was read and refused, every
finding, and the sum; exit 1 with findings.
"""

from __future__ import annotations

import argparse
import dataclasses
import importlib.util
import json
import os
import random
import resource
import subprocess
import sys
import tempfile
import time
import warnings
from collections.abc import Callable
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT / "tests"))

MOST_MEMORY_BYTES = 6_000_000_000
ONE_CHILD_S = 60.0
LAST = "last_case"
STUCK_S = 120.0
"""A child that has handed over no new case for so long waits for ever in some library."""
WAYS = ("mutants", "hypothesis", "atheris")


def main() -> None:
    """Run and print."""
    said = arguments()
    if said.child:
        child(said)
        return
    with tempfile.TemporaryDirectory(dir="/dev/shm" if Path("/dev/shm").is_dir() else None) as name:
        names = [n for n in json.loads(called(said, Path(name), "names", "")[0]) if said.only in n]
        print(f"{'reader':24s} {'mutants':>9s} {'hypothesis':>10s} {'atheris':>9s} {'read':>9s} {'refused':>9s}  found")
        totals = [one_reader(said, Path(name), reader) for reader in names]
    found = sum(t["found"] for t in totals)
    sums = [f"{sum(t[way] for t in totals)} {way}" for way in WAYS]
    print(f"fuzz: {sum(t[w] for t in totals for w in WAYS)} cases ({', '.join(sums)}), {found} findings\n")
    sys.exit(bool(found))


def arguments() -> argparse.Namespace:
    """Read the command line."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("result", type=Path)
    parser.add_argument("--seconds", type=float, default=60.0, help="of mutants for each reader")
    parser.add_argument("--clip-seconds", type=float, help="of mutants for the clip reader, if otherwise")
    parser.add_argument("--examples", type=int, default=2000, help="of hypothesis for each reader")
    parser.add_argument("--guided", type=int, default=0, help="cases of atheris for each reader")
    parser.add_argument("--least", type=int, default=0, help="mutants for each reader, however long they take")
    parser.add_argument("--only", default="", help="readers with this word in their name")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--keep", type=Path, help="folder for the files that were found")
    parser.add_argument("--child", help=argparse.SUPPRESS)
    parser.add_argument("--work", type=Path, help=argparse.SUPPRESS)
    return parser.parse_args()


def one_reader(said: argparse.Namespace, work: Path, reader: str) -> dict[str, int]:
    """Run the three ways on one reader, print its line and findings."""
    sums: dict[str, int] = dict.fromkeys((*WAYS, "read", "refused", "found"), 0)
    found: dict[str, str] = {}

    def add(way: str, **more: Any) -> None:
        last, how, case = called(said, work, way, reader, **more)
        part = json.loads(last) if last else {"cases": 1, "read": 0, "refused": 0, "found": {how: case.hex()}}
        sums[way] += part["cases"]
        sums["read"], sums["refused"] = sums["read"] + part["read"], sums["refused"] + part["refused"]
        found.update(part["found"])

    seconds = said.clip_seconds if said.clip_seconds is not None and reader == "clip" else said.seconds
    parts = max(round(seconds / ONE_CHILD_S), 1)
    for i in range(parts):
        add("mutants", seed=said.seed + i, seconds=seconds / parts, least=-(-said.least // parts))
    if said.examples:
        add("hypothesis")
    if said.guided and importlib.util.find_spec("atheris"):
        add("atheris")
    sums["found"] = len(found)
    counts = " ".join(f"{sums[w]:>{n}d}" for w, n in (*zip(WAYS, (9, 10, 9), strict=True), ("read", 9), ("refused", 9)))
    print(f"{reader:24s} {counts}  {len(found)}", *(f"\n    {what}" for what in found), flush=True)
    for i, data in enumerate(found.values()) if said.keep else ():
        said.keep.mkdir(parents=True, exist_ok=True)
        (said.keep / f"{reader.replace(' ', '_')}_{i}").write_bytes(bytes.fromhex(data))
    return sums


def called(said: argparse.Namespace, work: Path, way: str, reader: str, **more: Any) -> tuple[str, str, bytes]:
    """Run a child and return the last line it printed ('' if it died or stood still), how it ended, and its last case."""
    words = {"seconds": said.seconds, "examples": said.examples, "guided": said.guided, "seed": said.seed, **more}
    options = [w for key, value in words.items() for w in (f"--{key}", str(value))]
    with tempfile.TemporaryDirectory(dir=work) as own, tempfile.TemporaryFile("w+", errors="replace") as told:
        place = ["--child", way, "--only", reader, "--work", own]
        command = [sys.executable, __file__, str(said.result), *options, *place]
        run = subprocess.Popen(command, stdout=told, stderr=subprocess.STDOUT, text=True)
        is_stuck = stands_still(run, Path(own) / LAST)
        status = run.wait()
        case = (Path(own) / LAST).read_bytes() if (Path(own) / LAST).exists() else b""
        told.seek(0)
        lines = told.read().splitlines()
    end = f"stood still for {STUCK_S:.0f} s" if is_stuck else f"process ended: exit {status}"
    tail = " ".join(" ".join(lines).split())[-300:]
    return lines[-1] if status == 0 and lines else "", f"{end} (seed {words['seed']}) {tail}", case


def stands_still(run: subprocess.Popen[str], last: Path) -> bool:
    """Wait for a child; end it, and say so, when it has handed over no new case for long."""
    while True:
        try:
            run.wait(timeout=5.0)
        except subprocess.TimeoutExpired:
            if last.exists() and time.time() - last.stat().st_mtime > STUCK_S:
                run.kill()
                return True
        else:
            return False


def child(said: argparse.Namespace) -> None:
    """Do one way on one reader in this process; print what came of it as one line."""
    warnings.simplefilter("ignore")
    os.environ["OPENCV_LOG_LEVEL"] = "OFF"
    if said.child == "atheris":
        import atheris

        with atheris.instrument_imports(include=["penult"]):
            from fuzz_targets import targets
    else:
        resource.setrlimit(resource.RLIMIT_AS, (MOST_MEMORY_BYTES, MOST_MEMORY_BYTES))
        from fuzz_targets import targets
    known = {t.name: t for t in targets(said.result, said.work)}
    if said.child == "names":
        print(json.dumps(list(known)))
        return
    ways: dict[str, Callable[..., Any]] = {"mutants": mutated, "hypothesis": made_up, "atheris": guided}
    folder = said.work / "case"
    folder.mkdir()
    report(ways[said.child](noted(known[said.only], said.work / LAST), said, folder))


def noted(target: Any, last: Path) -> Any:
    """Return a target of which every case is kept in a file until the next one, for whoever finds the process dead."""

    def read(data: bytes, folder: Path) -> object:
        last.write_bytes(data)
        return target.read(data, folder)

    return dataclasses.replace(target, read=read)


def report(tally: Any) -> None:
    """Print a tally as the child's last line."""
    found = {what: data.hex() for what, data in tally.found.items()}
    print(
        "\n" + json.dumps({"cases": tally.cases, "read": tally.read, "refused": tally.refused, "found": found}),
        flush=True,
    )


def mutated(target: Any, said: argparse.Namespace, folder: Path) -> Any:
    """Hand mutants to one reader for a while."""
    from fuzzing import Tally, mutants

    tally, end = Tally(), time.monotonic() + said.seconds
    for data in mutants(target, random.Random(f"{said.seed} {target.name}")):
        tally.one(target, data, folder)
        if time.monotonic() > end and tally.cases >= said.least:
            break
    return tally


def made_up(target: Any, said: argparse.Namespace, folder: Path) -> Any:
    """Hand over files that hypothesis makes: odd values in the place of sound ones, or no file of that kind at all."""
    from hypothesis import HealthCheck, Phase, given, seed, settings

    from fuzzing import Tally
    from made_up_files import made_up_file

    tally = Tally()

    @seed(said.seed)
    @settings(
        max_examples=said.examples,
        database=None,
        deadline=None,
        phases=[Phase.generate],
        suppress_health_check=list(HealthCheck),
    )
    @given(made_up_file(target))
    def case(data: bytes) -> None:
        tally.one(target, data, folder)

    case()
    return tally


def guided(target: Any, said: argparse.Namespace, folder: Path) -> None:
    """Let atheris steer one reader by coverage; our own mutants are its moves. Never returns: libFuzzer ends the process."""
    import atheris

    from fuzzing import Tally, mutant

    corpus = said.work / "corpus"
    corpus.mkdir()
    for i, sound in enumerate(target.seeds):
        (corpus / str(i)).write_bytes(sound)
    tally = Tally()

    def one(data: bytes) -> None:
        tally.one(target, data, folder)
        if tally.cases >= said.guided:
            report(tally)
            os._exit(0)

    def move(data: bytes, most: int, number: int) -> bytes:
        draw = random.Random(number)
        if draw.random() < 0.3:
            return bytes(atheris.Mutate(data, most))
        return mutant(target, data, draw)[:most]

    longest = max(len(s) for s in target.seeds) * 2 + 4000
    options = [f"-max_len={longest}", "-rss_limit_mb=6000", "-timeout=30", f"-seed={said.seed}", "-verbosity=0"]
    atheris.Setup([sys.argv[0], str(corpus), *options], one, custom_mutator=move)
    atheris.Fuzz()


if __name__ == "__main__":
    main()
