"""Clips and comparisons as sheets of a workbook: a row a clip with its main numbers, a row a difference."""

from __future__ import annotations

from collections.abc import Sequence

from penult.core.clips.chance import CHOSEN
from penult.core.clips.groups import mats_words
from penult.model import catalogue
from penult.model.comparison import Comparison
from penult.model.trial import MeasureKey, Trial, measures_of
from penult.outputs.texts import words
from penult.outputs.texts.verdicts import full_words, verdict_text, where
from penult.outputs.texts.workbook import Cell, Column, Sheet, day_cell, measure_cells, measure_columns

_ABOUT = (
    Column(head="Date", about="Day of the clip, as it was said."),
    Column(head="Session", about="Name of the session."),
    Column(head="File", about="The clip."),
    Column(head="Athlete", about="Label of the athlete."),
    Column(head="Kind", about="Kind of clip, in the coach's words."),
    Column(head="Approach strides", about="Running strides of the approach."),
    Column(head="Mats", about="What lay under which contact, as said or, where nothing was said, as measured."),
    Column(head="Measured jump (m)", about="Official distance by tape."),
    Column(
        head="Lane file",
        about="With which calibration the clip was measured; lengths of two lane files are never averaged.",
    ),
    Column(head="Note", about="In the coach's words."),
)


def main_keys() -> tuple[MeasureKey, ...]:
    """Return the main numbers of a clip: those chosen beforehand, of a comparison and of a season."""
    found = [MeasureKey(*k) for page in ("comparison", "season") for k in catalogue.headlines(page)]
    return tuple(dict.fromkeys((*CHOSEN, *found)))


def clips_sheet(trials: Sequence[Trial], groups: Sequence[str] = ()) -> Sheet:
    """Return a row a clip; `groups` names the group of each, where they are compared.

    Measures that no clip has are left out.
    """
    of_each = [measures_of(t.analysis) for t in trials]
    keys = [k for k in main_keys() if any(measure_cells(k.name, m.get(k), k.part)[0] is not None for m in of_each)]
    columns = [
        *([Column(head="Group", about="In which group of the comparison it stands.")] if groups else []),
        *_ABOUT,
    ]
    for key in keys:
        columns += measure_columns(key.name, key.part, where(key))
    rows: list[list[Cell]] = []
    for i, (trial, measures) in enumerate(zip(trials, of_each, strict=True)):
        row: list[Cell] = [groups[i]] if groups else []
        row += _about(trial)
        for key in keys:
            row += measure_cells(key.name, measures.get(key), key.part)
        rows.append(row)
    return Sheet(name="Clips", columns=columns, rows=rows)


def differences_sheet(c: Comparison) -> Sheet:
    """Return a row a measure: both means, the difference with its interval, and what may be said of it."""
    first, second = c.first.name, c.second.name
    columns = [
        Column(head="Measure (unit)", about="All numbers of the row are in this unit."),
        Column(
            head=f"Mean, {first}", about="Over the clips of the first group; empty where they must not be averaged."
        ),
        Column(head=f"Mean, {second}", about="Over the clips of the second group."),
        Column(head=f"Clips, {first}", about="With a value."),
        Column(head=f"Clips, {second}", about="With a value."),
        Column(head="Difference", about=f"{second} minus {first}."),
        Column(head=f"{words.PLUS_MINUS} difference", about="Half of the 95 % interval of the difference."),
        Column(head="What may be said", about="In the words of the page, false finds among many measures held down."),
    ]
    rows: list[list[Cell]] = []
    for row in c.rows:
        term = catalogue.described(row.key.name, row.key.part)
        unit = f" ({term.unit})" if term.unit else ""
        d = row.difference
        rows.append([
            f"{words.capitalised(full_words(row.key))}{unit}",
            *(None if s.mean is None else float(f"{term.scale * s.mean:.6g}") for s in (row.first, row.second)),
            len(row.first.values), len(row.second.values),
            *((float(f"{term.scale * v:.6g}") for v in (d.value, d.half_width)) if d else (None, None)),
            verdict_text(row.verdict, row.key.name),
        ])  # fmt: skip
    return Sheet(name="Differences", columns=columns, rows=rows)


def _about(trial: Trial) -> list[Cell]:
    run, said = trial.analysis.run, trial.said
    lane = trial.analysis.method.get("calibration")
    return [
        day_cell(said.date), said.session or None, trial.analysis.clip.file, run.athlete or None, run.kind or None,
        said.approach_strides, mats_words(trial.mats), said.official_distance_m, str(lane) if lane else None, said.note or None,
    ]  # fmt: skip
