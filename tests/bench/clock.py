"""The free-fall check on films with known truth: clock.py [FILMS] [--keep FOLDER].

FILMS as for accuracy.py. Every film is analysed through the command line: as it is (no alarm may come), with half and with
double its capture rate and, where a film needs its capture rate told, without it (the clock must be doubted), and with all
lengths of its lane file off by twice the smallest visible scale error, both ways (the scale must be doubted). That error
and the wrong scales have bars where the clip has 200 frames a second or more and shows 0.3 s of the flight after take-off.
What misses its bar is listed at the end. Results and joints are kept in FOLDER, so that another run is quick.
"""

from __future__ import annotations

import argparse
import os
import sys
import tempfile
from pathlib import Path
from typing import Any

import numpy as np

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT / "tests"))
sys.path.insert(0, str(ROOT / "tests" / "bench"))

from accuracy import analysed, arguments_of  # noqa: E402
from calibration import scaled  # noqa: E402

from scoring import load  # noqa: E402

VISIBLE_BAR, RATE_HZ, FLIGHT_S = 0.10, 200.0, 0.3
ALARMS = {"clock-doubted": "clock", "scale-doubted": "scale"}


def main() -> None:
    """Run and print."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    shared = os.environ.get("PENULT_SHARED")
    parser.add_argument("films", nargs="?", type=Path, default=Path(shared) / "films" if shared else ROOT / "samples")
    parser.add_argument("--keep", type=Path, help="folder for results and joints, which are used again")
    said = parser.parse_args()
    keep = said.keep or Path(tempfile.mkdtemp())
    os.environ["PENULT_CACHE"] = str(keep / "cache")
    missed: list[str] = []
    for film in sorted(p.parent for p in said.films.glob("*/truth.json")):
        missed += checked(film, keep / film.name)
    print("\nbars missed:" if missed else "\nno bar missed")
    for line in missed:
        print(f"  {line}")


def checked(film: Path, keep: Path) -> list[str]:
    """Print what free fall says of one film and its wrong clocks and scales; return what it should have said."""
    truth, lane = load(film / "truth.json"), film / "lane.json"
    result = analysed(film, lane, keep / "right")
    if result is None:
        return [f"{film.name}: no result"]
    missed = [] if alarm(result) == "none" else [f"{film.name}: false alarm of the {alarm(result)}"]
    rate_hz, flight_s = truth["timing"]["capture_rate_hz"], flight_in_picture_s(truth)
    fall = result["checks"]["free_fall_m_per_s2"]
    visible = result["method"].get("smallest_visible_scale_error", float("nan"))
    counts = rate_hz >= RATE_HZ and flight_s >= FLIGHT_S
    print(
        f"{film.name:16s} {fall.get('value', float('nan')):6.2f} +- {fall.get('u95', float('nan')):.2f} m/s2"
        f"   flight in the picture {flight_s:.2f} s   smallest visible {visible:6.1%}{' (bar 10 %)' if counts else ''}"
    )
    if counts and not visible <= VISIBLE_BAR:
        missed.append(f"{film.name}: smallest visible scale error {visible:.1%}, bar {VISIBLE_BAR:.0%}")
    clocks = {f"rate x{k:g}": ("--capture-rate", f"{k * rate_hz:g}") for k in (0.5, 2.0)}
    if "--capture-rate" in arguments_of(film):
        clocks["rate not told"] = ()
    said = {}
    for name, words in clocks.items():
        said[name] = alarm(analysed(film, lane, keep / name.replace(" ", "_"), words))
        missed += [] if said[name] == "clock" else [f"{film.name}, {name}: {said[name]}"]
    for scale in (1.0 + 2.0 * visible, 1.0 - 2.0 * visible) if np.isfinite(visible) and visible < 0.4 else ():
        name = f"lengths x{scale:.2f}"
        longer = scaled(film, scale, keep / name.replace(" ", "_"))
        said[name] = alarm(analysed(film, longer, longer.parent / "result"))
        missed += [] if said[name] in {"scale", "clock"} or not counts else [f"{film.name}, {name}: {said[name]}"]
    print(f"{'':16s} right: {alarm(result)}; " + "; ".join(f"{name}: {word}" for name, word in said.items()))
    return missed


def alarm(result: dict[str, Any] | None) -> str:
    """Return what a result doubts: 'clock', 'scale' or 'none'."""
    codes = [] if result is None else [w["code"] for w in result["warnings"]]
    return "no result" if result is None else next((ALARMS[c] for c in codes if c in ALARMS), "none")


def flight_in_picture_s(truth: dict[str, Any]) -> float:
    """Return how long after the last toe-off the whole body stays in the picture; 0 without a take-off."""
    if "takeoff|-|takeoff_velocity_y_m_per_s" not in truth["measures"]:
        return 0.0
    size_px = 2.0 * np.array([truth["camera"]["K"][0][2], truth["camera"]["K"][1][2]])
    xy_px, time_s = np.array(truth["xy_px"], dtype=float), np.array(truth["time_s"])
    whole = ((xy_px >= 0.0) & (xy_px <= size_px)).all(axis=(1, 2))
    toe_off_s = max(c["toe_off_s"] for c in truth["contacts"])
    return max(float(time_s[whole].max(initial=toe_off_s)) - toe_off_s, 0.0)


if __name__ == "__main__":
    main()
