"""The page of a session: all clips as a table, with pictures, headline numbers and flags."""

from __future__ import annotations

import base64
import io
import os
from collections.abc import Mapping
from statistics import fmean, stdev
from typing import Any
from urllib.parse import quote

from markupsafe import Markup

from penult.core.clips.groups import mats_words
from penult.model.analysis import Analysis
from penult.model.measured import Measure, Measured
from penult.model.session import ClipOutcome, Session
from penult.model.still import StillPicture
from penult.model.trial import Trial
from penult.outputs.pages import layout
from penult.outputs.pages.page_files import MARK
from penult.outputs.texts import drops, words
from penult.outputs.texts.plain import shown
from penult.outputs.texts.session_findings import session_findings

_THUMB_PX = 300
_HEADS = (
    "hip drop above the runway", "hip drop above what each foot stood on", "contact, penultimate", "contact, take-off",
    "take-off angle", "approach speed", "toe behind the line", "last two steps", "last step to the one before",
)  # fmt: skip


def session_html(session: Session, stills: Mapping[str, StillPicture]) -> str:
    """Return the page.

    Parameters
    ----------
    session : Session
        Every clip with its result or the reason why there is none.
    stills : mapping
        A still for each clip that has one, by the clip's file name.

    Returns
    -------
    str
        A whole HTML document; links go to the summaries in the result folders beside it.
    """
    failed = [c for c in session.clips if c.analysis is None]
    return layout.template("session.html.j2").render(
        session=session,
        mark=MARK,
        rows=[_row(c, stills.get(c.file)) for c in sorted(session.clips, key=_athlete)],
        groups=_groups(session),
        findings=session_findings(session),
        failed=failed,
        heads=_HEADS,
        days=sorted({c.said.date for c in session.clips if c.said.date}),
        words=words,
        shown=shown,
    )


def _athlete(clip: ClipOutcome) -> tuple[str, str]:
    """Return what clips are grouped by: athlete, then the order of their names; those without a result last."""
    return (clip.analysis.run.athlete if clip.analysis else "\uffff", clip.file)


def _row(clip: ClipOutcome, still: StillPicture | None) -> dict[str, Any]:
    analysis = clip.analysis
    distance = clip.said.official_distance_m
    return {
        "clip": clip,
        "analysis": analysis,
        "thumb": Markup(_thumb(still)) if still else None,
        "link": quote(os.fsencode(f"{clip.folder}/summary.html")),
        "values": _values(analysis) if analysis else [],
        "mats": mats_words(Trial(analysis=analysis, said=clip.said).mats) if analysis else "",
        "distance": "" if distance is None else f"{distance:.2f} m",
        "error": clip.error.split("\n"),
    }


def _measures(analysis: Analysis) -> list[tuple[str, Measure | None]]:
    """Return the measures of a row in the order of its heads; the two steps stand in one cell, this is the last."""
    last = [analysis.contact(n) for n in (-1, 0)]
    step = analysis.step(0)
    steps = step.measures if step else {}
    return [
        (drops.RUNWAY, analysis.penultimate.get(drops.RUNWAY)),
        (drops.SUPPORT, analysis.penultimate.get(drops.SUPPORT)),
        *(("contact_time_s", c.measures.get("contact_time_s") if c else None) for c in last),
        ("takeoff_angle_deg", analysis.takeoff.get("takeoff_angle_deg")),
        ("approach_speed_m_per_s", analysis.takeoff.get("approach_speed_m_per_s")),
        ("toe_to_board_m", analysis.takeoff.get("toe_to_board_m")),
        ("step_length_m", steps.get("step_length_m")),
        ("step_length_ratio", steps.get("step_length_ratio")),
    ]


def _values(analysis: Analysis) -> list[dict[str, Any]]:
    """Return the cells of a row: text, or a dash with its reason; the step before stands before the last one."""
    cells: list[dict[str, Any]] = []
    before = analysis.step(-1)
    for name, measure in _measures(analysis):
        cell = words.shown(name, measure)
        text = cell.text
        if name == "step_length_m" and before:
            text = f"{words.shown(name, before.measures.get(name)).text}, {text}"
        cells.append({"text": text, "reason": cell.reason if name != "step_length_m" else ""})
    return cells


def _groups(session: Session) -> list[dict[str, Any]]:
    """Return athlete by athlete and kind by kind: how many runs, the middle, the spread and both ends of each measure."""
    found: dict[tuple[str, str, str], list[Analysis]] = {}
    for clip in session.clips:
        if clip.analysis is not None:
            run = clip.analysis.run
            mats = mats_words(Trial(analysis=clip.analysis, said=clip.said).mats)
            found.setdefault((run.athlete, run.kind, mats), []).append(clip.analysis)
    return [
        {"athlete": a, "kind": k, "mats": m, "count": len(runs), "cells": _spread(runs)}
        for (a, k, m), runs in sorted(found.items())
        if len(runs) > 1
    ]


def _spread(runs: list[Analysis]) -> list[dict[str, str]]:
    cells = []
    for of_one in zip(*(_measures(a) for a in runs), strict=True):
        name = of_one[0][0]
        term = words.term(name)
        known = [m for _, m in of_one if isinstance(m, Measured)]
        if len(known) < 2:
            cells.append({"mean": words.DASH, "range": ""})
            continue
        values = [term.scale * m.value for m in known]
        places = words.decimals(term.scale * min(m.u95 for m in known))
        low, high, mean = (words.number(v, places) for v in (min(values), max(values), fmean(values)))
        spread = words.number(stdev(values), places)
        cells.append({"mean": f"{mean}{words.spaced(term.unit)}", "range": f"{low} to {high}, SD {spread}"})
    return cells


def _thumb(still: StillPicture) -> str:
    """Return a still as a small picture inside the page; '' where it cannot be read after all."""
    from PIL import Image, UnidentifiedImageError  # noqa: PLC0415 - only this page needs it

    try:
        with Image.open(io.BytesIO(still.jpeg), formats=("JPEG",)) as picture:
            picture.draft("RGB", (_THUMB_PX, _THUMB_PX))
            small = picture.convert("RGB")
    except (UnidentifiedImageError, OSError, ValueError, Image.DecompressionBombError):
        return ""
    small.thumbnail((_THUMB_PX, _THUMB_PX))
    out = io.BytesIO()
    small.save(out, format="JPEG", quality=78)
    return "data:image/jpeg;base64," + base64.b64encode(out.getvalue()).decode("ascii")
