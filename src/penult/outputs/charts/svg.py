"""An SVG picture as it grows: shapes in, escaped text out. Colours are the page's custom properties or classes.

Every text goes through `escaped`; nothing else may put a person's words into a drawing.
"""

from __future__ import annotations

import html
from collections.abc import Iterable, Sequence

from penult.outputs.charts.bars import Scale, scale_for
from penult.outputs.texts.plain import shown

Point = tuple[float, float]


def escaped(text: str, most: int = 200) -> str:
    """Return a text for an SVG or HTML attribute or element: no markup, no control or reading-order marks."""
    return html.escape(shown(text, most), quote=True)


def scale_of(values: Iterable[float], *, parts: int = 4) -> Scale:
    """Return a scale with round ends that holds the values; values that (nearly) agree get some room around them."""
    found = list(values) or [0.0, 1.0]
    low, high = min(found), max(found)
    room = max(1e-3, 0.01 * max(abs(low), abs(high)))
    if high - low < room:
        low, high = low - room / 2.0, high + room / 2.0
    return scale_for([low, high], parts=parts)


def tight_scale(values: Iterable[float], *, parts: int = 5) -> Scale:
    """Return a scale that begins and ends just beyond the values, with its ticks at round numbers between."""
    found = list(values) or [0.0, 1.0]
    low, high = min(found), max(found)
    step = scale_of(found, parts=parts).step
    room = max(0.06 * (high - low), 0.3 * step)
    return Scale(low=low - room, high=high + room, step=step)


class Drawing:
    """An SVG picture.

    Parameters
    ----------
    width, height : float
        Of its view box.
    kind : str
        Class on the element.
    alt : str
        Text alternative; '' marks it as decoration whose content stands in text beside it.
    """

    def __init__(self, width: float, height: float, kind: str, alt: str = "") -> None:
        self.width, self.height, self.kind, self.alt = width, height, kind, alt
        self.parts: list[str] = []

    def line(self, start: Point, end: Point, kind: str) -> None:
        """Draw a straight line."""
        self.parts.append(
            f'<line class="{kind}" x1="{start[0]:.1f}" y1="{start[1]:.1f}" x2="{end[0]:.1f}" y2="{end[1]:.1f}"/>'
        )

    def path(self, points: Sequence[Point], kind: str, *, closed: bool = False) -> None:
        """Draw a line through points, or an area."""
        if len(points) < 2:
            return
        d = "M" + "L".join(f"{x:.1f} {y:.1f}" for x, y in points) + ("Z" if closed else "")
        self.parts.append(f'<path class="{kind}" d="{d}"/>')

    def box(self, corner: Point, size: Point, kind: str, *, title: str = "") -> None:
        """Draw a rectangle from its top left corner; nothing where it has no size."""
        if size[0] <= 0.0 or size[1] <= 0.0:
            return
        inside = f"<title>{escaped(title)}</title></rect>" if title else "</rect>"
        self.parts.append(
            f'<rect class="{kind}" x="{corner[0]:.1f}" y="{corner[1]:.1f}" width="{size[0]:.1f}"'
            f' height="{size[1]:.1f}">{inside}'
        )

    def text(self, at: Point, text: str, kind: str = "", *, anchor: str = "start") -> None:
        """Write a text on its base line; `anchor` is start, middle or end."""
        self.parts.append(
            f'<text class="{kind}" x="{at[0]:.1f}" y="{at[1]:.1f}" text-anchor="{anchor}">{escaped(text)}</text>'
        )

    def mark(self, at: Point, shape: str, kind: str, *, size: float = 4.0, title: str = "") -> None:
        """Draw one of the marks in `SHAPES` round a point."""
        x, y = at
        d = "M" + "L".join(f"{x + size * dx:.1f} {y + size * dy:.1f}" for dx, dy in SHAPES[shape]) + "Z"
        inside = f"<title>{escaped(title)}</title></path>" if title else "</path>"
        self.parts.append(f'<path class="mark {kind}" d="{d}">{inside}')

    def raw(self, markup: str) -> None:
        """Add markup made here; never a person's words."""
        self.parts.append(markup)

    def svg(self) -> str:
        """Return the picture as an SVG element."""
        label = f'role="img" aria-label="{escaped(self.alt, 600)}"' if self.alt else 'aria-hidden="true"'
        body = "".join(self.parts)
        return f'<svg class="{self.kind}" viewBox="0 0 {self.width:g} {self.height:g}" {label}>{body}</svg>'


SHAPES: dict[str, tuple[Point, ...]] = {
    "circle": (
        (1.0, 0.0), (0.866, 0.5), (0.5, 0.866), (0.0, 1.0), (-0.5, 0.866), (-0.866, 0.5),
        (-1.0, 0.0), (-0.866, -0.5), (-0.5, -0.866), (0.0, -1.0), (0.5, -0.866), (0.866, -0.5),
    ),
    "square": ((-0.9, -0.9), (0.9, -0.9), (0.9, 0.9), (-0.9, 0.9)),
    "diamond": ((0.0, -1.25), (1.25, 0.0), (0.0, 1.25), (-1.25, 0.0)),
    "up": ((0.0, -1.2), (1.15, 0.9), (-1.15, 0.9)),
    "down": ((0.0, 1.2), (1.15, -0.9), (-1.15, -0.9)),
    "cross": (
        (-0.4, -1.2), (0.4, -1.2), (0.4, -0.4), (1.2, -0.4), (1.2, 0.4), (0.4, 0.4),
        (0.4, 1.2), (-0.4, 1.2), (-0.4, 0.4), (-1.2, 0.4), (-1.2, -0.4), (-0.4, -0.4),
    ),
}  # fmt: skip
"""Marks that can be told apart without colour."""
