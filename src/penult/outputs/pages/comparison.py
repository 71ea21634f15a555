"""The comparison as a page that can be sent, and as tables for a spreadsheet."""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence
from pathlib import PurePath
from typing import Any

from markupsafe import Markup

from penult.core.clips import series
from penult.core.clips.chance import CHOSEN
from penult.core.clips.groups import lane_names, mats_words
from penult.core.csv_cells import guarded
from penult.model import catalogue
from penult.model.comparison import ComparedMeasure, Comparison, Group, GroupValues
from penult.model.trial import MeasureKey, Trial
from penult.outputs.charts.comparison_charts import MOST_CURVES, difference_bar, drawn_clips, hip_chart, strip
from penult.outputs.charts.comparison_pictures import Stills, pairs
from penult.outputs.charts.ladder import ladder
from penult.outputs.pages import layout
from penult.outputs.pages.page_files import MARK
from penult.outputs.texts import words
from penult.outputs.texts.findings import comparison_findings
from penult.outputs.texts.plain import shown
from penult.outputs.texts.verdicts import APART, CLEARLY, full_words, shown_row, value_text


def headlines(comparison: Comparison) -> tuple[MeasureKey, ...]:
    """Return the main numbers: those chosen beforehand, then whether the foot is set down flat and the running pattern is the same.

    Of a series how far it goes, how fast it stays and how long the feet stand.
    """
    is_series = series.is_series(comparison.first, comparison.second)
    keys = [MeasureKey(*key) for key in catalogue.headlines("series comparison" if is_series else "comparison")]
    return tuple(sorted(keys, key=lambda k: k not in CHOSEN))


SECTIONS: tuple[tuple[str, str, int | None], ...] = (
    ("The whole series", "sequence", None),
    *((f"Phase {n + 1}", "phases", n) for n in range(10)),
    ("Hip drop", "penultimate", None),
    ("Penultimate contact", "contacts", -1),
    ("Take-off contact", "contacts", 0),
    ("Take-off and flight", "takeoff", None),
    ("Last step", "steps", 0),
    ("Penultimate step", "steps", -1),
    ("Third-last contact", "contacts", -2),
    ("Third-last step", "steps", -2),
    ("Fourth-last contact", "contacts", -3),
)
MOST_COLUMNS = 24
"""Clips up to which the page has a table of all single values; more stand in the CSV file."""


def comparison_html(
    comparison: Comparison, stills: tuple[tuple[str, Stills], tuple[str, Stills]], *, source: str, film: str = ""
) -> str:
    """Return the page.

    Parameters
    ----------
    comparison : Comparison
        With hip paths where there are any.
    stills : ((str, mapping), (str, mapping))
        File and stills of the clip that stands for each group.
    source : str
        Where the results came from: folders, or the logbook's place.
    film : str
        File beside the page in which both runs play together; '' where there is none.

    Returns
    -------
    str
        A whole HTML document, pictures and drawings inside.
    """
    names = (comparison.first.name, comparison.second.name)
    charts = {
        (over, w): Markup(hip_chart(comparison, over, width=w)) for over in ("distance", "time") for w in (760.0, 370.0)
    }
    return layout.template("comparison.html.j2").render(
        c=comparison,
        mark=MARK,
        names=names,
        source=source,
        film=film,
        findings=comparison_findings(comparison),
        headlines=_rows(comparison, headlines(comparison), width=340.0),
        sections=_sections(comparison),
        charts=charts,
        left_out=_left_out(comparison),
        ladders=[Markup(ladder(comparison, width=w)) for w in (760.0, 370.0)],
        pairs=[(p.title, Markup(p.picture), Markup(p.note)) for p in pairs(stills[0][1], stills[1][1], names)],
        picture_clips=[file or words.DASH for file, _ in stills],
        singles=_singles(comparison),
        clips=_clips(comparison),
        counts=_counts(comparison),
        words=words,
        shown=shown,
    )


def comparison_csv(comparison: Comparison) -> dict[str, bytes]:
    """Return `comparison.csv` (one row a measure, every clip's value and u95 beside it) and `comparison_clips.csv`.

    SI units and degrees. The clips' columns are named by their numbers in the second table.
    """
    labels = [
        [f"{i + 1}.{n + 1}" for n in range(len(g.trials))] for i, g in enumerate((comparison.first, comparison.second))
    ]
    head = ["part", "number", "measure", "mean_1", "mean_2", "clips_1", "clips_2", "difference", "ci95_low", "ci95_high",
            "degrees_of_freedom", "interval_from", "verdict", "limit", "reason", "typical_error", "typical_error_from",
            "minimal_detectable_change", "notes"]  # fmt: skip
    head += [f"clip_{label}_{what}" for side in labels for label in side for what in ("value", "u95", "not_measured")]
    rows = [[*_summary_cells(row), *_clip_cells(row.first), *_clip_cells(row.second)] for row in comparison.rows]
    return {
        "comparison.csv": csv_bytes(head, rows),
        "comparison_clips.csv": clips_csv((comparison.first, comparison.second)),
    }


def clips_csv(groups: Sequence[Group]) -> bytes:
    """Return a table with a row a clip: its group, what was said of it, and its hash."""
    head = ["clip", "group", "file", "athlete", "kind", "date", "session", "approach_strides", "mats",
            "official_distance_m", "lane_file", "penult", "sha256", "result_folder"]  # fmt: skip
    rows = [
        _about(f"{i}.{n}", group.name, trial)
        for i, group in enumerate(groups, start=1)
        for n, trial in enumerate(group.trials, start=1)
    ]
    return csv_bytes(head, rows)


def _rows(comparison: Comparison, keys: Sequence[MeasureKey], *, width: float) -> list[dict[str, Any]]:
    found = [row for key in keys if (row := comparison.row(key))]
    return [_row(row, width) for row in found]


def _row(row: ComparedMeasure, width: float) -> dict[str, Any]:
    return {
        "shown": shown_row(row),
        "strip": Markup(strip(row, width=width)),
        "difference": Markup(difference_bar(row)),
        "is_clear": row.verdict.kind in ("clearly different", "apart in these runs"),
        "count": (len(row.first.values), len(row.second.values)),
        "missing": [
            (f"{i + 1}.{place + 1}", why) for i, s in enumerate((row.first, row.second)) for place, why in s.missing
        ],
    }


def _sections(comparison: Comparison) -> list[tuple[str, list[dict[str, Any]]]]:
    found = []
    for title, part, number in SECTIONS:
        rows = [_row(r, 220.0) for r in comparison.rows if r.key.part == part and r.key.number == number]
        if rows:
            found.append((title, rows))
    return found


def _counts(comparison: Comparison) -> dict[str, Any]:
    judged = [r for r in comparison.rows if r.difference is not None]
    clear = sum(r.verdict.kind in ("clearly different", "apart in these runs") for r in judged)
    chance = sum(r.verdict.kind == "could be chance" for r in judged)
    in_runs = any(r.verdict.kind in ("apart in these runs", "not told apart") for r in judged)
    return {"judged": len(judged), "different": clear, "chance": chance, "clearly": APART if in_runs else CLEARLY}


def _left_out(comparison: Comparison) -> list[str]:
    found = []
    for group in (comparison.first, comparison.second):
        drawn = len(drawn_clips(group))
        if drawn < len(group.trials):
            many = "the clips are too many to draw" if drawn == MOST_CURVES else "the others came without a hip path"
            found.append(f"{group.name}: {drawn} of {len(group.trials)} clips are drawn; {many}.")
    return found


def _singles(comparison: Comparison) -> dict[str, Any] | None:
    """Return every clip's value of every measure, for as many clips as a table can hold."""
    groups = (comparison.first, comparison.second)
    if sum(len(g.trials) for g in groups) > MOST_COLUMNS:
        return None
    heads = [(f"{i + 1}.{n + 1}", t.analysis.clip.file) for i, g in enumerate(groups) for n, t in enumerate(g.trials)]
    rows = []
    for row in comparison.rows:
        cells: list[words.Shown] = []
        for side, group in zip((row.first, row.second), groups, strict=True):
            by_place = {**dict(side.values)}
            why = dict(side.missing)
            for place in range(len(group.trials)):
                measure = by_place.get(place)
                text = words.shown(row.key.name, measure)
                cells.append(
                    text if measure else words.Shown(value="", u95="", unit="", reason=why[place], by_hand=False)
                )
        rows.append((full_words(row.key), cells))
    return {"heads": heads, "rows": rows}


def _clips(comparison: Comparison) -> list[dict[str, Any]]:
    groups = (comparison.first, comparison.second)
    lanes = lane_names([t for g in groups for t in g.trials])
    found = []
    for i, group in enumerate(groups):
        for n, trial in enumerate(group.trials):
            distance = trial.said.official_distance_m
            found.append({
                "label": f"{i + 1}.{n + 1}",
                "group": group.name,
                "trial": trial,
                "mats": mats_words(trial.mats),
                "lane": lanes[trial.lane],
                "distance": "" if distance is None else f"{distance:.2f} m",
                "drop": _headline(trial),
            })  # fmt: skip
    return found


def _headline(trial: Trial) -> str:
    return words.shown("penultimate_hip_drop_m", trial.analysis.penultimate.get("penultimate_hip_drop_m")).text


def _summary_cells(row: ComparedMeasure) -> list[Any]:
    d, error = row.difference, row.typical_error
    from_words = (
        "" if error is None else (f"{error.clips} repeats" if error.from_repeats else "measurement uncertainty alone")
    )
    verdict = shown_row(row).verdict
    return [
        row.key.part, "" if row.key.number is None else row.key.number, row.key.name, row.first.mean, row.second.mean,
        len(row.first.values), len(row.second.values), *((d.value, d.low, d.high, d.freedom, d.how) if d else ("",) * 5),
        verdict, row.verdict.limit, row.verdict.reason, error.value if error else "", from_words,
        row.minimal_detectable_change, "; ".join(row.notes),
    ]  # fmt: skip


def _clip_cells(side: GroupValues) -> list[Any]:
    cells: dict[int, list[Any]] = {place: [m.value, m.u95, ""] for place, m in side.values}
    cells |= {place: ["", "", why] for place, why in side.missing}
    return [cell for place in sorted(cells) for cell in cells[place]]


def _about(label: str, group: str, trial: Trial) -> list[Any]:
    run, said, method = trial.analysis.run, trial.said, trial.analysis.method
    return [
        label, group, trial.analysis.clip.file, run.athlete, run.kind, said.date, said.session, said.approach_strides,
        mats_words(trial.mats), said.official_distance_m, str(method.get("calibration", "")),
        str(method.get("penult", "")), trial.analysis.clip.sha256,
        PurePath(trial.folder).name,  # the way to it is nobody's business to whom the table is sent
    ]  # fmt: skip


def csv_bytes(head: Sequence[str], rows: Sequence[Sequence[Any]]) -> bytes:
    """Return a table as CSV; texts never become formulas."""
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(head)
    writer.writerows([[_cell(cell) for cell in row] for row in rows])
    return out.getvalue().encode("utf-8", errors="replace")


def _cell(value: Any) -> str:
    if value is None:
        return ""
    if isinstance(value, float):
        return f"{value:.6g}"
    return guarded(str(value)) if isinstance(value, str) else str(value)


def group_title(group: Group) -> str:
    """Return a group's name with how many clips it holds."""
    n = len(group.trials)
    return f"{group.name} ({n} clip{'s' if n != 1 else ''})"


__all__ = ["clips_csv", "comparison_csv", "comparison_html", "csv_bytes", "group_title", "headlines", "value_text"]
