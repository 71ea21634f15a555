"""The result as tables for a spreadsheet: one row a contact, one row a step, and the path of the hip.

SI units and degrees, as in `analysis.json`. Beside every value stands its u95; a value that is not there leaves both
cells empty and its reason in the column `not_measured`.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

import numpy as np
import pandas as pd

from penult.model import catalogue
from penult.model.analysis import Analysis
from penult.model.measured import Measured, Measures, NotMeasured
from penult.model.track import Motion
from penult.outputs.texts import words


def contacts_table(analysis: Analysis) -> pd.DataFrame:
    """Return one row a contact, in the order of the run."""
    rows = [
        {
            "number": c.number,
            "name": words.contact_words(c.number, analysis.run),
            "foot": c.told_foot,
            "strike": c.strike,
            "wholly_seen": c.wholly_seen,
            "by_hand": c.by_hand,
            **_cells(c.measures, catalogue.names("contacts")),
        }
        for c in sorted(analysis.contacts, key=lambda c: c.number)
    ]
    return pd.DataFrame(rows)


def steps_table(analysis: Analysis) -> pd.DataFrame:
    """Return one row a step, in the order of the run; a step carries the number of the contact that it ends at."""
    rows = [
        {
            "number": s.number,
            "name": words.step_words(s.number, analysis.run),
            **_cells(s.measures, catalogue.names("steps")),
        }
        for s in sorted(analysis.steps, key=lambda s: s.number)
    ]
    return pd.DataFrame(rows)


def phases_table(analysis: Analysis) -> pd.DataFrame:
    """Return one row a phase, in the order of time: a contact that is followed by more than a running step."""
    rows = [
        {
            "number": p.number,
            "name": words.phase_words(p.number, p.kind, analysis.run),
            "kind": p.kind,
            "foot": p.foot,
            "lands_on": p.lands_on,
            **_cells(p.measures, catalogue.names("phases")),
        }
        for p in sorted(analysis.phases, key=lambda p: p.number)
    ]
    return pd.DataFrame(rows)


def whole_table(analysis: Analysis) -> pd.DataFrame:
    """Return one row a measure that a clip has once: hip drops, take-off, the whole series, repeated take-offs, run-up, checks."""
    rows = [
        {
            "part": part,
            "measure": name,
            "value": round(m.value, 6) if isinstance(m, Measured) else None,
            "u95": round(m.u95, 6) if isinstance(m, Measured) else None,
            "not_measured": "" if isinstance(m, Measured) else m.reason,
        }
        for part, number, measures in analysis.sets()
        if number is None
        for name, m in measures.items()
    ]
    return pd.DataFrame(rows, columns=["part", "measure", "value", "u95", "not_measured"])


def hip_path_table(motion: Motion) -> pd.DataFrame:
    """Return capture time, place along the runway and height of the mid-hip, one row a frame in which it was seen."""
    seen = np.isfinite(motion.hip_m).all(axis=1)
    table = {
        "time_s": motion.pixels.time_s[seen],
        "x_m": motion.hip_m[seen, 0],
        "hip_height_m": motion.hip_m[seen, 1],
    }
    return pd.DataFrame(table).round(5)


def to_csv(table: pd.DataFrame) -> bytes:
    """Return a table as comma-separated UTF-8 with one line end everywhere."""
    return table.to_csv(index=False, lineterminator="\n").encode("utf-8")


def _cells(measures: Measures, known: Iterable[str]) -> Mapping[str, Any]:
    """Return value and u95 of every measure, those of the contract first, and the reasons of those without."""
    names = [*known, *(name for name in measures if name not in set(known))]
    cells: dict[str, Any] = {}
    reasons = []
    for name in names:
        measure = measures.get(name, NotMeasured(reason="not in this result"))
        cells[name] = cells[catalogue.u95_name(name)] = None
        if isinstance(measure, Measured):
            cells[name], cells[catalogue.u95_name(name)] = round(measure.value, 6), round(measure.u95, 6)
        else:
            reasons.append(f"{name}: {measure.reason}")
    return {**cells, "not_measured": "; ".join(reasons)}
