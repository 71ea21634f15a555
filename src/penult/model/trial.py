"""One analysed clip as comparisons and seasons see it: the result, what the coach said of it, and the hip's path."""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

from penult.model.analysis import Analysis
from penult.model.arrays import Floats, locked
from penult.model.measured import Measure


class MeasureKey(NamedTuple):
    """Which measure: its part of the result, the contact or step it belongs to (None: one a clip), and its name."""

    part: str
    number: int | None
    name: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Said:
    """What a person said of a clip; '' and None mean 'not said'.

    Parameters
    ----------
    date : str
        ISO 8601, '2026-10-03'.
    session : str
        Name of the session.
    approach_strides : int, optional
        Running strides of the approach.
    official_distance_m : float, optional
        Tape-measured jump.
    note : str
        In the coach's words.
    """

    date: str = ""
    session: str = ""
    approach_strides: int | None = None
    official_distance_m: float | None = None
    note: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class HipPath:
    """The mid-hip over the clip: capture time, place along the runway and height above it, each (t,) float64."""

    time_s: Floats
    x_m: Floats
    height_m: Floats

    def __post_init__(self) -> None:
        object.__setattr__(self, "time_s", locked(self.time_s))
        object.__setattr__(self, "x_m", locked(self.x_m))
        object.__setattr__(self, "height_m", locked(self.height_m))


@dataclass(frozen=True, slots=True, kw_only=True)
class Trial:
    """One analysed clip.

    Parameters
    ----------
    analysis : Analysis
        The result; from a logbook it may hold only the last contacts and steps.
    said : Said
        What the coach said beside it.
    folder : str
        Result folder as it was recorded; '' when not known.
    hip_path : HipPath, optional
        Where it is at hand.
    """

    analysis: Analysis
    said: Said
    folder: str = ""
    hip_path: HipPath | None = None

    @property
    def method(self) -> tuple[str, str]:
        """The method in words and the hash of the pose model: numbers of two methods are never averaged.

        A result without a method's number is older than numbers; the version of penult then tells methods apart.
        """
        method = self.analysis.method
        number, version = method.get("method"), method.get("penult") or "of unknown version"
        words = f"penult {version}" if number is None else f"method {number}"
        return words, str(method.get("pose_model_sha256", ""))

    @property
    def lane(self) -> str:
        """Hash of the lane file, or its name where an older result has no hash; '' when not recorded."""
        method = self.analysis.method
        return str(method.get("calibration_sha256") or method.get("calibration") or "")

    @property
    def mats(self) -> tuple[tuple[int, float], ...]:
        """Number and thickness of the mats, rounded to half a centimetre: the pattern that a group must share."""
        found = {(m.number, round(200.0 * m.thickness_m) / 200.0) for m in self.analysis.run.mats}
        return tuple(sorted((n, t) for n, t in found if t > 0.0))


def measures_of(analysis: Analysis) -> dict[MeasureKey, Measure]:
    """Return every measure of a result under its key."""
    return {MeasureKey(part, number, n): m for part, number, found in analysis.sets() for n, m in found.items()}
