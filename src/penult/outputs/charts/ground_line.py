"""A series as what it is: feet at their places along the ground line, flights as arcs of their rise, contact times as bars.

The run goes left to right whichever way it was filmed. Places share one scale; heights are drawn HEIGHTS times as large, and the
page says so.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from penult.model.analysis import Analysis, Contact, Phase
from penult.model.measured import Measured
from penult.outputs.charts.svg import Drawing
from penult.outputs.texts import words

HEIGHTS = 4.0
"""So many times as large as lengths are heights drawn: a bound rises by 7 cm over 3 m."""

_AFTER_M = 1.6
"""Of a flight whose landing is not seen so much is drawn, with a broken line."""


@dataclass(frozen=True, slots=True, kw_only=True)
class _Sheet:
    """Measures of one width of the drawing, in its own units."""

    width: float
    text: float
    bar_per_ms: float
    intervals: bool


_SHEETS: dict[str, _Sheet] = {
    "wide": _Sheet(width=1100.0, text=14.0, bar_per_ms=0.28, intervals=True),
    "narrow": _Sheet(width=460.0, text=12.0, bar_per_ms=0.2, intervals=False),
}


def ground_line_svg(analysis: Analysis, width: Literal["wide", "narrow"]) -> str:
    """Return the drawing as an SVG element, '' where fewer than two places are known."""
    placed = [
        (p, c, x) for p in _phases(analysis) if (c := analysis.contact(p.number)) and (x := _place(c)) is not None
    ]
    if not placed:
        return ""
    return _Picture(analysis, placed, _SHEETS[width]).svg()


def alt_text(analysis: Analysis) -> str:
    """Return the drawing in words, for who cannot see it."""
    said = []
    for phase in _phases(analysis):
        distance, time = (words.shown(n, phase.measures.get(n)) for n in ("distance_m", "contact_time_s"))
        name = words.phase_words(phase.number, phase.kind, analysis.run)
        said.append(f"{name}: distance {distance.text}, contact {time.text}")
    return "Feet along the ground line. " + "; ".join(said) + "."


def _phases(analysis: Analysis) -> list[Phase]:
    return sorted(analysis.phases, key=lambda p: p.number)


def _place(contact: Contact) -> float | None:
    toe = contact.measures.get("toe_x_m")
    return toe.value if isinstance(toe, Measured) else None


def _value(phase: Phase, name: str) -> float | None:
    measure = phase.measures.get(name)
    return measure.value if isinstance(measure, Measured) else None


class _Picture:
    """What is drawn and where."""

    def __init__(self, analysis: Analysis, placed: Sequence[tuple[Phase, Contact, float]], sheet: _Sheet) -> None:
        self.analysis, self.placed, self.sheet = analysis, placed, sheet
        ends = [x + (_value(p, "distance_m") or _AFTER_M) for p, _, x in placed]
        others = [x for c in analysis.contacts if (x := _place(c)) is not None]
        low, high = min([0.0 if words.has_line(analysis) else placed[0][2], *others]), max([*ends, *others])
        self.low, self.per_m = low - 0.35, (sheet.width - 8.0) / (high - low + 0.7)
        rise = max([_value(p, "flight_height_m") or 0.0 for p, _, _ in placed])
        line = 1.35 * sheet.text
        self.ground = 2.6 * line + HEIGHTS * rise * self.per_m + 8.0
        longest = max([1e3 * (_value(p, "contact_time_s") or 0.0) for p, _, _ in placed])
        self.foot_y = self.ground + 1.25 * line
        self.height = self.foot_y + sheet.bar_per_ms * longest + 3.1 * line
        self.picture = Drawing(sheet.width, self.height, "ground", alt_text(analysis))

    def svg(self) -> str:
        """Draw everything."""
        self.picture.line((0.0, self.ground), (self.sheet.width, self.ground), "runway")
        if words.has_line(self.analysis):
            self.picture.box((self._x(0.0) - 4.0, self.ground - 3.0), (8.0, 9.0), "board", title="take-off line")
        self._axis()
        run_up = [c for c in self.analysis.contacts if self.analysis.phase(c.number) is None]
        for contact in run_up:
            if (x := _place(contact)) is not None:
                self._foot(x, words.side(contact), "faint")
        for phase, contact, x in self.placed:
            self._arc(phase, x)
            self._foot(x, words.side(contact), "strong")
            self._time(phase, x)
        return self.picture.svg()

    def _x(self, place_m: float) -> float:
        return 4.0 + (place_m - self.low) * self.per_m

    def _arc(self, phase: Phase, x: float) -> None:
        distance, rise = _value(phase, "distance_m"), _value(phase, "flight_height_m") or 0.0
        seen = phase.lands_on not in ("", "sand")
        length = distance or _AFTER_M
        share = np.linspace(0.0, 1.0 if distance else 0.75, 25)
        top = HEIGHTS * rise * self.per_m
        points = [(self._x(x + length * s), self.ground - 6.0 - 4.0 * top * s * (1.0 - s)) for s in share.tolist()]
        self.picture.path(points, "arc" if seen else "arc broken")
        self._words(phase, x + length / 2.0, self.ground - 6.0 - top)

    def _words(self, phase: Phase, middle_m: float, top: float) -> None:
        """Distance over the arc, and over that which phase it is."""
        at, line = self._x(middle_m), 1.35 * self.sheet.text
        shown = words.shown("distance_m", phase.measures.get("distance_m"))
        distance = shown.text if self.sheet.intervals or shown.reason else f"{shown.value} m"
        name = words.phase_words(phase.number, phase.kind, self.analysis.run)
        self.picture.text((at, top - 0.5 * line), distance if not shown.reason else words.DASH, "big", anchor="middle")
        self.picture.text((at, top - 1.5 * line), name, "name", anchor="middle")

    def _foot(self, x: float, letter: str, kind: str) -> None:
        at = self._x(x)
        self.picture.box((at - 0.27 * self.per_m, self.ground - 5.0), (0.27 * self.per_m, 5.0), f"shoe {kind}")
        self.picture.text(
            (at - 0.13 * self.per_m, self.ground + self.sheet.text + 4.0), letter, "name", anchor="middle"
        )

    def _time(self, phase: Phase, x: float) -> None:
        """The contact time: a bar as long as it lasted, its interval at the end, the number under it."""
        at, measure = self._x(x) - 0.13 * self.per_m, phase.measures.get("contact_time_s")
        shown = words.shown("contact_time_s", measure)
        text = words.DASH if shown.reason else shown.text if self.sheet.intervals else f"{shown.value} ms"
        end = self.foot_y
        if isinstance(measure, Measured):
            end += 1e3 * measure.value * self.sheet.bar_per_ms
            half = 1e3 * measure.u95 * self.sheet.bar_per_ms
            self.picture.box((at - 6.0, self.foot_y), (12.0, end - self.foot_y), "time")
            self.picture.line((at, end - half), (at, end + half), "thin")
        self.picture.text((at, end + 1.2 * self.sheet.text), text, "name", anchor="middle")

    def _axis(self) -> None:
        """Metres along the runway, at the foot of the drawing."""
        y = self.height - 4.0
        step = 1.0 if self.per_m > 45.0 else 2.0
        first = int(np.ceil(self.low / step))
        last = int(np.floor((self.low + self.sheet.width / self.per_m) / step))
        for i in range(first, last + 1):
            x = self._x(i * step)
            self.picture.line((x, self.ground), (x, self.ground + 4.0), "tick")
            if 12.0 < x < self.sheet.width - 12.0:
                label = words.number(i * step, 0) + (" m" if i == last - 1 else "")
                self.picture.text((x, y), label, "tick", anchor="middle")
