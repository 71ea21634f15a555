"""The drawings of many run-ups: feet of all runs along the runway with their scatter, and one run-up with its speeds."""

from __future__ import annotations

from collections.abc import Sequence

from penult.model.analysis import Analysis
from penult.model.measured import Measured
from penult.model.run_ups import Between, RunUps, Splits
from penult.outputs.charts.bars import Scale
from penult.outputs.charts.svg import Drawing, tight_scale
from penult.outputs.texts import words
from penult.outputs.texts.run_up_words import contact_name, scatter_text

_LEFT, _INSIDE = 44.0, 16.0
_ROW = 11.0


def scatter_chart(runs: RunUps, names: Sequence[str], *, width: float = 760.0) -> str:
    """Return the toes of all runs along the runway, a row a run, and above them each contact's scatter with its interval."""
    chosen = [(names[i], runs.trials[i].analysis) for i in runs.members]
    places = {n: _toes(a) for n, a in chosen}
    x_scale = tight_scale([0.0, *(x for toes in places.values() for _, x in toes)], parts=8)
    known = [(s, s.sd_m) for s in runs.scatter if isinstance(s.sd_m, Between)]
    most = max((sd.high for _, sd in known), default=0.1)
    y_scale = tight_scale([0.0, 100.0 * min(most, 2.0 * max((sd.value for _, sd in known), default=0.1))], parts=4)
    top, middle, right = 22.0, 170.0, width - _INSIDE
    bottom = middle + 34.0 + _ROW * len(chosen)
    alt = "scatter of the toe's place by contact: " + "; ".join(
        f"{contact_name(s.number)} {scatter_text(s)}" for s, _ in known
    )
    picture = Drawing(width, bottom + 44.0, "run-ups", alt)
    picture.text((2.0, 12.0), "scatter of the toe's place (SD), cm", "tick")

    def y(cm: float) -> float:
        return middle - max(0.0, min(1.0, (cm - y_scale.low) / (y_scale.high - y_scale.low))) * (middle - top)

    for tick in y_scale.ticks:
        if tick >= 0.0:
            picture.line((_LEFT, y(tick)), (right, y(tick)), "grid")
            picture.text((_LEFT - 5.0, y(tick) + 4.0), y_scale.text(tick), "tick", anchor="end")
    line = []
    for scatter, sd in known:
        at = x_scale.x(scatter.mean_m, _LEFT, right)
        picture.line((at, y(100.0 * sd.low)), (at, y(100.0 * sd.high)), "interval unclear")
        picture.mark((at, y(100.0 * sd.value)), "circle", "clip", size=4.2, title=scatter_text(scatter))
        picture.text((at, middle + 16.0), words.number(scatter.number, 0), "tick", anchor="middle")
        line.append((at, y(100.0 * sd.value)))
    picture.path(line, "mean")
    _rows(picture, places, x_scale, (middle + 30.0, right))
    _runway(picture, x_scale, (_LEFT, right, bottom))
    return picture.svg()


def run_up_chart(analysis: Analysis, splits: Splits, *, width: float = 760.0) -> str:
    """Return one run-up: steps as bars on the ground line, the speed of each above with its interval as a band, gates as lines."""
    toes = dict(_toes(analysis))
    steps = [
        (toes[s.number - 1], toes[s.number], s) for s in analysis.steps if s.number in toes and s.number - 1 in toes
    ]
    speeds = [
        ((a + b) / 2.0, m) for a, b, s in steps if isinstance(m := s.measures.get("step_speed_m_per_s"), Measured)
    ]
    if not steps or not speeds:
        return ""
    x_scale = tight_scale([0.0, *toes.values()], parts=8)
    y_scale = tight_scale([e for _, m in speeds for e in (m.value - m.u95, m.value + m.u95)], parts=4)
    top, middle, right, bottom = 22.0, 150.0, width - _INSIDE, 218.0
    alt = "speed of each step along the runway: " + ", ".join(
        words.shown("step_speed_m_per_s", m).text for _, m in speeds
    )
    picture = Drawing(width, bottom + 44.0, "run-up", alt)
    picture.text((2.0, 12.0), "step speed, m/s", "tick")

    def at(place: float, speed: float) -> tuple[float, float]:
        share = (speed - y_scale.low) / (y_scale.high - y_scale.low)
        return x_scale.x(place, _LEFT, right), middle - max(0.0, min(1.0, share)) * (middle - top)

    for tick in y_scale.ticks:
        picture.line((_LEFT, at(0.0, tick)[1]), (right, at(0.0, tick)[1]), "grid")
        picture.text((_LEFT - 5.0, at(0.0, tick)[1] + 4.0), y_scale.text(tick), "tick", anchor="end")
    band = [at(x, m.value + m.u95) for x, m in speeds] + [at(x, m.value - m.u95) for x, m in reversed(speeds)]
    picture.path(band, "band", closed=True)
    picture.path([at(x, m.value) for x, m in speeds], "mean")
    for (start, end), gate in zip(splits.zones_m, splits.gate, strict=True):
        if gate is not None:
            picture.line(at(start, gate), at(end, gate), "mean second")
    _bars(picture, steps, x_scale, right, bottom)
    _runway(picture, x_scale, (_LEFT, right, bottom))
    return picture.svg()


def _bars(
    picture: Drawing, steps: Sequence[tuple[float, float, object]], x_scale: Scale, right: float, bottom: float
) -> None:
    """Draw each step from toe to toe as a bar whose height is its length, with the length in figures."""
    longest = max(b - a for a, b, _ in steps)
    for a, b, _ in steps:
        left, end = x_scale.x(a, _LEFT, right), x_scale.x(b, _LEFT, right)
        height = 36.0 * (b - a) / longest
        picture.box((left + 1.0, bottom - height), (end - left - 2.0, height), "empty", title=f"{b - a:.2f} m")
        picture.text(((left + end) / 2.0, bottom - height - 4.0), f"{b - a:.2f}", "small", anchor="middle")


def _rows(
    picture: Drawing, places: dict[str, list[tuple[int, float]]], x_scale: Scale, box: tuple[float, float]
) -> None:
    top, right = box
    for i, (name, toes) in enumerate(places.items()):
        y = top + _ROW * (i + 0.5)
        picture.text((_LEFT - 5.0, y + 3.5), name.removesuffix(".mp4")[:6], "small", anchor="end")
        picture.line((_LEFT, y), (right, y), "grid")
        for number, x in toes:
            picture.mark(
                (x_scale.x(x, _LEFT, right), y), "circle", "clip", size=3.0, title=f"{contact_name(number)}: {x:.2f} m"
            )


def _runway(picture: Drawing, x_scale: Scale, box: tuple[float, float, float]) -> None:
    left, right, bottom = box
    picture.line((left, bottom), (right, bottom), "runway")
    picture.box(
        (x_scale.x(-0.2, left, right), bottom - 3.0),
        (x_scale.x(0.0, left, right) - x_scale.x(-0.2, left, right), 6.0),
        "board",
    )
    for tick in x_scale.ticks:
        x = x_scale.x(tick, left, right)
        picture.line((x, bottom), (x, bottom + 4.0), "axis")
        picture.text((x, bottom + 17.0), x_scale.text(tick), "tick", anchor="middle")
    picture.text((right, bottom + 34.0), "metres to the take-off line", "tick", anchor="end")


def _toes(analysis: Analysis) -> list[tuple[int, float]]:
    found = ((c.number, c.measures.get("toe_x_m")) for c in analysis.contacts)
    return [(n, m.value) for n, m in found if isinstance(m, Measured)]
