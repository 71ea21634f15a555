"""Accuracy on films with known truth: accuracy.py [SETS ...] [--keep RESULTS] [--save FILE] [--lanes FOLDER] [--results].

Each of SETS is a folder of film folders (else $PENULT_SHARED/films*, else samples/). Every film is analysed through the
command line (with --results what lies in RESULTS is taken as it is). Printed: one line a film; per measure and frame rate its
bias, RMS and largest error, bar, the previous release's RMS, how many are inside u95, beyond 3 u95 and not measured, and the
median u95; and the same shares per condition of the films (light, clothes, people, feet ...).
tests/bench/accuracy_previous.json holds the previous release; --save writes such a file.
"""

from __future__ import annotations

import argparse
import json
import os
import subprocess
import sys
import tempfile
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT / "tests"))

from scoring import BARS, UNITS, Score, bar_factor, contact_faults, load, score_film, unit_of  # noqa: E402

PREVIOUS = Path(__file__).with_name("accuracy_previous.json")
Groups = dict[str, dict[str, Score]]


def main() -> None:
    """Run and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("sets", nargs="*", type=Path)
    parser.add_argument("--keep", type=Path, help="folder for the results; existing ones are used again when unchanged")
    parser.add_argument("--save", type=Path, help="write the figures, for the next release's column")
    parser.add_argument(
        "--lanes", type=Path, help="folder of <film>.json to measure with in place of each film's lane.json"
    )
    parser.add_argument("--results", action="store_true", help="take the results in KEEP as they are")
    said = parser.parse_args()
    keep = said.keep or Path(tempfile.mkdtemp())
    sets = said.sets or default_sets()
    tables: Groups = {}
    factors: Groups = {}
    for films in sets:
        place = keep / films.name if len(sets) > 1 else keep
        for film, truth, result in results(films, place, said.lanes, as_they_are=said.results):
            scored = score_film(truth, result)
            print(film_line(f"{films.name}/{film.name}", truth, result, scored))
            for group in (f"bars x {bar_factor(truth['timing']):g}", "all films"):
                add(tables, group, scored)
            for factor in conditions(films.name, truth):
                add(factors, factor, scored)
    previous = json.loads(PREVIOUS.read_text()) if PREVIOUS.exists() else {}
    for group, rows in sorted(tables.items()):
        show(group, rows, previous.get(group, {}))
    show_factors(factors)
    if said.save:
        figures = {g: {m: s.rms for m, s in rows.items()} for g, rows in tables.items()}
        said.save.write_text(json.dumps(figures, indent=1))


def default_sets() -> list[Path]:
    """Return every set of films beside the first, or the samples."""
    shared = os.environ.get("PENULT_SHARED")
    return sorted(Path(shared).glob("films*")) if shared else [ROOT / "samples"]


def results(
    films: Path, keep: Path, lanes: Path | None, *, as_they_are: bool
) -> Iterator[tuple[Path, dict[str, Any], dict[str, Any]]]:
    """Yield every film of a set with its truth and its result."""
    for film in sorted(p.parent for p in films.glob("*/truth.json")):
        lane = film / "lane.json" if lanes is None else lanes / f"{film.name}.json"
        if not lane.exists():
            continue
        kept = keep / film.name / "analysis.json"
        result = (load(kept) if kept.exists() else None) if as_they_are else analysed(film, lane, keep / film.name)
        if result is not None:
            yield film, load(film / "truth.json"), result


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


def conditions(films: str, truth: Mapping[str, Any]) -> Iterator[str]:
    """Yield the conditions that a film was made under, as its truth names them."""
    yield f"set: {films}"
    rate = truth["timing"]["capture_rate_hz"]
    yield f"rate: {rate:.0f} Hz"
    yield "feet: roll over an edge" if "feet" in truth else "feet: land flat"
    made = truth.get("conditions")
    if not made:
        yield "place: hall, even light, tight clothes"
        return
    clothes = made["clothes"]
    yield f"clothes: {clothes['top']} top, {clothes['bottom']} bottom"
    sun = made["sun"]
    yield "light: " + ("floodlights" if made["floods"] else "clouds" if made["cloud"] else "sun" if sun else "even")
    yield "people: " + (
        "cross the picture" if made["jogger"] or made["passer"] else "walk by" if made["walkers"] else "none"
    )
    yield f"coding: {made['codec']}, {'below' if made['mbit'] < 12 else 'from'} 12 Mbit/s"


def add(groups: Groups, group: str, scored: Mapping[str, Score]) -> None:
    """Add one film's scores to a group."""
    rows = groups.setdefault(group, {})
    for measure, score in scored.items():
        rows.setdefault(measure, Score()).add(score)


def film_line(name: str, truth: Mapping[str, Any], result: Mapping[str, Any], scored: Mapping[str, Score]) -> str:
    """Return one film's line: contacts, shares, warnings."""
    faults = contact_faults(truth, result)
    warned = [w["code"] for w in result["warnings"]]
    return f"{name:30s} {shares(scored)}  {'; '.join(faults) or 'contacts right'}   warnings: {', '.join(warned) or 'none'}"


def whole(rows: Mapping[str, Score]) -> Score:
    """Return all measures together; those split by contact once."""
    total = Score()
    for name, score in rows.items():
        if " of the " not in name:
            total.add(score)
    return total


def shares(rows: Mapping[str, Score]) -> str:
    """Return how many values are inside u95, beyond three of them, and not measured."""
    total = whole(rows)
    got = len(total.errors)
    return (
        f"{got:5d} values {total.inside:6.1%} inside u95, {total.beyond:3d} beyond 3 u95, "
        f"{(total.true - got) / max(total.true, 1):6.1%} not measured"
    )


def show_factors(factors: Groups) -> None:
    """Print the shares of every condition."""
    print("\nby condition")
    for name, rows in sorted(factors.items()):
        print(f"{name:44s} {shares(rows)}")


def show(group: str, rows: dict[str, Score], previous: dict[str, float]) -> None:
    """Print one table."""
    factor = float(group.rsplit(" ", 1)[1]) if group.startswith("bars") else 0.0
    head = "unit  true  none    bias     RMS     bar  before   max  in u95 >3u95    u95"
    print(f"\n{group}\n{'measure':44s} {head}")
    for name, s in rows.items():
        unit = unit_of(name.split(" ")[0])
        k = UNITS[unit]
        bar = BARS[name].rms * factor if name in BARS and factor else float("nan")
        mark = " !" if s.rms * k > bar else ""
        before = previous.get(name, float("nan")) * k
        worst = max(map(abs, s.errors), default=float("nan")) * k
        counted = f"{s.true:5d} {s.true - len(s.errors):5d}"
        errors = f"{s.bias * k:7.2f} {s.rms * k:7.2f} {bar:7.2f} {before:7.2f} {worst:6.2f}"
        print(f"{name:44s} {unit:4s} {counted} {errors} {s.inside:6.0%} {s.beyond:5d} {s.median_u95 * k:7.2f}{mark}")
    print(f"all measures: {shares(rows)}")


if __name__ == "__main__":
    main()
