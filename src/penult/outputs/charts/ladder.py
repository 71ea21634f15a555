"""The ladder of the last steps: both groups on one runway, contacts where they stood, steps and flights between them."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from penult.model.comparison import Comparison
from penult.model.measured import Measured
from penult.model.trial import MeasureKey, Trial, measures_of
from penult.outputs.charts.comparison_charts import SHOE_M, groups_of
from penult.outputs.charts.comparison_pictures import by_middle
from penult.outputs.charts.svg import Drawing, Point


def ladder(comparison: Comparison, *, width: float = 760.0) -> str:
    """Return the last steps of both groups on the runway: place of every contact, step lengths and times between.

    Means where a group has them, else its middle clip, named beside the group; '' where there are no places at all.
    """
    lanes = []
    for i, (name, group) in enumerate(groups_of(comparison)):
        rungs, title = _rungs(_means_of(comparison, i)), f"{group.name}, mean"
        if len(rungs) < 2 or len(group.trials) == 1:
            trial = group.trials[by_middle(group)[0]]
            rungs, title = _rungs(_values_of(trial)), f"{group.name}, one clip: {trial.analysis.clip.file}"
        if len(rungs) > 1:
            lanes.append((name, title, rungs))
    if not lanes:
        return ""
    wide = width > 500.0
    keep = -3 if wide else -2
    lanes = [(name, title, [r for r in rungs if r.number >= keep]) for name, title, rungs in lanes]
    low = min(r.toe_m for _, _, rungs in lanes for r in rungs) - SHOE_M - 0.15
    high = max(0.0, *(r.toe_m for _, _, rungs in lanes for r in rungs)) + 0.15
    left, right, each = 6.0, width - 6.0, 86.0
    picture = Drawing(width, each * len(lanes) + 8.0, "ladder", _ladder_alt(lanes))

    def x(value: float) -> float:
        return left + (value - low) / (high - low) * (right - left)

    for i, (name, title, rungs) in enumerate(lanes):
        _draw_rungs(picture, name, title, rungs, x, (each * i + 46.0, right))
    picture.line((x(0.0), 16.0), (x(0.0), each * len(lanes) - 34.0), "board-line")
    return picture.svg()


@dataclass(frozen=True, slots=True, kw_only=True)
class _Rung:
    """One contact and of the step that ends at it; texts are ready to be written."""

    number: int
    toe_m: float
    contact: str
    step: str
    flight: str


Lookup = Callable[[str, int, str], float | None]


def _means_of(comparison: Comparison, i: int) -> Lookup:
    def mean(part: str, number: int, name: str) -> float | None:
        row = comparison.row(MeasureKey(part, number, name))
        return None if row is None else (row.first, row.second)[i].mean

    return mean


def _values_of(trial: Trial) -> Lookup:
    measures = measures_of(trial.analysis)

    def value(part: str, number: int, name: str) -> float | None:
        measure = measures.get(MeasureKey(part, number, name))
        return measure.value if isinstance(measure, Measured) else None

    return value


def _rungs(lookup: Lookup) -> list[_Rung]:
    found = []
    for number in (-3, -2, -1, 0):
        toe = lookup("contacts", number, "toe_x_m")
        if toe is not None:
            contact, step = lookup("contacts", number, "contact_time_s"), lookup("steps", number, "step_length_m")
            flight = lookup("steps", number, "flight_time_s")
            found.append(
                _Rung(
                    number=number,
                    toe_m=toe,
                    contact="" if contact is None else f"{1e3 * contact:.0f} ms",
                    step="" if step is None else f"{step:.2f} m",
                    flight="" if flight is None else f"{1e3 * flight:.0f} ms",
                )
            )
    return found


def _draw_rungs(
    picture: Drawing, name: str, title: str, rungs: Sequence[_Rung], x: Callable[[float], float], place: Point
) -> None:
    y, right = place
    picture.text((6.0, y - 32.0), title, "label")
    picture.line((6.0, y), (right, y), "runway")
    for before, rung in zip([None, *rungs], rungs, strict=False):
        end = x(rung.toe_m)
        start = x(rung.toe_m - SHOE_M)
        picture.box((start, y - 7.0), (end - start, 7.0), f"contact {name}")
        picture.text(((start + end) / 2.0, y + 15.0), rung.contact, "tick", anchor="middle")
        if before is not None and rung.step:
            middle = (x(before.toe_m) + end) / 2.0
            picture.path(
                [(x(before.toe_m), y - 12.0), (x(before.toe_m), y - 16.0), (end, y - 16.0), (end, y - 12.0)], "span"
            )
            picture.text((middle, y - 20.0), rung.step, "tick", anchor="middle")
            picture.text((middle, y - 5.0), rung.flight and f"flight {rung.flight}", "small", anchor="middle")


def _ladder_alt(lanes: Sequence[tuple[str, str, list[_Rung]]]) -> str:
    return "Step ladder. " + " ".join(
        f"{title}: " + ", ".join(f"{r.step} step, {r.contact} contact" for r in rungs if r.step) + "."
        for _, title, rungs in lanes
    )
