"""The numbers of the samples, kept with the method that measured them, so that none moves without a word.

`python tests/golden.py --write` measures the samples and writes tests/golden.json; it refuses where numbers moved and METHOD
(`penult.model.method`) did not.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
import tempfile
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

from penult.model.method import METHOD

ROOT = Path(__file__).resolve().parents[1]
SAMPLES = ROOT / "samples"
FILMS = ("full_240", "mat_one_240", "mat_two_240")
KEPT = Path(__file__).with_name("golden.json")

ELSEWHERE = 0.25
"""Share of u95 by which a value may differ on another machine or with other libraries, whose last digits differ; on the same
not at all."""

Values = dict[str, list[float] | None]
"""`part|number|name` to value and u95, None where it is not measured."""


def analysed(film: str, out: Path, *words: str, env: Mapping[str, str] | None = None) -> Path:
    """Run the command as a coach would."""
    command = [sys.executable, "-m", "penult", "analyse", str(SAMPLES / film / "clip.mp4")]
    done = subprocess.run(
        [*command, "--calib", str(SAMPLES / film / "lane.json"), "--out", str(out), "--quiet", *words],
        capture_output=True,
        text=True,
        check=False,
        env=None if env is None else {**os.environ, **env},
    )
    assert done.returncode == 0, done.stderr
    assert done.stdout == ""
    return out


def numbers(result: Mapping[str, Any]) -> dict[str, Any]:
    """Return what is kept of a result: its values, and where and by what they were computed."""
    method = result["method"]
    return {
        "by": [method["method"], method["machine"], method["libraries"], method["pose_model_sha256"]],
        "values": dict(_values(result)),
    }


def _values(result: Mapping[str, Any]) -> Iterator[tuple[str, list[float] | None]]:
    for part, content in result.items():
        if isinstance(content, list) and part in {"contacts", "steps", "phases"}:
            for row in content:
                for name, measure in row.items():
                    yield from _value(f"{part}|{row['number']}|{name}", measure)
        elif isinstance(content, dict) and part not in {"clip", "run", "method"}:
            for name, measure in content.items():
                yield from _value(f"{part}|-|{name}", measure)


def _value(key: str, measure: Any) -> Iterator[tuple[str, list[float] | None]]:
    if isinstance(measure, dict) and "value" in measure:
        yield key, [measure["value"], measure["u95"]]
    elif isinstance(measure, dict) and "not_measured" in measure:
        yield key, None


def moved(kept: Mapping[str, Any], now: Mapping[str, Any]) -> list[str]:
    """Return which numbers of a film moved, in words."""
    exact = kept["by"][1:] == now["by"][1:]
    found = []
    for key in sorted({*kept["values"], *now["values"]}):
        old, new = kept["values"].get(key), now["values"].get(key)
        if old is None or new is None:
            same = old == new
        else:
            same = (
                old == new
                if exact
                else all(abs(a - b) <= ELSEWHERE * old[1] + 1e-6 for a, b in zip(old, new, strict=True))
            )
        if not same:
            found.append(f"{key}: {old} -> {new}")
    return found


def fault(kept: Mapping[str, Any], now: Mapping[str, Any], method: int) -> str:
    """Return what is wrong between the numbers of a film as kept and as they are now, '' if nothing is."""
    changes, before = moved(kept, now), kept["by"][0]
    if method < before:
        return f"METHOD is {method}, less than the {before} of the numbers that are kept"
    if changes and method == before:
        few = "; ".join(changes[:5])
        return f"{len(changes)} numbers moved and METHOD is still {method}: raise it (penult.model.method). {few}"
    if method > before:
        return f"METHOD is {method}, the numbers are of {before}: python tests/golden.py --write"
    return ""


def main() -> None:
    """Measure the samples, and write their numbers."""
    kept = json.loads(KEPT.read_text()) if KEPT.exists() else {}
    with tempfile.TemporaryDirectory() as name:
        now = {}
        for film in FILMS:
            folder = analysed(film, Path(name) / film, env={"PENULT_CACHE": str(Path(name) / "cache")})
            now[film] = numbers(json.loads((folder / "analysis.json").read_text()))
    faults = [f"{film}: {f}" for film in FILMS if film in kept and (f := fault(kept[film], now[film], METHOD))]
    print(*faults, sep="\n")
    if any("--write" not in f for f in faults):
        sys.exit(1)
    if "--write" in sys.argv:
        KEPT.write_text(json.dumps(now, indent=0, sort_keys=True) + "\n")


if __name__ == "__main__":
    main()
