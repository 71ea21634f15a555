"""A season as a page that can be sent or printed, and as a table."""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence
from datetime import date
from typing import Any

from markupsafe import Markup

from penult.core.clips.groups import mats_words
from penult.core.clips.season import SPEEDS, headlines
from penult.core.csv_cells import guarded
from penult.model.comparison import Change, Condition, Season, SeasonMeasure
from penult.model.logbook import Athlete, CoachNote, TapeResult
from penult.model.measured import Measured
from penult.model.trial import measures_of
from penult.outputs.charts.season_charts import (
    Kind,
    change_bar,
    date_chart,
    day_text,
    kinds_of,
    strides_chart,
    weeks_chart,
)
from penult.outputs.charts.season_slopes import own_words, published_for, slope_chart
from penult.outputs.charts.svg import Drawing, escaped
from penult.outputs.pages import layout
from penult.outputs.pages.page_files import MARK
from penult.outputs.texts import words
from penult.outputs.texts.plain import shown
from penult.outputs.texts.season_findings import season_findings
from penult.outputs.texts.verdicts import amount, detectable_text, full_words, value_text


def season_html(
    season: Season, athlete: Athlete, tape: Sequence[TapeResult], notes: Sequence[CoachNote], *, source: str
) -> str:
    """Return the page.

    Parameters
    ----------
    season : Season
        The clips and what was made of them.
    athlete : Athlete
        What is known of the person.
    tape, notes : sequence
        Tape-measured results and the coach's notes.
    source : str
        Where the clips came from.

    Returns
    -------
    str
        A whole HTML document, drawings inside.
    """
    kinds = kinds_of(season)
    days = sorted({t.said.date for t in season.trials})
    return layout.template("season.html.j2").render(
        s=season,
        athlete=athlete,
        mark=MARK,
        source=source,
        findings=season_findings(season),
        days=days,
        legend=[_legend(kind) for kind in kinds.values()],
        measures=[
            _measure(m, kinds, (date.fromisoformat(days[0]), date.fromisoformat(days[-1]))) for m in season.measures
        ],
        changes=_changes(season),
        slopes=[_slope(season, i, kinds) for i in range(len(season.slopes))],
        weeks=[Markup(weeks_chart(season.takeoffs_a_week, width=w)) for w in (760.0, 370.0)],
        takeoffs=sum(n for _, n in season.takeoffs_a_week),
        tape=_tape(tape),
        notes=notes,
        words=words,
        shown=shown,
    )


def season_csv(season: Season) -> dict[str, bytes]:
    """Return `season.csv`: one row a clip with what was said of it and the headline values; SI units and degrees."""
    keys = list(dict.fromkeys((*headlines(), *SPEEDS)))
    head = ["date", "session", "file", "kind", "approach_strides", "mats", "official_distance_m", "lane_file", "penult"]
    for key in keys:
        name = key.name if key.number is None else f"{key.name}_of_{key.part[:-1]}_{key.number}"
        head += [name, f"{name}_u95"]
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(head)
    for trial in season.trials:
        said, method = trial.said, trial.analysis.method
        texts = [said.date, said.session, trial.analysis.clip.file, trial.analysis.run.kind]
        row: list[Any] = [guarded(t) for t in texts]
        row += [said.approach_strides, mats_words(trial.mats), said.official_distance_m]
        row += [guarded(str(method.get("calibration", ""))), guarded(str(method.get("penult", "")))]
        measures = measures_of(trial.analysis)
        for key in keys:
            m = measures.get(key)
            row += [f"{m.value:.6g}", f"{m.u95:.6g}"] if isinstance(m, Measured) else ["", ""]
        writer.writerow(["" if cell is None else cell for cell in row])
    return {"season.csv": out.getvalue().encode("utf-8", errors="replace")}


def _legend(kind: Kind) -> Markup:
    """Return a kind's mark and name as they stand above the charts."""
    picture = Drawing(34.0, 14.0, "legend")
    picture.line((1.0, 7.0), (33.0, 7.0), f"trend k{kind.number}")
    picture.mark((17.0, 7.0), kind.shape, f"k{kind.number} session", size=4.6)
    return Markup(f'<span class="key">{picture.svg()}<bdi>{escaped(kind.name)}</bdi></span>')


def _measure(measure: SeasonMeasure, kinds: dict[str, Kind], span: tuple[date, date]) -> dict[str, Any]:
    unit = words.term(measure.key.name).unit
    return {
        "title": words.capitalised(full_words(measure.key)),
        "unit": unit,
        "wide": Markup(date_chart(measure, kinds, span, width=760.0)),
        "narrow": Markup(date_chart(measure, kinds, span, width=370.0)),
        "strides": Markup(strides_chart(measure, kinds)),
        "detectable": detectable_text(measure.minimal_detectable_change, measure.typical_error, measure.key.name),
    }


def _changes(season: Season) -> dict[str, Any]:
    """Return the changes as a table: a row a measure, a column a kind and approach."""
    conditions = list(dict.fromkeys(c.condition for c in season.changes))
    conditions.sort(key=lambda c: (c.kind, c.approach_strides or 0, c.mats))
    rows = []
    for key in dict.fromkeys(c.key for c in season.changes):
        found = {c.condition: c for c in season.changes if c.key == key}
        reach = 1.15 * max(max(abs(c.difference.value), c.difference.half_width) for c in found.values())
        cells = [_change(found[c], reach) if c in found else None for c in conditions]
        rows.append((words.capitalised(full_words(key)), cells))
    return {
        "heads": [_condition_words(c) for c in conditions],
        "rows": rows,
        "beyond": sum(c.beyond for c in season.changes),
        "count": len(season.changes),
        "some_from_measurement": any(not c.typical_error.from_repeats for c in season.changes),
    }


def _condition_words(condition: Condition) -> tuple[str, str]:
    strides = f"{condition.approach_strides} strides" if condition.approach_strides else ""
    more = [strides, mats_words(condition.mats) if condition.mats else ""]
    return condition.kind or "kind not given", ", ".join(w for w in more if w)


def _change(change: Change, reach: float) -> dict[str, Any]:
    name, limit = change.key.name, change.difference.half_width
    term = words.term(name)
    places = words.decimals(term.scale * limit)
    sides = [(change.before_date, change.before), (change.since_date, change.since)]
    said = [
        f"{value_text(sum(v) / len(v), limit, name)}, {day_text(date.fromisoformat(day))} ({len(v)})"
        for day, v in sides
    ]
    return {
        "beyond": change.beyond,
        "bar": Markup(change_bar(change, reach)),
        "change": f"{words.number(term.scale * change.difference.value, places, sign=True)}{words.spaced(term.unit)}",
        "limit": f"{amount(limit, name)}{'' if change.typical_error.from_repeats else '*'}",
        "sides": said,
        "notes": change.notes,
    }


def _slope(season: Season, i: int, kinds: dict[str, Kind]) -> dict[str, Any]:
    slope = season.slopes[i]
    return {
        "title": f"Official distance against {words.term(slope.key.name).words}",
        "picture": Markup(slope_chart(slope, kinds)),
        "own": own_words(slope),
        "published": published_for(slope),
    }


def _tape(tape: Sequence[TapeResult]) -> list[tuple[str, list[TapeResult]]]:
    events = list(dict.fromkeys(r.event for r in tape))
    return [(event, [r for r in tape if r.event == event]) for event in events]
