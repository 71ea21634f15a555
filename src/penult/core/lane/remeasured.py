"""A distance measured once more, against what was typed for the marks: a stretched or misread tape shows here. Pure.

Marks that are all wrong by the same share fit together perfectly; only a second measurement, or free fall, tells.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from difflib import get_close_matches

import numpy as np

from penult.errors import CalibrationError
from penult.model.calibration import Mark

TAPE_U95_M = 0.02
"""A distance between two points on the ground with a tape, 19 times in 20: reading both ends, and the tape's slack."""
TAPE_U95_SHARE = 0.005
_NOTICED_SHARE = 0.01
"""Below this a scale error is small against what joints and shoes add."""
_SEPARATOR = " to "


@dataclass(frozen=True, slots=True, kw_only=True)
class Remeasured:
    """A distance as it was typed and as it was measured again, in metres; `differs` beyond what a tape explains."""

    between: tuple[str, str]
    typed_m: float
    measured_m: float
    differs: bool

    @property
    def shows(self) -> float:
        """Return the smallest error of the scale that it would have shown, as a share."""
        return _bound_m(self.measured_m) / self.measured_m

    @property
    def text(self) -> str:
        """Return what it means, in plain words."""
        first, second = self.between
        off = 100.0 * (self.typed_m / self.measured_m - 1.0)
        both = f"From {first} to {second}: typed {self.typed_m:.2f} m, measured again {self.measured_m:.2f} m"
        if not self.differs:
            return f"{both}; that agrees within what a tape gives."
        return (
            f"{both}: the marks' places are {abs(off):.1f} % too {'large' if off > 0.0 else 'small'}, and so would be "
            "every length and height. Measure them again."
        )


def remeasured(words: str, marks: Sequence[Mark]) -> Remeasured:
    """Return the comparison for words such as 'pole 1 foot to pole 3 foot = 6.48', or '-8 to 1.5 = 9.12'.

    Parameters
    ----------
    words : str
        Two marks by name, or two places along the run by their typed x, and the distance measured between them.
    marks : sequence of Mark

    Raises
    ------
    CalibrationError
        If the words cannot be read, or name no mark.
    """
    ends, equals, number = words.rpartition("=")
    first, to, second = ends.partition(_SEPARATOR)
    try:
        measured_m = float(number.strip().removesuffix("m").replace(",", "."))
    except ValueError:
        measured_m = 0.0
    if not equals or not to or not 0.1 <= measured_m <= 300.0:
        raise CalibrationError(
            f"the distance {words!r} cannot be read",
            "two marks or two x, and the metres between them are wanted",
            next_step='write it like "pole 1 foot to pole 3 foot = 6.48" or "-8 to 1.5 = 9.12"',
        )
    places = [_place(end.strip(), marks) for end in (first, second)]
    typed_m = float(np.linalg.norm(places[0] - places[1]))
    if typed_m < 0.5:
        raise CalibrationError(
            f"{first.strip()} and {second.strip()} lie {typed_m:.2f} m apart by what was typed",
            next_step="measure between two places that are several metres apart",
        )
    differs = abs(typed_m - measured_m) > _bound_m(measured_m)
    return Remeasured(
        between=(first.strip(), second.strip()), typed_m=typed_m, measured_m=measured_m, differs=bool(differs)
    )


def _bound_m(measured_m: float) -> float:
    """Return by how much two tapes may differ over a distance."""
    tape_m = float(np.hypot(TAPE_U95_M, TAPE_U95_SHARE * measured_m))
    return max(float(np.sqrt(2.0)) * tape_m, _NOTICED_SHARE * measured_m)


def _place(word: str, marks: Sequence[Mark]) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
    named = next((m for m in marks if m.name.lower() == word.lower()), None)
    if named is not None:
        return np.array(named.runway_m, dtype=np.float64)
    try:
        return np.array([float(word.removeprefix("x").strip(" =").replace(",", ".")), 0.0, 0.0])
    except ValueError:
        near = get_close_matches(word, [m.name for m in marks], n=1, cutoff=0.0)
        raise CalibrationError(
            f"no mark is called {word!r}",
            *([f"the nearest name is {near[0]!r}"] if near else []),
            next_step="name two marks of the lane file, or give two x in metres",
        ) from None
