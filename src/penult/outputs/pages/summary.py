"""The page that a coach opens first or sends on: one file, nothing loaded from anywhere, no script.

`summary_html` gathers what the page shows; the layout is in `templates/summary.html.j2` and `templates/summary.css`.
"""

from __future__ import annotations

import base64
import json
from collections.abc import Sequence

from markupsafe import Markup

from penult.model import catalogue
from penult.model.analysis import Analysis
from penult.model.arrays import Image
from penult.model.track import Motion
from penult.outputs.charts import hip_height
from penult.outputs.pages import content, layout, phases
from penult.outputs.pictures.moments import INSTANT_WORDS
from penult.outputs.pictures.stills import Still, to_jpeg
from penult.outputs.texts import certainty, drops, references, words

LAYOUT = "summary.html.j2"
LARGEST_PICTURES_BYTES = 1_900_000  # as base64 they take a third more, and the page should stay below 3 MB
_QUALITIES = (84, 76, 66, 55, 42, 30)


def summary_html(analysis: Analysis, motion: Motion, stills: Sequence[tuple[Still, Image]]) -> str:
    """Return the summary page.

    Parameters
    ----------
    analysis, motion : Analysis, Motion
        The result.
    stills : sequence of (Still, Image)
        The drawn stills, in the order of the run.

    Returns
    -------
    str
        A whole HTML document, pictures and drawings inside.
    """
    pictures = _pictures(stills)
    return layout.template(LAYOUT).render(
        a=analysis,
        hero=pictures.get((-1, "lowest")) or next(iter(pictures.values()), None),
        headlines=content.headlines(analysis),
        facts=content.facts(analysis),
        finding=drops.finding(analysis),
        mats=drops.mats_said_and_measured(analysis),
        date=content.date_said(analysis),
        chart_wide=Markup(hip_height.hip_chart_svg(analysis, motion, "wide")),
        chart_narrow=Markup(hip_height.hip_chart_svg(analysis, motion, "narrow")),
        chart_alt=content.chart_alt(analysis),
        rhythm=content.rhythm(analysis),
        ladder=content.ladder(analysis),
        series=phases.series(analysis),
        sections=content.sections(analysis, pictures),
        penultimate_rows=content.plain_rows(catalogue.names("penultimate"), analysis.penultimate, analysis.run),
        takeoff_rows=content.plain_rows(catalogue.names("takeoff"), analysis.takeoff, analysis.run),
        sketch=content.sketch(analysis),
        run_up_rows=content.plain_rows(catalogue.names("run_up"), analysis.run_up, analysis.run)
        if any(analysis.run_up.values())
        else [],
        check_rows=content.plain_rows(catalogue.names("checks"), analysis.checks, analysis.run),
        smallest_scale_error=content.smallest_scale_error(analysis),
        everything=content.everything(analysis),
        references=content.published(analysis),
        sources=sorted({band.source for band in references.bands_beside(analysis.run)}),
        definitions=_definitions(analysis),
        method=json.dumps(dict(analysis.method), indent=1, ensure_ascii=False, default=str),
        frame_ms=f"{1e3 / analysis.clip.capture_rate_hz:.1f}" if analysis.clip.capture_rate_hz > 0 else "?",
        hand_corrected=content.any_by_hand(analysis),
        costs=certainty.costs(analysis),
        look_first=certainty.look_first(analysis),
    )


def _definitions(analysis: Analysis) -> list[catalogue.Entry]:
    """What the page's measures are; one that two parts have in common once, as the first of them has it."""
    parts = {part for part, _, _ in analysis.sets()} - (set() if analysis.run.is_series else {"phases", "sequence"})
    shown: dict[str, catalogue.Entry] = {}
    for entry in catalogue.ROWS.values():
        if entry.part in parts:
            shown.setdefault(entry.name, entry)
    return list(shown.values())


def _pictures(stills: Sequence[tuple[Still, Image]]) -> dict[tuple[int, str], content.Picture]:
    """Return the pictures by contact and instant, packed so that they fit into one page together."""
    packed: list[tuple[Still, bytes]] = []
    for quality in _QUALITIES:
        packed = [(still, to_jpeg(image, quality)) for still, image in stills]
        if sum(len(data) for _, data in packed) <= LARGEST_PICTURES_BYTES:
            break
    return {
        (still.moment.contact.number, still.moment.instant): content.Picture(
            source=Markup("data:image/jpeg;base64," + base64.b64encode(data).decode("ascii")),
            alt=_picture_alt(still),
            caption=f"frame {still.moment.frame}, {still.moment.time_s:.3f} s",
            size_px=still.view.size_px,
        )
        for still, data in packed
    }


def _picture_alt(still: Still) -> str:
    contact = still.moment.contact
    said = {
        "touchdown": ("leg_angle_touchdown_deg", "knee_angle_touchdown_deg", "touchdown_distance_m"),
        "lowest": ("hip_height_lowest_m", "knee_angle_min_deg"),
        "toe_off": ("leg_angle_toe_off_deg", "knee_angle_toe_off_deg"),
    }[still.moment.instant]
    values = [
        f"{words.term(name).words} {shown.text}"
        for name in said
        if not (shown := words.shown(name, contact.measures.get(name))).reason
    ]
    what = f"Side view at {INSTANT_WORDS[still.moment.instant]} of contact {contact.number}, {contact.told_foot} foot"
    return f"{what}: {', '.join(values)}." if values else f"{what}."
