"""One result as sheets of a workbook: a row a contact, a step, a phase, with readable headings."""

from __future__ import annotations

from collections.abc import Sequence

from penult.model import catalogue
from penult.model.analysis import Analysis
from penult.model.measured import Measures
from penult.outputs.texts import words
from penult.outputs.texts.workbook import Cell, Column, Sheet, measure_cells, measure_columns

_NUMBER = Column(
    head="Number",
    about="Counted back from the take-off: 0 take-off, -1 penultimate; a step has that of the contact it ends at.",
)


def result_sheets(analysis: Analysis) -> list[Sheet]:
    """Return contacts, steps and, of a series, phases; columns that no row has a value for are left out."""
    contacts = sorted(analysis.contacts, key=lambda c: c.number)
    steps = sorted(analysis.steps, key=lambda s: s.number)
    phases = sorted(analysis.phases, key=lambda p: p.number)
    once: Sequence[tuple[str, Measures]] = [
        (p, m) for p, n, m in analysis.sets() if n is None and p in ("penultimate", "takeoff")
    ]
    found = [
        _sheet(
            "Contacts",
            "contacts",
            [(c.number, words.contact_words(c.number, analysis.run), words.side(c), c.measures) for c in contacts],
        ),
        _sheet(
            "Steps", "steps", [(s.number, words.step_words(s.number, analysis.run), None, s.measures) for s in steps]
        ),
        _sheet(
            "Phases",
            "phases",
            [(p.number, words.phase_words(p.number, p.kind, analysis.run), None, p.measures) for p in phases],
        ),
        _once(once),
    ]
    return [s for s in found if s.rows]


def _sheet(name: str, part: str, rows: Sequence[tuple[int, str, str | None, Measures]]) -> Sheet:
    known = [n for n in catalogue.names(part) if any(measure_cells(n, m.get(n), part)[0] is not None for *_, m in rows)]
    columns = [_NUMBER, Column(head=name.removesuffix("s"), about="In words.")]
    if part == "contacts":
        columns.append(Column(head="Foot", about="L or R, ? where it is not certain."))
    for measure in known:
        columns += measure_columns(measure, part)
    cells: list[list[Cell]] = []
    for number, called, foot, measures in rows:
        row: list[Cell] = [number, called, *([foot] if part == "contacts" else [])]
        for measure in known:
            row += measure_cells(measure, measures.get(measure), part)
        cells.append(row)
    return Sheet(name=name, columns=columns, rows=cells)


def _once(parts: Sequence[tuple[str, Measures]]) -> Sheet:
    """Return what there is once a clip: a row a measure."""
    columns = [
        Column(head="Measure (unit)", about="The numbers of the row are in this unit."),
        Column(head="Value"),
        Column(head=words.PLUS_MINUS, about="The true value lies within this, 19 times of 20."),
        Column(head="Why there is none", about="Where the clip cannot give it."),
    ]
    rows: list[list[Cell]] = []
    for part, measures in parts:
        for name, measure in measures.items():
            term = catalogue.described(name, part)
            unit = f" ({term.unit})" if term.unit else ""
            reason = words.shown(name, measure).reason or None
            rows.append([f"{words.capitalised(term.words)}{unit}", *measure_cells(name, measure, part), reason])
    return Sheet(name="Hips and take-off", columns=columns, rows=rows)
