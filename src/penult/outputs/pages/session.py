"""The page of a session: all clips as a table, with pictures, headline numbers and flags."""

from __future__ import annotations

import base64
import io
import os
from collections.abc import Mapping
from typing import Any
from urllib.parse import quote

from markupsafe import Markup

from penult.core.clips.groups import mats_words
from penult.model.analysis import Analysis
from penult.model.session import ClipOutcome, Session
from penult.model.still import StillPicture
from penult.model.trial import Trial
from penult.outputs.pages import layout
from penult.outputs.pages.page_files import MARK
from penult.outputs.texts import words
from penult.outputs.texts.plain import shown

_THUMB_PX = 300
_HEADS = ("hip drop, penultimate", "contact, penultimate", "contact, take-off", "take-off angle")


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
        rows=[_row(c, stills.get(c.file)) for c in session.clips],
        failed=failed,
        heads=_HEADS,
        days=sorted({c.said.date for c in session.clips if c.said.date}),
        words=words,
        shown=shown,
    )


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


def _values(analysis: Analysis) -> list[words.Shown]:
    """Return hip drop, the last two contact times, and the take-off angle."""
    last = [analysis.contact(n) for n in (-1, 0)]
    return [
        words.shown("penultimate_hip_drop_m", analysis.penultimate.get("penultimate_hip_drop_m")),
        *(words.shown("contact_time_s", c.measures.get("contact_time_s") if c else None) for c in last),
        words.shown("takeoff_angle_deg", analysis.takeoff.get("takeoff_angle_deg")),
    ]


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
