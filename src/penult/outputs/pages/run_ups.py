"""Many run-ups of one athlete as a page that can be sent or printed, and as tables."""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence
from typing import Any

from markupsafe import Markup

from penult.core.clips.run_ups import run_names, speed_in
from penult.core.clips.steering import counted
from penult.core.csv_cells import guarded
from penult.model.comparison import Interval
from penult.model.measured import Measured
from penult.model.run_ups import AdjustmentShare, Between, ChangedMeasure, RunUps
from penult.model.trial import MeasureKey, Trial, measures_of
from penult.outputs.charts.run_up_charts import run_up_chart, scatter_chart
from penult.outputs.pages import layout
from penult.outputs.pages.page_files import MARK
from penult.outputs.texts import words
from penult.outputs.texts.plain import shown
from penult.outputs.texts.run_up_words import (
    between_text,
    change_text,
    day_text,
    scatter_text,
    shares_text,
    speed_text,
    steering_text,
    told_scatter,
    trend_text,
    zone_words,
)
from penult.outputs.texts.verdicts import full_words, interval_text

RUN_KEYS: tuple[MeasureKey, ...] = (
    MeasureKey("takeoff", None, "toe_to_board_m"),
    *(MeasureKey("steps", n, name) for name in ("step_length_m", "step_length_ratio") for n in (-2, -1, 0)),
    MeasureKey("takeoff", None, "approach_speed_m_per_s"),
)
"""What stands of each run in its row."""


def run_ups_html(runs: RunUps, *, source: str) -> str:
    """Return the page.

    Parameters
    ----------
    runs : RunUps
        The run-ups and what was made of them.
    source : str
        Where they came from.

    Returns
    -------
    str
        A whole HTML document, drawings inside.
    """
    names = run_names(runs.trials)
    return layout.template("run_ups.html.j2").render(
        r=runs,
        mark=MARK,
        source=source,
        scatter=Markup(scatter_chart(runs, names)),
        scatters=[(s, scatter_text(s)) for s in told_scatter(runs)],
        count=counted(len(runs.trials)),
        sentences=[
            steering_text(runs.steering),
            shares_text(runs),
            trend_text(runs.drift, "the number of the run"),
            trend_text(runs.by_strides, "the strides of the run-up"),
        ],
        shares=[_share(s) for s in runs.shares] if isinstance(runs.shares, tuple) else [],
        heads=[full_words(k) for k in RUN_KEYS],
        rows=[_row(names[i], runs, i) for i in range(len(names))],
        changes=[(change_text(c), [_changed(r) for r in c.rows]) for c in runs.changes],
        days=[day_text(d) for d in runs.days],
        pictures=[
            (n, Markup(run_up_chart(t.analysis, s))) for n, t, s in zip(names, runs.trials, runs.splits, strict=True)
        ],
        words=words,
        shown=shown,
    )


def run_ups_csv(runs: RunUps) -> dict[str, bytes]:
    """Return `run_ups.csv` (a row a run), `scatter.csv` (a row a contact) and `days.csv` (a row a day); SI units and degrees."""
    days = {"days.csv": _days_table(runs)} if runs.days else {}
    return {"run_ups.csv": _runs_table(runs), "scatter.csv": _scatter_table(runs), **days}


def _days_table(runs: RunUps) -> bytes:
    numbers = sorted({n for d in runs.days for n, _ in d.scatter_m})
    head = ["date", "runs", "toe_to_board_m", "toe_to_board_half_width_m"]
    head += ["speed_in_m_per_s", "speed_in_half_width_m_per_s"]
    for n in numbers:
        head += [f"approach_scatter_m_of_contact_{n}", f"low_m_of_contact_{n}", f"high_m_of_contact_{n}"]
    rows: list[list[Any]] = [head]
    for day in runs.days:
        means = (day.to_board_m, day.speed_m_per_s)
        row: list[Any] = [guarded(day.date), day.runs]
        for mean in means:
            row += [f"{mean.value:.6g}", f"{mean.half_width:.6g}"] if isinstance(mean, Interval) else [None, None]
        by_number = dict(day.scatter_m)
        row += [cell for n in numbers for cell in _ends(by_number.get(n))]
        rows.append(row)
    return _csv(rows)


def _runs_table(runs: RunUps) -> bytes:
    numbers = sorted({c.number for t in runs.trials for c in t.analysis.contacts})
    keys = [*(MeasureKey("contacts", n, "toe_x_m") for n in numbers), *RUN_KEYS]
    zones = list(dict.fromkeys(z for s in runs.splits for z in s.zones_m))
    head = ["run", "date", "session", "kind", "approach_strides", "stride_count", "speed_in_m_per_s"]
    for key in keys:
        name = key.name if key.number is None else f"{key.name}_of_{key.part[:-1]}_{key.number}"
        head += [name, f"{name}_u95"]
    for start, end in zones:
        name = f"zone_speed_m_per_s_{start:g}_to_{end:g}_m"
        head += [name, f"{name}_u95", f"{name}_gate"]
    rows: list[list[Any]] = [head]
    for name, trial, splits, count in zip(
        run_names(runs.trials), runs.trials, runs.splits, runs.stride_count, strict=True
    ):
        said, speed = trial.said, speed_in(trial)
        row: list[Any] = [guarded(v) for v in (name, said.date, said.session, trial.analysis.run.kind)]
        row += [
            said.approach_strides,
            count if isinstance(count, int) else None,
            None if speed is None else f"{speed:.6g}",
        ]
        found = measures_of(trial.analysis)
        for key in keys:
            row += _pair(found.get(key))
        by_zone = dict(zip(splits.zones_m, zip(splits.film, splits.gate, strict=True), strict=True))
        for zone in zones:
            film, gate = by_zone.get(zone, (None, None))
            row += [*_pair(film), None if gate is None else f"{gate:.6g}"]
        rows.append(row)
    return _csv(rows)


def _scatter_table(runs: RunUps) -> bytes:
    head = ["contact", "runs", "mean_toe_x_m", "approach_scatter_m", "low_m", "high_m", "measurement_sd_m"]
    for part in ("share", "flight_share", "contact_share"):
        head += [part, f"{part}_low", f"{part}_high"]
    shares = {s.number: s for s in runs.shares} if isinstance(runs.shares, tuple) else {}
    rows: list[list[Any]] = [head]
    for s in runs.scatter:
        row: list[Any] = [s.number, s.runs, f"{s.mean_m:.6g}", *_ends(s.sd_m), f"{s.measurement_m:.6g}"]
        share = shares.get(s.number)
        parts = (share.share, share.flight, share.contact) if share else (None, None, None)
        row += [cell for found in parts for cell in _ends(found)]
        rows.append(row)
    return _csv(rows)


def _ends(found: object) -> list[str | None]:
    if not isinstance(found, Between):
        return [None, None, None]
    return [f"{v:.6g}" for v in (found.value, found.low, found.high)]


def _pair(found: object) -> list[str | None]:
    return [f"{found.value:.6g}", f"{found.u95:.6g}"] if isinstance(found, Measured) else [None, None]


def _csv(rows: Sequence[Sequence[Any]]) -> bytes:
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\n")
    writer.writerows(["" if cell is None else cell for cell in row] for row in rows)
    return out.getvalue().encode("utf-8", errors="replace")


def _share(share: AdjustmentShare) -> tuple[str, list[str]]:
    cells = [between_text(s, 100.0, "%") if s else words.DASH for s in (share.share, share.flight, share.contact)]
    return words.step_words(share.number), cells


def _row(name: str, runs: RunUps, i: int) -> dict[str, Any]:
    trial, splits, count = runs.trials[i], runs.splits[i], runs.stride_count[i]
    found = measures_of(trial.analysis)
    return {
        "name": name,
        "about": ", ".join(v for v in (trial.said.date, trial.analysis.run.kind, _strides(trial)) if v),
        "cells": [words.shown(k.name, found.get(k)) for k in RUN_KEYS],
        "zones": [
            (zone_words(z), speed_text(film), "" if gate is None else f"{gate:.2f} m/s", getattr(film, "reason", ""))
            for z, film, gate in zip(splits.zones_m, splits.film, splits.gate, strict=True)
        ],
        "strides": str(count) if isinstance(count, int) else f"{words.DASH} ({count.reason})",
    }


def _strides(trial: Trial) -> str:
    return f"{trial.said.approach_strides} strides" if trial.said.approach_strides else ""


def _changed(row: ChangedMeasure) -> tuple[str, str, str, bool]:
    cells = [
        interval_text(d, row.key.name) if isinstance(d, Interval) else f"{words.DASH} ({d.reason})"
        for d in (row.plain, row.difference)
    ]
    return words.capitalised(full_words(row.key)), cells[0], cells[1], row.clear
