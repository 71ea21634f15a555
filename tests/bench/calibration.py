"""Calibration on films with known truth: calibration.py [FILMS] [--keep FOLDER] [--parts abcde].

FILMS is a folder of film folders (else $PENULT_SHARED/films, else samples/), each with still.jpg, marks.json, lane.json and
truth.json. Lane files are made through the command line and kept in FOLDER with results and joints, so that another run is
quick. Beside each figure stands its bar; what misses one is listed at the end.

a  printed markers in the still alone: pole marks and board corners, which were not used, in the run plane; under it the
   same with the camera's distance from a tape, as the instructions want it
b  ground-only marks (films with cones on both sides): pole marks in the run plane, and accuracy with that lane file
c  accuracy of all films with the lane files of a; beside it ("before") the same films with their own lane.json
d  each mark mistyped by 0.5 m along the run or upwards: is it named?
e  all places too long or too short by the same share: is it noticed from the stated height or a distance measured again?
"""

from __future__ import annotations

import argparse
import csv
import json
import os
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import numpy as np

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT / "tests"))
sys.path.insert(0, str(ROOT / "tests" / "bench"))

from accuracy import analysed, arguments_of, show  # noqa: E402

from penult.adapters.files.lane_file import read_lane  # noqa: E402
from penult.core.lane.camera import at_depth  # noqa: E402
from penult.core.lane.fit import fit_lane  # noqa: E402
from penult.core.lane.markers import fit_markers  # noqa: E402
from penult.core.lane.remeasured import remeasured  # noqa: E402
from penult.errors import CalibrationError  # noqa: E402
from penult.model.calibration import LaneFile  # noqa: E402
from scoring import BARS, UNITS, Score, bar_factor, contact_faults, load, score_film, unit_of  # noqa: E402

MARKER_BAR_CM = 1.0
GROUND_BAR_CM = 2.0
CLICK_SD_PX = 0.7
MISTYPED_M = 0.5
SCALES = (1.0, 1.04, 0.96, 1.06, 0.94)
HELD_OUT = ("pole_mark", "board_corner")
GROUND = ("cone_base", "board_corner")


@dataclass
class Bench:
    """The films, where everything is kept, and which bars were missed."""

    films: list[Path]
    keep: Path
    missed: list[str] = field(default_factory=list)

    def held(self, what: str, value: float, bar: float, unit: str = "cm") -> str:
        """Return a figure with its bar beside it; note it where it is missed."""
        if value <= bar:
            return f"{value:5.2f} {unit} (bar {bar:g})"
        self.missed.append(f"{what}: {value:.2f} {unit}, bar {bar:g}")
        return f"{value:5.2f} {unit} (bar {bar:g}) !"


def main() -> None:
    """Run and print."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    shared = os.environ.get("PENULT_SHARED")
    parser.add_argument("films", nargs="?", type=Path, default=Path(shared) / "films" if shared else ROOT / "samples")
    parser.add_argument("--keep", type=Path, help="folder for lane files, results and joints, which are used again")
    parser.add_argument("--parts", default="abcde", help="which of them (c wants the lane files of a)")
    said = parser.parse_args()
    films = sorted(p.parent for p in said.films.glob("*/marks.json"))
    bench = Bench(films=films, keep=said.keep or Path(tempfile.mkdtemp()))
    os.environ["PENULT_CACHE"] = str(bench.keep / "cache")
    parts = {"a": by_markers, "b": from_the_ground, "c": accuracy_by_markers, "d": mistyped, "e": wrong_scale}
    for name in said.parts:
        parts[name](bench)
    print("\nbars missed:" if bench.missed else "\nno bar missed")
    for line in bench.missed:
        print(f"  {line}")


def by_markers(bench: Bench) -> None:
    """Make and judge a lane file of each film's printed markers."""
    print("\na. lane files from printed markers in the still; pole marks and board corners, not used, in the run plane")
    for film in bench.films:
        lane = bench.keep / "lanes" / f"{film.name}.json"
        said = calibrated(film, lane, *_marker_words(film))
        if said is None:
            bench.missed.append(f"a {film.name}: no lane file")
            continue
        rms = _rms(off_cm(lane, film, HELD_OUT))
        each = ", ".join(f"{kind} {_rms(off_cm(lane, film, (kind,))):.2f}" for kind in HELD_OUT)
        print(f"{film.name:18s} {bench.held(f'a {film.name}', rms, MARKER_BAR_CM)}   {each}   {said}")
        taped = bench.keep / "taped" / lane.name
        if calibrated(film, taped, *_marker_words(film), "--distance", _taped_distance(film)):
            each = ", ".join(f"{kind} {_rms(off_cm(taped, film, (kind,))):.2f}" for kind in HELD_OUT)
            print(f"{'  with --distance':18s} {_rms(off_cm(taped, film, HELD_OUT)):5.2f} cm            {each}")


def from_the_ground(bench: Bench) -> None:
    """Make a lane file of clicked cones and board corners, judge it, and measure the film with it."""
    for film in bench.films:
        marks = [m for m in load(film / "marks.json") if m["kind"] in GROUND]
        if len({m["runway_m"][2] for m in marks if m["kind"] == "cone_base"}) < 2:
            continue
        print(f"\nb. {film.name}, cones on both sides and board corners, clicked within {CLICK_SD_PX:g} px (SD)")
        lane = bench.keep / "ground" / f"{film.name}.json"
        said = calibrated(film, lane, "--marks", _clicked(film, marks, lane.with_name(f"{film.name}.csv")))
        if said is None:
            bench.missed.append(f"b {film.name}: no lane file")
            continue
        rms = _rms(off_cm(lane, film, ("pole_mark",)))
        print(f"{film.name:18s} {bench.held(f'b {film.name}', rms, GROUND_BAR_CM)}   pole marks   {said}")
        accuracy(bench, "b", [film], lane.parent)


def accuracy_by_markers(bench: Bench) -> None:
    """Measure all films with the lane files of their markers."""
    print("\nc. accuracy with the lane files of a")
    accuracy(bench, "c", bench.films, bench.keep / "lanes")


def mistyped(bench: Bench) -> None:
    """Type each mark wrong, one at a time, and ask whether the fit names it."""
    print(f"\nd. marks mistyped by {MISTYPED_M:g} m in x or y: named by the fit (bar: all)")
    for film in bench.films:
        lanes = {"lane.json": film / "lane.json", "markers": bench.keep / "lanes" / f"{film.name}.json"}
        counts = []
        for title, path in lanes.items():
            if not path.exists():
                continue
            named, of, others, quiet = _mistyped(read_lane(path))
            counts.append(f"{title} {named} of {of}" + (f" (others named too: {others})" if others else ""))
            bench.missed += [f"d {film.name}, {title}: {what} is not named" for what in quiet]
        print(f"{film.name:18s} {', '.join(counts)}")


def wrong_scale(bench: Bench) -> None:
    """Scale the places of each lane file, and ask whether a stated height or a distance measured again shows it."""
    print("\ne. scale of the lane file wrong; noticed from height and tape (bar: 4 % from either, no false alarm)")
    for film in bench.films:
        line = []
        for scale in SCALES:
            lane = scaled(film, scale, bench.keep / "scaled" / f"{film.name}_{scale:g}")
            signs = [*_by_height(film, lane), *_by_tape(lane, scale)]
            line.append(f"x{scale:g} {'+'.join(signs) or 'none'}")
            unnoticed = "refused" in signs or not {"height", "tape"} & set(signs)
            if signs if scale == 1.0 else unnoticed:
                bench.missed.append(f"e {film.name}: x{scale:g} gives {'+'.join(signs) or 'no sign'}")
        print(f"{film.name:18s} {'   '.join(line)}")


def calibrated(film: Path, lane: Path, *words: object) -> str | None:
    """Make a lane file with the command line; return its headline and warnings, or print why there is none."""
    lane.parent.mkdir(parents=True, exist_ok=True)
    command = [sys.executable, "-m", "penult", "calibrate", film / "still.jpg", "-o", lane, *words]
    done = subprocess.run([str(w) for w in command], capture_output=True, text=True, check=False)
    if done.returncode:
        print(f"{film.name:18s} exit {done.returncode}: {done.stderr.strip()[-400:]}")
        return None
    lines = done.stdout.splitlines()
    return "; ".join([lines[0], *(line.strip() for line in lines if line.startswith("  ! "))])


def off_cm(lane: Path, film: Path, kinds: tuple[str, ...]) -> np.ndarray:
    """Return how far marks of some kinds, at their true pixels, are seen from their places: (n,) along and up together."""
    camera = fit_lane(read_lane(lane)).camera
    marks = [m for m in load(film / "marks.json") if m["kind"] in kinds]
    places = np.array([m["runway_m"] for m in marks])
    seen = at_depth(camera, np.array([m["pixel_true"] for m in marks]), places[:, 2])
    return 100.0 * np.linalg.norm(seen - places[:, :2], axis=1)


def accuracy(bench: Bench, part: str, films: list[Path], lanes: Path) -> None:
    """Print the accuracy tables of films measured with the lane files of a folder, and note what misses its bar.

    "Before" are the same films measured with their own lane.json: what is missed there too is not the calibration's fault.
    """
    groups: dict[str, dict[str, Score]] = {}
    own: dict[str, dict[str, Score]] = {}
    for film in films:
        lane, truth = lanes / f"{film.name}.json", load(film / "truth.json")
        result = analysed(film, lane, bench.keep / f"results_{part}" / film.name) if lane.exists() else None
        if result is None:
            bench.missed.append(f"{part} {film.name}: no result")
            continue
        faults = contact_faults(truth, result)
        bench.missed += [f"{part} {film.name}: {fault}" for fault in faults]
        warned = ", ".join(w["code"] for w in result["warnings"])
        print(f"{film.name:18s} {'; '.join(faults) or 'contacts right'}   warnings: {warned or 'none'}")
        _add(groups, truth, result)
        usual = analysed(film, film / "lane.json", bench.keep / "results_own" / film.name)
        if usual is not None:
            _add(own, truth, usual)
    for group, rows in sorted(groups.items()):
        before = {name: score.rms for name, score in own.get(group, {}).items()}
        show(group, rows, before)
        bench.missed += [f"{part} {group}: {line}" for line in _over(group, rows, before)]


def _add(groups: dict[str, dict[str, Score]], truth: dict[str, Any], result: dict[str, Any]) -> None:
    for measure, score in score_film(truth, result).items():
        for group in (f"bars x {bar_factor(truth['timing']):g}", "all films"):
            groups.setdefault(group, {}).setdefault(measure, Score()).add(score)


def scaled(film: Path, scale: float, folder: Path) -> Path:
    """Write a film's lane file with every length longer by the same share, the still beside it."""
    folder.mkdir(parents=True, exist_ok=True)
    lane = load(film / "lane.json")
    for mark in lane["marks"]:
        mark["runway_m"] = [round(scale * v, 4) for v in mark["runway_m"]]
    if lane.get("camera_distance_m"):
        lane["camera_distance_m"] *= scale
    shutil.copyfile(film / lane["still"], folder / lane["still"])
    (folder / "lane.json").write_text(json.dumps(lane))
    return folder / "lane.json"


def _over(group: str, rows: dict[str, Score], before: dict[str, float]) -> Iterator[str]:
    if not group.startswith("bars"):
        return
    for name, score in rows.items():
        unit = unit_of(name.split(" ")[0])
        bar = BARS[name].rms * float(group.rsplit(" ", 1)[1]) if name in BARS else np.inf
        rms, usual = score.rms * UNITS[unit], before.get(name, np.nan) * UNITS[unit]
        if rms > bar:
            yield f"{name} {rms:.3g} {unit}, bar {bar:g} ({usual:.3g} with the films' own lane.json)"


def _taped_distance(film: Path) -> str:
    """Return what a tape says from the middle line to the camera, to the centimetre."""
    camera = load(film / "truth.json")["camera"]
    return f"{abs((np.array(camera['R']).T @ np.array(camera['t']))[2]):.2f}"


def _marker_words(film: Path) -> list[str]:
    """Return what a coach types for the markers of a film: the middle of each, to the millimetre, and their side."""
    corners: dict[int, list[dict[str, Any]]] = {}
    for mark in load(film / "marks.json"):
        if mark["kind"] == "aruco_corner":
            corners.setdefault(mark["marker_id"], []).append(mark)
    words = ["--side", str(next(iter(corners.values()))[0]["side_m"])]
    for number, four in corners.items():
        x_m, y_m, z_m = np.mean([m["runway_m"] for m in four], axis=0)
        words += ["--marker", f"{number}={x_m:.3f},{y_m:.3f},{z_m:.3f}"]
    return words


def _clicked(film: Path, marks: list[dict[str, Any]], table: Path) -> Path:
    """Write a table of marks as they would be clicked: off by `CLICK_SD_PX`, always the same, inside the picture."""
    width, height = load(film / "lane.json")["image_size_px"]
    rng = np.random.default_rng(3)
    table.parent.mkdir(parents=True, exist_ok=True)
    with table.open("w", newline="") as file:
        rows = csv.writer(file)
        rows.writerow(["name", "pixel_x", "pixel_y", "x_m", "y_m", "z_m"])
        for mark in marks:
            x_px, y_px = np.array(mark["pixel_true"]) + rng.normal(0.0, CLICK_SD_PX, 2)
            if 0 <= x_px < width and 0 <= y_px < height:
                rows.writerow([mark["name"], f"{x_px:.2f}", f"{y_px:.2f}", *mark["runway_m"]])
    return table


def _mistyped(lane: LaneFile) -> tuple[int, int, int, list[str]]:
    """Return how often a mistyped mark is named, of how many, how often others are too, and those that are not."""
    things: dict[str, list[int]] = {}
    for row, mark in enumerate(lane.marks):
        things.setdefault(mark.name.rsplit(" ", 2)[0] if mark.name.startswith("marker ") else mark.name, []).append(row)
    named = of = others = 0
    quiet = []
    for thing, rows in things.items():
        for axis, by_m in ((0, MISTYPED_M), (0, -MISTYPED_M), (1, MISTYPED_M), (1, -MISTYPED_M)):
            found = _named(_with_places_moved(lane, rows, axis, by_m))
            own = {lane.marks[r].name for r in rows}
            of += 1
            named += bool(own & found)
            others += bool(found - own)
            if not own & found:
                quiet.append(f"{thing}, {by_m:+g} m in {'xy'[axis]},")
    return named, of, others, quiet


def _with_places_moved(lane: LaneFile, rows: list[int], axis: int, by_m: float) -> LaneFile:
    marks = list(lane.marks)
    for row in rows:
        place_m = list(marks[row].runway_m)
        place_m[axis] += by_m
        marks[row] = replace(marks[row], runway_m=(place_m[0], place_m[1], place_m[2]))
    return replace(lane, marks=tuple(marks))


def _named(lane: LaneFile) -> set[str]:
    """Return the marks that a fit calls wrong; of a refused fit, those that the refusal speaks of."""
    try:
        fit = fit_markers(lane).fit if lane.marks[0].name.startswith("marker ") else fit_lane(lane)
    except CalibrationError as refused:
        return {m.name for m in lane.marks if f"'{m.name}'" in str(refused)}
    return {r.name for r in fit.residuals if r.disagrees}


def _by_height(film: Path, lane: Path) -> list[str]:
    """Return what shows a wrong scale in a clip measured with the athlete's height stated: height, free fall."""
    more = arguments_of(film)
    command = [sys.executable, "-m", "penult", "analyse", film / "clip.mp4", "--calib", lane, "--quiet", *more]
    words = [*command, "--height", load(film / "truth.json")["height_m"], "--out", lane.parent / "result"]
    done = subprocess.run([str(w) for w in words], capture_output=True, text=True, check=False)
    if done.returncode:
        print(f"{film.name:18s} exit {done.returncode}: {done.stderr.strip()[-400:]}")
        return ["refused"]
    codes = {w["code"] for w in load(lane.parent / "result" / "analysis.json")["warnings"]}
    known = {"height-disagrees": "height", "scale-doubted": "fall", "clock-doubted": "clock"}
    return [sign for code, sign in known.items() if code in codes]


def _by_tape(lane: Path, scale: float) -> list[str]:
    """Return 'tape' if the distance between the outermost marks, measured again to the centimetre, shows the scale."""
    marks = read_lane(lane).marks
    x_m = sorted(m.runway_m[0] for m in marks)
    again = remeasured(f"{x_m[0]} to {x_m[-1]} = {(x_m[-1] - x_m[0]) / scale:.2f}", marks)
    return ["tape"] if again.differs else []


def _rms(values: np.ndarray) -> float:
    return float(np.sqrt(np.mean(values**2)))


if __name__ == "__main__":
    main()
