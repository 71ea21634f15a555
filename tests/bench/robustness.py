# ruff: noqa: PLC0415  # a command: it prints, and loads what it needs when it needs it
"""Figures of robustness: python tests/bench/robustness.py [--scenes] [--files] [--kills 200] [--fuzz 60] [--only WORD].

--scenes: every hard scene, the right answer or a refusal. --files: every container file of $PENULT_SHARED/clips and
$PENULT_SHARED/films, opened. --kills N: kill -9 at random moments. --fuzz SECONDS: for each reader (tests/bench/fuzz.py).
Without any of them: all, with small numbers. Not part of the test gate.
"""

from __future__ import annotations

import argparse
import json
import os
import subprocess
import sys
import tempfile
import traceback
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT / "tests"))

from accidents import command, environment, fault_of, killed  # noqa: E402
from scenes import MEASURED, REFUSED, faults, material, plain  # noqa: E402


def main() -> None:
    """Run and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--scenes", action="store_true")
    parser.add_argument("--files", action="store_true")
    parser.add_argument("--kills", type=int, default=0)
    parser.add_argument("--fuzz", type=float, default=0.0)
    parser.add_argument("--only", default="", help="scenes with this word in their name")
    said = parser.parse_args()
    if not (said.scenes or said.files or said.kills or said.fuzz):
        said.scenes, said.files, said.kills, said.fuzz = True, True, 10, 5.0
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
            if said.fuzz:
                fuzz = [
                    sys.executable,
                    str(Path(__file__).with_name("fuzz.py")),
                    str(result),
                    "--seconds",
                    str(said.fuzz),
                ]
                bad += subprocess.run(fuzz, check=False).returncode
    sys.exit(bool(bad))


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
                else [f"exit {done.returncode}"]
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
    """Open every film that is at hand."""
    from penult.adapters import video
    from penult.errors import PenultError

    shared = os.environ.get("PENULT_SHARED")
    if not shared:
        print("files: PENULT_SHARED names no folder of films\n")
        return 0
    opened = refused = crashed = 0
    for path in sorted(
        p for p in Path(shared, "clips").rglob("*") if p.is_file() and p.suffix.lower() not in {".md", ".txt", ".py"}
    ):
        try:
            clip = video.open_clip(path)
            opened += 1
            assert len(clip.time_s) > 1
        except PenultError:
            refused += 1
        except Exception:
            crashed += 1
            print(f"    {path.name}: {traceback.format_exc(limit=-1)}")
    print(
        f"files: {opened + refused + crashed} tried, {opened} opened, {refused} refused with words, {crashed} crashed\n"
    )
    return crashed


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
        f"kills: {out.done} jobs, {out.finished} of them ended before the kill, {out.whole} whole results after it, "
        f"{len(out.broken)} broken; rerun ends with {again}, result {fault_of(result) or 'whole'}, left over: {left or 'nothing'}\n"
    )
    print(*out.broken, sep="\n")
    return len(out.broken) + again + bool(left)


if __name__ == "__main__":
    main()
