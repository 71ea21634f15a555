"""Printable sheets: one marker a page, with its number, a scale bar to check the printer, and lines to fill in.

Sizes are true when printed at 100 %. Drawn with matplotlib as PDF, vector cells, nothing rasterised.
"""

from __future__ import annotations

import io
from collections.abc import Mapping, Sequence
from typing import Any

from numpy.typing import NDArray

PAPER_MM: Mapping[str, tuple[float, float]] = {
    "a4": (210.0, 297.0),
    "letter": (215.9, 279.4),
    "a3": (297.0, 420.0),
    "tabloid": (279.4, 431.8),
}
SIDE_MM: Mapping[str, float] = {"a4": 150.0, "letter": 150.0, "a3": 210.0, "tabloid": 200.0}
"""Side of the black square: leaves a white edge of one cell, without which a marker is not found."""
_CELLS = 6
_BAR_MM = 100.0
_MM_PER_INCH = 25.4
_TEXT = {"family": "DejaVu Sans", "color": "#111111"}
_LINES = (
    "x  from the take-off line, negative before it",
    "y  of the square's middle, up from the runway",
    "z  aside of the middle line, positive to the athlete's right",
)
_HOW = (
    "Metres, to the middle of the black square.",
    "x along the run: 0 at the take-off line (the edge of the board nearest the pit), negative before it.",
    "y up from the runway. z aside of its middle line, positive to the athlete's right.",
    "Upright markers face the camera, square to the run: two on each stand, one low and one high.",
    "How far the camera stands from the middle line: by tape (below), or by two more upright markers",
    "2 m beyond the runway, far apart from each other.",
)


def marker_sheet(cells: Mapping[int, NDArray[Any]], paper: str) -> bytes:
    """Return the sheets as PDF: one page a marker, and a last page for all places.

    Parameters
    ----------
    cells : mapping of int to (6, 6) uint8
        Black (0) and white cells by marker number.
    paper : str
        A key of `PAPER_MM`.
    """
    from matplotlib.backends.backend_pdf import PdfPages  # noqa: PLC0415 - drawing is loaded when a sheet is wanted

    data = io.BytesIO()
    with PdfPages(data, metadata={"Title": "penult markers", "CreationDate": None}) as pdf:
        for number, squares in cells.items():
            pdf.savefig(_marker_page(number, squares, paper))
        pdf.savefig(_places_page(list(cells), paper))
    return data.getvalue()


def _page(paper: str) -> tuple[Any, Any]:
    """Return a figure of the paper's size and axes in millimetres, y up from its lower edge."""
    from matplotlib.figure import Figure  # noqa: PLC0415

    width, height = PAPER_MM[paper]
    figure = Figure(figsize=(width / _MM_PER_INCH, height / _MM_PER_INCH))
    axes = figure.add_axes((0.0, 0.0, 1.0, 1.0))
    axes.set_xlim(0.0, width)
    axes.set_ylim(0.0, height)
    axes.axis("off")
    return figure, axes


def _marker_page(number: int, squares: NDArray[Any], paper: str) -> Any:
    figure, axes = _page(paper)
    width, height = PAPER_MM[paper]
    side = SIDE_MM[paper]
    left, top = (width - side) / 2.0, height - (width - side) / 2.0
    _draw_cells(axes, squares, left, top, side)
    middle_x, middle_y = width / 2.0, top - side / 2.0
    for x, y, dx, dy in (
        (left - 4.0, middle_y, -7.0, 0.0),
        (left + side + 4.0, middle_y, 7.0, 0.0),
        (middle_x, top + 4.0, 0.0, 7.0),
        (middle_x, top - side - 4.0, 0.0, -7.0),
    ):
        axes.plot([x, x + dx], [y, y + dy], color="#777777", linewidth=0.8)  # towards the middle of the square
    foot = top - side - 20.0
    axes.text(left, foot, f"marker {number}", fontsize=26, fontweight="bold", va="top", **_TEXT)
    axes.text(
        left,
        foot - 15.0,
        f"black square {side / 10.0:.0f} cm; its middle is {middle_y / 10.0:.1f} cm above the lower edge of this sheet",
        fontsize=9,
        va="top",
        **_TEXT,
    )
    _draw_bar(axes, left, foot - 30.0)
    for i, line in enumerate(_LINES):
        y = foot - 44.0 - 9.0 * i
        axes.text(left, y, line, fontsize=9, va="bottom", **_TEXT)
        axes.plot([left + 108.0, left + 143.0], [y, y], color="#111111", linewidth=0.6)
        axes.text(left + 145.0, y, "m", fontsize=9, va="bottom", **_TEXT)
    return figure


def _draw_cells(axes: Any, squares: NDArray[Any], left: float, top: float, side: float) -> None:
    from matplotlib.patches import Rectangle  # noqa: PLC0415

    cell = side / _CELLS
    axes.add_patch(Rectangle((left, top - side), side, side, color="black", linewidth=0.0))
    for row in range(_CELLS):
        for column in range(_CELLS):
            if squares[row, column]:
                corner = (left + column * cell, top - (row + 1) * cell)
                axes.add_patch(Rectangle(corner, cell, cell, color="white", linewidth=0.0, antialiased=False))


def _draw_bar(axes: Any, left: float, y: float) -> None:
    """Draw a bar of 10 cm to be checked with a rule."""
    axes.plot([left, left + _BAR_MM], [y, y], color="#111111", linewidth=1.2, solid_capstyle="butt")
    for i in range(11):
        x = left + _BAR_MM * i / 10.0
        axes.plot([x, x], [y, y + (4.0 if i % 5 == 0 else 2.5)], color="#111111", linewidth=0.8)
    for i, line in enumerate(("10 cm by your rule? If not, print", "again at 100 %, not fitted to the page")):
        axes.text(left + _BAR_MM + 4.0, y + 3.2 - 3.6 * i, line, fontsize=7, va="center", **_TEXT)


def _places_page(numbers: Sequence[int], paper: str) -> Any:
    figure, axes = _page(paper)
    width, height = PAPER_MM[paper]
    left, y = 20.0, height - 25.0
    axes.text(left, y, "where the markers stand", fontsize=18, fontweight="bold", va="top", **_TEXT)
    for i, line in enumerate(_HOW):
        axes.text(left, y - 14.0 - 5.2 * i, line, fontsize=8.5, va="top", **_TEXT)
    y -= 24.0 + 5.2 * len(_HOW)
    columns = (0.0, 28.0, 62.0, 96.0, 130.0)
    for x, title in zip(columns, ("marker", "x m", "y m", "z m", "upright / flat"), strict=True):
        axes.text(left + x, y, title, fontsize=9, fontweight="bold", va="bottom", **_TEXT)
    for number in numbers[:22]:
        y -= 9.0
        axes.text(left, y, str(number), fontsize=10, va="bottom", **_TEXT)
        for x in columns[1:]:
            axes.plot([left + x, left + x + 28.0], [y, y], color="#111111", linewidth=0.6)
    for x, words in ((0.0, "camera to the middle line, square to it: ____________ m"), (110.0, "date: ____________")):
        axes.text(left + x, 22.0, words, fontsize=9, va="bottom", **_TEXT)
    axes.text(left, 14.0, f"paper {width:g} x {height:g} mm", fontsize=7, va="bottom", **_TEXT)
    return figure
