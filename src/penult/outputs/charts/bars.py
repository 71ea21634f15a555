"""Small scales for a page, as SVG text: a value is a dot on the bar of its interval, a time is a bar from zero.

Colours are the page's custom properties (--ink, --muted, --faint, --support); everything also reads in black and white.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

from penult.model.measured import Measure, Measured
from penult.outputs.texts import words
from penult.outputs.texts.references import Band


@dataclass(frozen=True, slots=True, kw_only=True)
class Scale:
    """A stretch of a measure's axis, in the unit that is shown.

    Parameters
    ----------
    low, high, step : float
        Ends and the distance of the ticks.
    """

    low: float
    high: float
    step: float

    def x(self, value: float, left: float, right: float) -> float:
        """Return where a value lies between two pixels; beyond the ends it stays at the end."""
        share = (value - self.low) / (self.high - self.low)
        return left + min(1.0, max(0.0, share)) * (right - left)

    @property
    def ticks(self) -> list[float]:
        """Values of the ticks."""
        first = math.ceil(self.low / self.step - 1e-9)
        last = math.floor(self.high / self.step + 1e-9)
        return [i * self.step for i in range(first, last + 1)]

    def text(self, value: float) -> str:
        """Return a tick's label."""
        return words.number(value, max(0, -math.floor(math.log10(self.step) + 1e-9)))


def scale_for(values: Iterable[float], *, parts: int = 4) -> Scale:
    """Return a scale with round ends that holds all the values (in the shown unit)."""
    found = [v for v in values if math.isfinite(v)] or [0.0, 1.0]
    low, high = min(found), max(found)
    width = max(high - low, 1e-6 * max(1.0, abs(high)), 1e-9)
    rough = 1.15 * width / parts
    power = 10.0 ** math.floor(math.log10(rough))
    step = next(s * power for s in (1.0, 2.0, 5.0, 10.0) if s * power >= rough - 1e-12)
    first, last = math.floor(low / step + 1e-9), math.ceil(high / step - 1e-9)
    return Scale(low=first * step, high=max(last, first + 1) * step, step=step)  # one value alone has a width too


def spread(name: str, measures: Iterable[Measure | None], band: Band | None = None) -> list[float]:
    """Return the ends of all intervals and of the band, in the shown unit: what a common scale has to hold."""
    factor = words.term(name).scale
    ends = [e for m in measures if isinstance(m, Measured) for e in (m.value - m.u95, m.value + m.u95)]
    if band:
        ends += [band.low, band.high]
    return [factor * e for e in ends]


def interval_bar(name: str, measure: Measure | None, scale: Scale, band: Band | None = None) -> str:
    """Return a line-high scale with its ends written: for a row of a table."""
    if not isinstance(measure, Measured) or measure.u95 == 0.0:  # a count has no interval to draw
        return ""
    left, right, y = 34.0, 166.0, 9.0
    body = _line(left, y, right, y, "faint", 1.0)
    body += _text(left - 4, y + 3.5, scale.text(scale.low), "end", 10) + _text(
        right + 4, y + 3.5, scale.text(scale.high), "start", 10
    )
    if band:
        body += _band(band, name, scale, (left, right), (3.0, 12.0))
    return _svg(200, 18, body + _interval(name, measure, scale, (left, right), y), "bar", _alt(name, measure))


def headline_bar(name: str, measure: Measure | None, scale: Scale, band: Band | None = None) -> str:
    """Return a scale with ticks and numbers: for a headline."""
    left, right, y = 10.0, 270.0, 14.0
    body = _axis(scale, (left, right), 26.0)
    if band:
        body += _band(band, name, scale, (left, right), (5.0, 18.0))
    if isinstance(measure, Measured):
        body += _interval(name, measure, scale, (left, right), y)
    return _svg(280, 42, body, "bar headline", _alt(name, measure))


def time_bars(rows: Iterable[tuple[str, Measure | None, Band | None]], scale: Scale) -> str:
    """Return contact times on one axis: a bar as long as each lasted, its interval at the end."""
    left, right, step = 22.0, 270.0, 20.0
    body, y = "", 4.0
    alt = []
    for letter, measure, band in rows:
        if band:
            body += _band(band, "contact_time_s", scale, (left, right), (y - 2.0, 17.0))
        body += _text(2, y + 11, letter, "start", 13, bold=True)
        if isinstance(measure, Measured):
            end = scale.x(1e3 * measure.value, left, right)
            body += f'<rect class="time" x="{left:.1f}" y="{y:.1f}" width="{end - left:.1f}" height="13"/>'
            body += _interval("contact_time_s", measure, scale, (left, right), y + 6.5)
        alt.append(f"{letter}: {_alt('contact_time_s', measure)}")
        y += step
    return _svg(280, round(y + 20), body + _axis(scale, (left, right), y), "bar headline", "; ".join(alt))


def velocity_sketch(forward: Measure | None, upward: Measure | None, angle: Measure | None) -> str:
    """Return forward and upward speed at take-off as arrows of one scale, with the angle between them."""
    if not isinstance(forward, Measured) or not isinstance(upward, Measured):
        return ""
    px_per_unit = min(230.0 / max(forward.value, 0.1), 110.0 / max(upward.value, 0.1))
    x0, y0 = 14.0, 132.0
    x1, y1 = x0 + px_per_unit * forward.value, y0 - px_per_unit * upward.value
    body = _arrow((x0, y0), (x1, y0)) + _arrow((x1, y0), (x1, y1)) + _arrow((x0, y0), (x1, y1), heavy=True)
    body += _text((x0 + x1) / 2, y0 + 18, words.shown("takeoff_velocity_x_m_per_s", forward).text, "middle", 13)
    body += _text(x1 + 8, (y0 + y1) / 2 + 4, words.shown("takeoff_velocity_y_m_per_s", upward).text, "start", 13)
    if isinstance(angle, Measured):
        rise = math.radians(angle.value)
        r = 74.0
        body += (
            f'<path class="thin" d="M{x0 + r:.1f} {y0:.1f} A{r} {r} 0 0 0 '
            f'{x0 + r * math.cos(rise):.1f} {y0 - r * math.sin(rise):.1f}"/>'
        )
        body += _text(x0 + r + 8, y0 - 8, words.shown("takeoff_angle_deg", angle).text, "start", 14, bold=True)
    return _svg(360, 158, body, "sketch", "forward and upward speed at take-off as arrows of one scale")


def _interval(name: str, measure: Measured, scale: Scale, ends: tuple[float, float], y: float) -> str:
    factor = words.term(name).scale
    low, at, high = (
        scale.x(factor * v, *ends) for v in (measure.value - measure.u95, measure.value, measure.value + measure.u95)
    )
    bar = _line(low, y, high, y, "ink", 4.0)
    caps = "".join(_line(x, y - 5, x, y + 5, "ink", 1.5) for x in (low, high))
    return f'{bar}{caps}<circle class="dot" cx="{at:.1f}" cy="{y:.1f}" r="3.2"/>'


def _band(band: Band, name: str, scale: Scale, ends: tuple[float, float], span: tuple[float, float]) -> str:
    """Draw a published band as a dashed box behind the value."""
    factor = words.term(name).scale
    low, high = scale.x(factor * band.low, *ends), scale.x(factor * band.high, *ends)
    return f'<rect class="band" x="{low:.1f}" y="{span[0]:.1f}" width="{high - low:.1f}" height="{span[1]:.1f}"/>'


def _axis(scale: Scale, ends: tuple[float, float], y: float) -> str:
    body = _line(ends[0], y, ends[1], y, "muted", 1.0)
    for tick in scale.ticks:
        x = scale.x(tick, *ends)
        body += _line(x, y, x, y + 4, "muted", 1.0) + _text(x, y + 15, scale.text(tick), "middle", 11)
    return body


def _arrow(start: tuple[float, float], end: tuple[float, float], *, heavy: bool = False) -> str:
    length = math.hypot(end[0] - start[0], end[1] - start[1]) or 1.0
    ux, uy = (end[0] - start[0]) / length, (end[1] - start[1]) / length
    head = 10.0
    wings = [(end[0] - head * (ux + s * 0.45 * uy), end[1] - head * (uy - s * 0.45 * ux)) for s in (1.0, -1.0)]
    points = f"{wings[0][0]:.1f},{wings[0][1]:.1f} {end[0]:.1f},{end[1]:.1f} {wings[1][0]:.1f},{wings[1][1]:.1f}"
    width = 3.5 if heavy else 2.0
    return (
        _line(*start, *end, "ink", width) + f'<polyline class="thin" style="stroke-width:{width}" points="{points}"/>'
    )


def _line(x0: float, y0: float, x1: float, y1: float, colour: str, width: float) -> str:
    place = f'x1="{x0:.1f}" y1="{y0:.1f}" x2="{x1:.1f}" y2="{y1:.1f}"'
    return f'<line {place} stroke="var(--{colour})" stroke-width="{width:g}"/>'


def _text(x: float, y: float, text: str, anchor: str, size: int, *, bold: bool = False) -> str:
    weight = ' font-weight="700"' if bold else ""
    return f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}" font-size="{size}"{weight}>{text}</text>'


def _svg(width: int, height: int, body: str, kind: str, alt: str) -> str:
    label = alt.replace("&", "&amp;").replace('"', "&quot;").replace("<", "&lt;")
    return f'<svg class="{kind}" viewBox="0 0 {width} {height}" role="img" aria-label="{label}">{body}</svg>'


def _alt(name: str, measure: Measure | None) -> str:
    shown = words.shown(name, measure)
    return f"{words.term(name).words}: {shown.text}" if not shown.reason else f"not measured: {shown.reason}"
