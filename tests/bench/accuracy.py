"""Accuracy on films with known truth: accuracy.py [FILMS] [--keep RESULTS] [--save FILE] [--lanes FOLDER].

FILMS is a folder of film folders (else $PENULT_SHARED/films, else samples/). Every film is analysed through the command
line; the table gives each measure by frame rate and overall, its bar, and beside it the figures of the previous release
(tests/bench/accuracy_previous.json; --save writes such a file).
"""

from __future__ import annotations

import argparse
import json
import os
import subprocess
import sys
import tempfile
from collections.abc import Sequence
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT / "tests"))

from scoring import BARS, UNITS, Score, bar_factor, contact_faults, load, score_film, unit_of  # noqa: E402

PREVIOUS = Path(__file__).with_name("accuracy_previous.json")


def main() -> None:
    """Run and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    shared = os.environ.get("PENULT_SHARED")
    parser.add_argument("films", nargs="?", type=Path, default=Path(shared) / "films" if shared else ROOT / "samples")
    parser.add_argument("--keep", type=Path, help="folder for the results; existing ones are used again when unchanged")
    parser.add_argument("--save", type=Path, help="write the figures, for the next release's column")
    parser.add_argument(
        "--lanes", type=Path, help="folder of <film>.json to measure with in place of each film's lane.json"
    )
    said = parser.parse_args()
    keep = said.keep or Path(tempfile.mkdtemp())
    groups: dict[str, dict[str, Score]] = {}
    for film in sorted(p.parent for p in said.films.glob("*/truth.json")):
        truth = load(film / "truth.json")
        lane = film / "lane.json" if said.lanes is None else said.lanes / f"{film.name}.json"
        if not lane.exists():
            continue
        result = analysed(film, lane, keep / film.name)
        if result is None:
            continue
        faults = contact_faults(truth, result)
        warned = [w["code"] for w in result["warnings"]]
        print(f"{film.name:18s} {'; '.join(faults) or 'contacts right'}   warnings: {', '.join(warned) or 'none'}")
        group = f"bars x {bar_factor(truth['timing']):g}"
        for name in (group, "all films"):
            for measure, score in score_film(truth, result).items():
                groups.setdefault(name, {}).setdefault(measure, Score()).add(score)
    previous = json.loads(PREVIOUS.read_text()) if PREVIOUS.exists() else {}
    for group, rows in sorted(groups.items()):
        show(group, rows, previous.get(group, {}))
    if said.save:
        figures = {g: {m: s.rms for m, s in rows.items()} for g, rows in groups.items()}
        said.save.write_text(json.dumps(figures, indent=1))


def arguments_of(film: Path) -> list[str]:
    """Return what a coach would add on the command line."""
    return load(film / "arguments.json") if (film / "arguments.json").exists() else []


def analysed(film: Path, lane: Path, out: Path, more: Sequence[str] | None = None) -> dict | None:
    """Analyse one film through the command line, with what its coach adds or with other words."""
    more = arguments_of(film) if more is None else more
    command = [sys.executable, "-m", "penult", "analyse", str(film / "clip.mp4"), "--calib", str(lane)]
    # of its own: two films here are one clip, and the joints that one was first looked at with would serve the other
    cache = Path(os.environ.get("PENULT_CACHE", out.parent / "cache")) / film.name
    env = {**os.environ, "PENULT_CACHE": str(cache)}
    words = [*command, "--out", str(out), "--quiet", *more]
    done = subprocess.run(words, env=env, capture_output=True, text=True, check=False)
    if done.returncode:
        print(f"{film.name:18s} exit {done.returncode}: {done.stderr.strip()[-400:]}")
        return None
    return load(out / "analysis.json")


def show(group: str, rows: dict[str, Score], previous: dict[str, float]) -> None:
    """Print one table."""
    factor = float(group.rsplit(" ", 1)[1]) if group.startswith("bars") else 0.0
    print(f"\n{group}\n{'measure':44s} unit  true  got    bias     RMS     bar  before   max  in u95    u95")
    total = inside = 0
    for name, s in rows.items():
        unit = unit_of(name.split(" ")[0])
        k = UNITS[unit]
        bar = BARS[name].rms * factor if name in BARS and factor else float("nan")
        mark = " !" if s.rms * k > bar else ""
        before = previous.get(name, float("nan")) * k
        worst = max(map(abs, s.errors), default=float("nan")) * k
        print(
            f"{name:44s} {unit:4s} {s.true:5d} {len(s.errors):4d} {s.bias * k:7.2f} {s.rms * k:7.2f} {bar:7.2f} {before:7.2f}"
            f" {worst:6.2f} {s.inside:6.0%} {s.median_u95 * k:7.2f}{mark}"
        )
        if " of the " not in name:
            total += len(s.errors)
            inside += round(s.inside * len(s.errors))
    print(f"all measures: {inside / max(total, 1):.1%} of {total} true values inside their stated u95")


if __name__ == "__main__":
    main()
