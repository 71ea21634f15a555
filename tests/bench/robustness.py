# ruff: noqa: PLC0415  # a command: it prints, and loads what it needs when it needs it
"""Figures of robustness: python tests/bench/robustness.py [--scenes] [--files] [--kills 200] [--fuzz 60] [--only WORD].

--scenes: every hard scene, the right answer or a refusal. --files: every film of $PENULT_SHARED/clips against the facts
that are known of it (times, size, orientation, or the reason of a refusal). --kills N: kill -9 at random moments. --fuzz
SECONDS for each reader, with --clip-seconds, --least, --examples and --guided as tests/bench/fuzz.py has them. Without any of the
four: all, in about twenty minutes. Not part of the test gate.
"""

from __future__ import annotations

import argparse
import importlib.util
import json
import os
import subprocess
import sys
import tempfile
import traceback
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT / "tests"))

from accidents import command, environment, fault_of, killed  # noqa: E402
from scenes import MEASURED, REFUSED, faults, material, plain  # noqa: E402

SHORT = {"kills": 20, "fuzz": 8.0, "clip_seconds": 60.0, "examples": 200}
"""What twenty minutes allow."""


def main() -> None:
    """Run and print."""
    said = arguments()
    with tempfile.TemporaryDirectory() as name:
        work = Path(name)
        bad = 0
        if said.scenes:
            bad += scenes(work, said.only)
        if said.files:
            bad += files()
        if said.kills or said.fuzz:
            place, result = sample(work)
            bad += kills(place, result, said.kills) if said.kills else 0
            bad += fuzz(result, said) if said.fuzz else 0
    sys.exit(bool(bad))


def arguments() -> argparse.Namespace:
    """Read the command line."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--scenes", action="store_true")
    parser.add_argument("--files", action="store_true")
    parser.add_argument("--kills", type=int, default=0)
    parser.add_argument("--fuzz", type=float, default=0.0, help="seconds of mutants for each reader")
    parser.add_argument("--clip-seconds", type=float, help="of mutants for the clip reader, if otherwise")
    parser.add_argument("--least", type=int, help="mutants for each reader, however long they take")
    parser.add_argument("--examples", type=int, help="of hypothesis for each reader")
    parser.add_argument("--guided", type=int, help="cases of atheris for each reader")
    parser.add_argument("--only", default="", help="scenes with this word in their name")
    said = parser.parse_args()
    if not (said.scenes or said.files or said.kills or said.fuzz):
        said.scenes = said.files = True
        for name, value in SHORT.items():
            setattr(said, name, getattr(said, name) or value)
    return said


def fuzz(result: Path, said: argparse.Namespace) -> int:
    """Give every reader broken files; return the exit status."""
    more = {"clip-seconds": said.clip_seconds, "least": said.least, "examples": said.examples, "guided": said.guided}
    options = [w for key, value in more.items() if value is not None for w in (f"--{key}", str(value))]
    script = str(Path(__file__).with_name("fuzz.py"))
    words = [sys.executable, script, str(result), "--seconds", str(said.fuzz), *options]
    return subprocess.run(words, check=False).returncode


def loaded(path: Path) -> Any:
    """Import a file of tests, which lies in no package."""
    spec = importlib.util.spec_from_file_location(f"of_{path.parent.name}_{path.stem}", path)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[module.__name__] = module
    spec.loader.exec_module(module)
    return module


def scenes(work: Path, only: str) -> int:
    """Analyse every hard scene; return how many went wrong."""
    made = {**{k: (v, None) for k, v in MEASURED.items()}, **REFUSED}
    bad = tried = values = 0
    for i, (name, (make, word)) in enumerate(made.items()):
        if only not in name:
            continue
        place = make().write(work / f"scene{i}")
        more = json.loads((place / "arguments.json").read_text())
        words = command(place / "clip.mp4", place / "lane.json", place / "result", *more)
        done = subprocess.run(words, env=environment(work / "cache"), capture_output=True, text=True, check=False)
        tried += 1
        if done.returncode == 0:
            result, truth = (
                json.loads(p.read_text()) for p in (place / "result" / "analysis.json", place / "truth.json")
            )
            wrong = list(faults(truth, result)) if word is None else ["it was measured"]
            got = count(result)
            values += got
            verdict = f"{got} values, {len(wrong)} wrong"
        else:
            errors = [line for line in done.stderr.splitlines() if line.startswith("error: ")]
            line = errors[0][7:] if errors else done.stderr[-200:]
            wrong = (
                []
                if done.returncode in (2, 3) and (word is None or word in done.stderr)
                else [f"exit {done.returncode}: {' '.join(done.stderr.split())[-300:]}"]
            )
            verdict = f"refused: {line}"
        bad += bool(wrong)
        print(f"{name:42s} {verdict}", *(f"\n    {w}" for w in wrong), flush=True)
    print(f"scenes: {tried} tried, {values} values, {bad} scenes with a wrong value or a wrong end\n")
    return bad


def count(result: dict) -> int:
    """How many values a result holds."""
    parts = [*result["contacts"], *result["steps"], result["penultimate"], result["takeoff"]]
    return sum(isinstance(v, dict) and "value" in v for part in parts for v in part.values())


def files() -> int:
    """Hold every odd file of $PENULT_SHARED/clips against its facts, with the checks of the tests; open all others."""
    shared = os.environ.get("PENULT_SHARED")
    if not shared:
        print("files: PENULT_SHARED names no folder of films\n")
        return 0
    odd, made = (loaded(ROOT / "tests" / "adapters" / f"{name}.py") for name in ("test_odd_files", "conftest"))
    bad = 0
    folders = sorted(p for p in Path(shared, "clips").iterdir() if p.is_dir())
    for folder in folders:
        films = sorted(p for p in folder.iterdir() if p.is_file() and p.suffix.lower() not in {".md", ".txt", ".py"})
        faults = {p.name: list(wrong(odd, made, p)) for p in films}
        counts = (sum(p.name in known for p in films) for known in (odd.READS, odd.REFUSES))
        print(
            f"files in {folder.name}: {len(films)}", *(f"{n} {w}" for n, w in zip(counts, FACTS, strict=True)), sep=", "
        )
        print(
            f"    {sum(map(bool, faults.values()))} wrong", *(f"\n    {n}: {f}" for n, fs in faults.items() for f in fs)
        )
        bad += sum(map(bool, faults.values()))
    print(f"files: {bad} wrong in {len(folders)} folders\n", flush=True)
    return bad


FACTS = ("to be read with stated times, size and orientation", "to be refused for a stated reason")


def wrong(odd: Any, made: Any, path: Path) -> Iterator[str]:
    """Yield what is not as it should be of one film: the tests' own checks, or, without facts, any crash."""
    facts = {
        odd.test_the_facts_of_an_odd_file: (odd.READS, ()),
        odd.test_the_stamp_of_the_first_frame_is_kept: (odd.STARTS, (odd.STARTS.get(path.name),)),
        odd.test_a_turned_odd_file_stands_upright: (odd.TURNED, ()),
        odd.test_an_odd_file_is_refused: (odd.REFUSES, ()),
    }
    checks = [(check, (path.name, *more)) for check, (known, more) in facts.items() if path.name in known]
    if path.name == odd.MIRRORED:
        checks.append((odd.test_an_odd_file_that_is_turned_and_mirrored_is_both, (made.Tools, path.name)))
    for check, words in checks or [(opened, (path,))]:
        try:
            check(*words)
        except BaseException as error:  # pytest's own failures are no Exception
            if isinstance(error, KeyboardInterrupt):
                raise
            yield f"{check.__name__}: {' '.join(traceback.format_exc(limit=-1).split())[-300:]}"


def opened(path: Path) -> None:
    """Open a film of which no facts are stated: it opens, or is refused with words."""
    from penult.adapters.film import video
    from penult.errors import PenultError

    with suppress(PenultError):
        assert len(video.open_clip(path).time_s) > 1


def sample(work: Path) -> tuple[Path, Path]:
    """A small film, analysed once."""
    place = plain(material("full_240", 2, 2)).write(work / "sample")
    words = command(place / "clip.mp4", place / "lane.json", place / "result")
    subprocess.run(words, env=environment(work / "cache"), check=True)
    return place, place / "result"


def kills(place: Path, result: Path, number: int) -> int:
    """Kill the job at random moments, then let it end."""
    out = killed(place / "clip.mp4", place / "lane.json", result, result.parents[1] / "cache", number)
    last = command(place / "clip.mp4", place / "lane.json", result)
    again = subprocess.run(last, env=environment(result.parents[1] / "cache"), check=False).returncode
    left = [p.name for p in place.iterdir() if p.name.startswith(".")]
    print(
        f"kills: {out.done} jobs, {out.done - out.finished} killed before their end, {out.whole} whole results after it, "
        f"{len(out.broken)} broken; rerun ends with {again}, result {fault_of(result) or 'whole'}, left over: {left or 'nothing'}\n"
    )
    print(*out.broken, sep="\n")
    return len(out.broken) + again + bool(left)


if __name__ == "__main__":
    main()
