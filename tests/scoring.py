"""Results against films with known truth: errors, RMS, coverage, and the bars that they are held to."""

from __future__ import annotations

import json
import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

UNITS = {"ms": 1e3, "cm": 1e2, "deg": 1.0, "m/s": 1.0, "Hz": 1.0, "": 1.0}


@dataclass(frozen=True)
class Bar:
    """Greatest RMS error at 200 frames a second or more, in `unit`."""

    unit: str
    rms: float


BARS: dict[str, Bar] = {
    "touchdown_s": Bar("ms", 2.5),
    "toe_off_s": Bar("ms", 3.5),
    "contact_time_s": Bar("ms", 4.0),
    "flight_time_s": Bar("ms", 4.0),
    "step_length_m": Bar("cm", 1.5),
    "toe_to_board_m": Bar("cm", 2.0),
    "penultimate_hip_drop_m": Bar("cm", 0.8),
    "leg_angle_touchdown_deg of the take-off": Bar("deg", 1.2),
    "leg_angle_touchdown_deg of the others": Bar("deg", 2.0),
    "knee_angle_touchdown_deg": Bar("deg", 5.0),
    "knee_angle_min_deg": Bar("deg", 5.0),
    "foot_angle_touchdown_deg": Bar("deg", 5.0),
    "trunk_angle_touchdown_deg": Bar("deg", 3.0),
    "step_speed_m_per_s": Bar("m/s", 0.05),
    "approach_speed_m_per_s": Bar("m/s", 0.05),
    "takeoff_velocity_x_m_per_s": Bar("m/s", 0.06),
    "takeoff_velocity_y_m_per_s": Bar("m/s", 0.06),
    "takeoff_angle_deg": Bar("deg", 0.5),
    "support_height_m": Bar("cm", 1.0),
}


def unit_of(name: str) -> str:
    """Return the unit in which a measure's error is shown."""
    for ending, unit in (("_m_per_s", "m/s"), ("_s", "ms"), ("_m", "cm"), ("_deg", "deg"), ("_hz", "Hz")):
        if name.endswith(ending):
            return unit
    return ""


@dataclass
class Score:
    """Errors of one measure over some films."""

    true: int = 0
    errors: list[float] = field(default_factory=list)
    u95: list[float] = field(default_factory=list)

    def add(self, other: Score) -> None:
        """Take in another film's values."""
        self.true += other.true
        self.errors += other.errors
        self.u95 += other.u95

    @property
    def rms(self) -> float:
        """Root mean square error."""
        return math.sqrt(sum(e * e for e in self.errors) / len(self.errors)) if self.errors else math.nan

    @property
    def bias(self) -> float:
        """Mean error."""
        return sum(self.errors) / len(self.errors) if self.errors else math.nan

    @property
    def inside(self) -> float:
        """Share of true values inside the stated interval."""
        return sum(abs(e) <= u for e, u in zip(self.errors, self.u95, strict=True)) / max(len(self.errors), 1)

    @property
    def beyond(self) -> int:
        """How many true values lie beyond three times the stated interval: silently wrong."""
        return sum(abs(e) > 3.0 * u for e, u in zip(self.errors, self.u95, strict=True))

    @property
    def median_u95(self) -> float:
        """Median stated uncertainty."""
        return sorted(self.u95)[len(self.u95) // 2] if self.u95 else math.nan


def bar_factor(timing: Mapping[str, float]) -> float:
    """How much wider the bars are for a film of this frame rate and shutter."""
    if timing["shutter_s"] > 1.0 / 100.0:
        return 4.0
    rate = timing["capture_rate_hz"]
    return 1.0 if rate >= 200 else 1.5 if rate >= 100 else 2.5


def score_film(truth: Mapping[str, Any], result: Mapping[str, Any]) -> dict[str, Score]:
    """Compare one result with its film's truth, measure by measure (leg angle at touchdown also split by contact)."""
    out: dict[str, Score] = {}
    for key, true in truth["measures"].items():
        part, number, name = key.split("|")
        got = _measured(result, part, number, name)
        for label in _labels(name, number):
            row = out.setdefault(label, Score())
            row.true += 1
            if got is not None:
                row.errors.append(got["value"] - true)
                row.u95.append(got["u95"])
    return out


def contact_faults(truth: Mapping[str, Any], result: Mapping[str, Any]) -> list[str]:
    """Contacts lost, invented or on the wrong foot."""
    feet = {c["number"]: c["foot"] for c in truth["contacts"]}
    seen = {c["number"]: c["foot"] for c in result["contacts"]}
    faults = [f"contact {n} lost" for n in feet if n not in seen]
    faults += [f"contact {n} invented" for n in seen if min(feet) < n < max(feet) and n not in feet]
    return faults + [f"contact {n}: wrong foot" for n in feet if n in seen and seen[n] != feet[n]]


def _labels(name: str, number: str) -> Iterable[str]:
    yield name
    if name == "leg_angle_touchdown_deg":
        yield f"{name} of the take-off" if number == "0" else f"{name} of the others"


def _measured(result: Mapping[str, Any], part: str, number: str, name: str) -> Mapping[str, float] | None:
    rows = result[part] if part in {"contacts", "steps", "phases"} else [{**result[part], "number": number}]
    got = next((r.get(name) for r in rows if str(r["number"]) == number), None)
    return got if got and "value" in got else None


def load(path: Path) -> Any:
    """Read JSON."""
    return json.loads(path.read_text(encoding="utf-8"))
