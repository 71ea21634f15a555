"""The hip's height over the distance to the take-off line, with the contacts, mats and the hip drop drawn in.

Hip and ground are two strips of one and the same scale, so that a mat's thickness and the hip's drop can be compared by
eye; what lies between them (the legs) is left out, and the chart says so. The run goes left to right whichever way it
was filmed.
"""

from __future__ import annotations

import io
import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Literal

import numpy as np

from penult.model.analysis import Analysis, Contact
from penult.model.arrays import Bools, Floats
from penult.model.measured import Measured
from penult.model.track import Motion
from penult.outputs.pictures import ink
from penult.outputs.pictures.figure import mats_of
from penult.outputs.pictures.moments import instant_s
from penult.outputs.texts import drops, words

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

Width = Literal["wide", "narrow", "file"]

# Stand-ins that the SVG turns into the page's own colours, so that one drawing serves light and dark.
_INK, _PAPER, _FAINT = "#010203", "#FDFCFB", "#8A8B8C"
_PAGE_COLOURS = {_INK: "var(--ink)", _PAPER: "var(--paper)", _FAINT: "var(--faint)"}
_PRINTED_COLOURS = {_INK: "#111111", _PAPER: "#FFFFFF", _FAINT: "#8A8B8C"}

_SHOE_M = 0.27
_LEAD_S = 0.04
"""Before the first touchdown the athlete is still coming into the picture: what the cut body reads there is no path."""
_LABEL_HALF_M = 0.85
"""About half the length of the hip drop's label on the chart."""
_MAT_BEHIND_M, _MAT_AHEAD_M = 0.45, 0.15


MOST_TICKS = 60
"""No axis has room for more."""


def ticks_between(low: float, high: float, step: float) -> Floats:
    """Return whole multiples of a step, or of twice, five or ten times it and so on where those would be too many."""
    factors = (1.0, 2.0, 5.0)
    place = 0
    while (high - low) / step > MOST_TICKS and place < 60:
        place += 1
        step *= factors[place % 3] / factors[(place - 1) % 3] * (10.0 if place % 3 == 0 else 1.0)
    return np.asarray(np.arange(np.ceil(low / step), np.floor((high - 1e-12) / step) + 1) * step)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Look:
    """Measures of one width of the chart, in inches and points."""

    size_in: tuple[float, float]
    text: float
    named: bool


_LOOKS: dict[Width, _Look] = {
    "file": _Look(size_in=(10.4, 3.5), text=10.5, named=True),
    "wide": _Look(size_in=(7.6, 2.9), text=10.0, named=True),
    "narrow": _Look(size_in=(4.5, 2.75), text=10.0, named=False),
}


def load() -> None:
    """Load what charts are drawn with, typefaces included, so that the first one takes no longer than the next."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg  # noqa: PLC0415 - takes a third of a second
    from matplotlib.figure import Figure  # noqa: PLC0415

    figure = Figure(figsize=(1.0, 1.0))
    FigureCanvasAgg(figure)
    figure.subplots().set_title("0")
    for kind in ("png", "svg"):
        figure.savefig(io.BytesIO(), format=kind)


def hip_chart_svg(analysis: Analysis, motion: Motion, width: Width = "wide") -> str:
    """Return the chart as an SVG element for a page: it takes the page's width, typeface and colours.

    The page defines the custom properties --ink, --paper and --faint.
    """
    figure = hip_chart(analysis, motion, width)
    from matplotlib import rc_context  # noqa: PLC0415 - takes a third of a second

    stream = io.StringIO()
    with rc_context({"svg.fonttype": "none", "svg.hashsalt": f"penult {width}"}):
        figure.savefig(stream, format="svg", metadata={"Date": None, "Creator": None})
    svg = stream.getvalue()
    svg = svg[svg.index("<svg") :]
    for stand_in, own in _PAGE_COLOURS.items():
        svg = svg.replace(stand_in.lower(), own).replace(stand_in, own)
    svg = re.sub(r"<metadata>.*?</metadata>", "", svg, flags=re.DOTALL)
    svg = re.sub(r"(font: (?:\w+ )*[\d.]+px) [^;\"]*", r"\1 system-ui, sans-serif", svg)
    svg = re.sub(r'<svg ([^>]*?)height="[^"]*"', r"<svg \1", svg, count=1)
    svg = re.sub(r'(<svg [^>]*?)width="[^"]*"', r'\1class="chart" role="img"', svg, count=1)
    # ids are used inside one drawing only; a page may hold several
    return re.sub(r'(id="|xlink:href="#|url\(#)', rf"\g<1>{width}-", svg)


def hip_chart_png(analysis: Analysis, motion: Motion) -> bytes:
    """Return the chart as a PNG file, black on white."""
    figure = hip_chart(analysis, motion, "file", _PRINTED_COLOURS)
    stream = io.BytesIO()
    figure.savefig(stream, format="png", dpi=150, metadata={"Software": None})
    return stream.getvalue()


def hip_chart(analysis: Analysis, motion: Motion, width: Width, colours: dict[str, str] | None = None) -> Figure:
    """Return the chart as a figure; `colours` replaces the stand-ins."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg  # noqa: PLC0415 - takes a third of a second
    from matplotlib.figure import Figure  # noqa: PLC0415

    chart = _Chart(analysis, motion, _LOOKS[width], colours or {c: c for c in _PAGE_COLOURS})
    figure = Figure(figsize=_LOOKS[width].size_in, facecolor=chart.paper)
    FigureCanvasAgg(figure)
    top, bottom = figure.subplots(2, 1, sharex=True, gridspec_kw={"height_ratios": chart.height_ratios, "hspace": 0.04})
    chart.draw_hip(top)
    chart.draw_ground(bottom)
    chart.draw_cut(top, bottom)
    wide_in, high_in = _LOOKS[width].size_in
    figure.subplots_adjust(left=0.62 / wide_in, right=0.992, top=0.975, bottom=0.46 / high_in)
    return figure


class _Chart:
    """What is drawn and where; lengths in metres."""

    def __init__(self, analysis: Analysis, motion: Motion, look: _Look, colours: dict[str, str]) -> None:
        self.analysis, self.motion, self.look = analysis, motion, look
        self.ink, self.paper, self.faint = (colours[c] for c in (_INK, _PAPER, _FAINT))
        self.contacts = [c for c in analysis.contacts if isinstance(c.measures.get("toe_x_m"), Measured)]
        good = np.isfinite(motion.hip_m).all(axis=1) & (motion.pixels.time_s >= _first_s(self.contacts) - _LEAD_S)
        self.time_s, self.hip_m = motion.pixels.time_s[good], motion.hip_m[good]
        self.half_m = _band_half_m(analysis, self.time_s)
        self.mats = mats_of(analysis)
        self.x_lim = self._x_lim()
        self.y_lim = self._y_lim()
        self.ground_lim = (-0.062 if look.named else -0.05, max([0.0, *self.mats.values()]) + 0.012)

    @property
    def height_ratios(self) -> tuple[float, float]:
        """Heights of the two strips: in proportion to what they show, so that both have one scale."""
        return self.y_lim[1] - self.y_lim[0], self.ground_lim[1] - self.ground_lim[0]

    def _x_lim(self) -> tuple[float, float]:
        toes = [_value(c, "toe_x_m") for c in self.contacts]
        if not toes:
            x = self.hip_m[:, 0]
            return (float(x.min()), float(x.max())) if len(x) else (-1.0, 1.0)
        return min(toes) - 0.85, max(toes) + 0.75

    def _y_lim(self) -> tuple[float, float]:
        seen = (self.hip_m[:, 0] >= self.x_lim[0]) & (self.hip_m[:, 0] <= self.x_lim[1])
        if not seen.any():
            return 0.8, 1.1
        height, half = self.hip_m[seen, 1], self.half_m[seen]
        low = float((height - half).min())
        # the rise after the take-off would press the approach flat: the axis ends a little above the run-up's hips
        end_s = instant_s(self.contacts[-1], "toe_off") if self.contacts else None
        run_up = height[self.time_s[seen] <= end_s] if end_s is not None else height
        high = min(float((height + half).max()), float(np.max(run_up if len(run_up) else height)) + 0.03)
        return low - 0.012, max(high, low + 0.12) + 0.02

    def draw_hip(self, axes: Axes) -> None:
        """Draw band, path, supports, lowest points and the drop."""
        x, y = self.hip_m.T
        axes.fill_between(x, y - self.half_m, y + self.half_m, color=self.faint, alpha=0.28, linewidth=0.0)
        axes.plot(x, y, color=self.ink, linewidth=1.3)
        for contact in self.contacts:
            inside = self._support(contact)
            axes.plot(x[inside], y[inside], color=self.ink, linewidth=4.0, solid_capstyle="butt")
            self._draw_lowest(axes, contact)
        self._draw_drop(axes)
        axes.set_xlim(*self.x_lim)
        axes.set_ylim(*self.y_lim)
        self._frame(axes)
        axes.set_ylabel("hip height, cm", color=self.ink, fontsize=self.look.text)
        ticks = ticks_between(*self.y_lim, 0.05)
        axes.set_yticks(ticks, [f"{100 * t:.0f}" for t in ticks])
        axes.tick_params(axis="x", length=0, labelbottom=False)

    def draw_ground(self, axes: Axes) -> None:
        """Draw runway, board, mats and a bar with its letter for every contact."""
        axes.axhline(0.0, color=ink.hex_colour(ink.RUNWAY), linewidth=2.5, zorder=1)
        if words.has_line(self.analysis):
            board: dict[str, Any] = {"width": 0.2, "height": 0.012, "facecolor": self.paper, "edgecolor": self.ink}
            axes.bar(-0.1, bottom=-0.012, linewidth=1.2, zorder=2, **board)
            axes.plot([0.0, 0.0], [0.0, self.ground_lim[1]], color=self.ink, linewidth=1.2, dashes=(2, 2), zorder=1)
        for contact in self.contacts:
            toe = _value(contact, "toe_x_m")
            base = self.mats.get(contact.number, 0.0)
            if base:
                self._draw_mat(axes, toe, base)
            axes.plot(
                [toe - _SHOE_M, toe], [base, base], color=ink.hex_colour(ink.SUPPORT), linewidth=6.0, zorder=4,
                solid_capstyle="butt",
            )  # fmt: skip
            self._name(axes, contact, toe - _SHOE_M / 2.0)
        axes.set_ylim(*self.ground_lim)
        self._frame(axes)
        axes.set_yticks([0.0], ["0"])
        zero = "to the take-off line" if words.has_line(self.analysis) else "to the first mark of the lane file"
        axes.set_xlabel(f"distance {zero}, m", color=self.ink, fontsize=self.look.text, labelpad=2)
        whole = ticks_between(self.x_lim[0], self.x_lim[1] + 1e-9, 1.0)
        axes.set_xticks(whole, [words.number(w, 0) for w in whole])

    def draw_cut(self, top: Axes, bottom: Axes) -> None:
        """Show that the axis is cut between the two strips."""
        top.spines["bottom"].set_visible(False)
        bottom.spines["top"].set_visible(False)
        mark: dict[str, Any] = {
            "marker": [(-1, -0.6), (1, 0.6)],
            "markersize": 8,
            "linestyle": "none",
            "color": self.ink,
        }
        top.plot([0], [0], transform=top.transAxes, clip_on=False, **mark)
        bottom.plot([0], [1], transform=bottom.transAxes, clip_on=False, **mark)
        note = f"axis cut: starts at {100 * self.y_lim[0]:.0f} cm"
        top.text(
            0.008, 0.025, f"{note}, ground at the same scale" if self.look.named else note,
            transform=top.transAxes, color=self.ink, fontsize=self.look.text - 2.0, style="italic",
        )  # fmt: skip

    def _support(self, contact: Contact) -> Bools:
        start_s, end_s = instant_s(contact, "touchdown"), instant_s(contact, "toe_off")
        if start_s is None or end_s is None:
            return np.zeros(len(self.time_s), dtype=bool)
        return np.asarray((self.time_s >= start_s) & (self.time_s <= end_s))

    def _lowest_m(self, contact: Contact) -> tuple[float, float] | None:
        """Return place and height of the lowest hip in a support; the height is the measured one."""
        if contact.lowest_s is None or not len(self.time_s):
            return None
        height = contact.measures.get("hip_height_lowest_m")
        if not isinstance(height, Measured):
            return None
        return float(np.interp(contact.lowest_s, self.time_s, self.hip_m[:, 0])), height.value

    def _draw_lowest(self, axes: Axes, contact: Contact) -> None:
        at = self._lowest_m(contact)
        if at:
            axes.plot(
                *at, marker="o", markersize=8, markerfacecolor=self.paper, markeredgecolor=self.ink,
                markeredgewidth=1.6, zorder=6,
            )  # fmt: skip

    def _draw_drop(self, axes: Axes) -> None:
        """Draw the penultimate hip drop between the two lowest points."""
        before, after = self.analysis.contact(-2), self.analysis.contact(-1)
        drop = self.analysis.penultimate.get("penultimate_hip_drop_m")
        start = self._lowest_m(before) if before else None
        end = self._lowest_m(after) if after else None
        if not start or not end or not isinstance(drop, Measured):
            return
        x = end[0] + 0.42
        thin: dict[str, Any] = {"color": self.ink, "linewidth": 1.2, "zorder": 5}
        axes.plot([start[0], x + 0.1], [start[1]] * 2, linestyle=(0, (4, 3)), **thin)
        axes.plot([end[0], x + 0.1], [end[1]] * 2, linestyle=(0, (4, 3)), **thin)
        if abs(start[1] - end[1]) > 0.015:  # a smaller gap has no room for two heads
            axes.annotate(
            "", xy=(x, end[1]), xytext=(x, start[1]), zorder=6,
            arrowprops={"arrowstyle": "<->", "color": self.ink, "linewidth": 1.6, "shrinkA": 0, "shrinkB": 0},
        )  # fmt: skip
        shown = words.shown("penultimate_hip_drop_m", drop)
        above = "\nabove the runway" if drops.has_mats(self.analysis) else ""
        text = f"hip drop {shown.text}{above}" if self.look.named else "hip drop"
        axes.text(
            x, self._above(x, max(start[1], end[1])), text, color=self.ink, ha="center", va="bottom",
            fontsize=self.look.text, fontweight="bold", zorder=7,
            bbox={"facecolor": self.paper, "edgecolor": "none", "pad": 1.0, "alpha": 0.8},
        )  # fmt: skip

    def _above(self, x: float, y: float) -> float:
        """Return a height above the drop's lines and above the path, where a label about `x` covers neither."""
        under = np.abs(self.hip_m[:, 0] - x) < _LABEL_HALF_M
        highest = float(self.hip_m[under, 1].max()) if under.any() else y
        room = self.y_lim[1] - 0.016
        return max(y, min(highest, room) if highest < room else y) + 0.004

    def _draw_mat(self, axes: Axes, toe: float, thickness_m: float) -> None:
        """Draw a mat of its true height; its ends are dashed, because its length is not known."""
        orange = ink.hex_colour(ink.MAT)
        text = f"{100 * thickness_m:g} cm"
        x0, x1 = toe - _SHOE_M - _MAT_BEHIND_M, toe + _MAT_AHEAD_M
        axes.fill_between([x0, x1], 0.0, thickness_m, color=orange, alpha=0.55, linewidth=0.0, zorder=2)
        axes.plot([x0, x1], [thickness_m] * 2, color=orange, linewidth=1.8, zorder=3)
        for x in (x0, x1):
            axes.plot([x, x], [0.0, thickness_m], color=orange, linewidth=1.5, linestyle=(0, (2, 2)), zorder=3)
        axes.text(
            (x0 + x1) / 2.0, thickness_m / 2.0, f"mat {text}" if self.look.named else text, color=self.ink,
            ha="center", va="center", zorder=5, fontsize=self.look.text - 2.0,
        )  # fmt: skip

    def _name(self, axes: Axes, contact: Contact, x: float) -> None:
        """Write a contact's letter, time and name below its bar."""
        shown = words.shown("contact_time_s", contact.measures.get("contact_time_s"))
        text = words.side(contact) if shown.reason else f"{words.side(contact)}  {shown.value} ms"
        size = self.look.text - (0.0 if self.look.named else 1.5)
        axes.text(x, -0.017, text, color=self.ink, ha="center", va="top", fontsize=size, fontweight="bold")
        if self.look.named:
            name = words.contact_words(contact.number, self.analysis.run)
            axes.text(x, -0.0385, name, color=self.ink, ha="center", va="top", fontsize=size - 1.5)

    def _frame(self, axes: Axes) -> None:
        axes.set_facecolor("none")
        axes.tick_params(colors=self.ink, labelsize=self.look.text - 1.0, length=3)
        for side, spine in axes.spines.items():
            spine.set_color(self.faint)
            spine.set_visible(side in ("left", "bottom"))


def _first_s(contacts: Sequence[Contact]) -> float:
    """Return the first touchdown; before everything where none is known."""
    starts = [start for c in contacts if (start := instant_s(c, "touchdown")) is not None]
    return min(starts, default=-np.inf)


def _value(contact: Contact, name: str) -> float:
    measure = contact.measures[name]
    return measure.value if isinstance(measure, Measured) else float("nan")


def _band_half_m(analysis: Analysis, time_s: Floats) -> Floats:
    """Return half the width of the band at each time: u95 of the hip heights, straight between where they are known."""
    known = []
    for contact in analysis.contacts:
        for instant in ("touchdown", "lowest", "toe_off"):
            at, measure = instant_s(contact, instant), contact.measures.get(f"hip_height_{instant}_m")
            if at is not None and isinstance(measure, Measured):
                known.append((at, measure.u95))
    if not known:
        return np.zeros(len(time_s))
    known.sort()
    return np.interp(time_s, [k[0] for k in known], [k[1] for k in known])
