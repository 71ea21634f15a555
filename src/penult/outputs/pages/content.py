"""What the summary page says, gathered from a result: headline numbers, rhythm, ladder, sections, all measures.

Everything here is data for the template; digits and words come from `words`, drawings from `bars`.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from markupsafe import Markup

from penult.core.checks.clock import VISIBLE_U95
from penult.core.numeric.fits import GRAVITY_M_PER_S2
from penult.model import catalogue
from penult.model.analysis import Analysis, Contact, Run
from penult.model.measured import Measure, Measured, Measures
from penult.outputs.charts import bars
from penult.outputs.pictures.moments import INSTANT_WORDS, instant_s, shown_contacts
from penult.outputs.texts import drops, references, words

_SECTION_ROWS: tuple[tuple[str, tuple[str, ...]], ...] = (
    (
        "At touchdown",
        (
            "foot_angle_touchdown_deg",
            "leg_angle_touchdown_deg",
            "touchdown_distance_m",
            "knee_angle_touchdown_deg",
            "trunk_angle_touchdown_deg",
            "hip_height_touchdown_m",
            "foot_speed_touchdown_m_per_s",
        ),
    ),
    ("In support", ("contact_time_s", "support_height_m", "hip_height_lowest_m", "knee_angle_min_deg")),
    (
        "At toe-off",
        ("leg_angle_toe_off_deg", "knee_angle_toe_off_deg", "trunk_angle_toe_off_deg", "hip_height_toe_off_m"),
    ),
)


FIRST_OF_STRIP = -3
"""More contacts than four are too narrow on a phone to be read; the step ladder has them all."""

ORDINARY_DROP = "up to 2 cm between neighbouring supports is ordinary running"
"""Lowest hip of neighbouring supports in plain sprinting, one athlete at 9.6 m/s: +17, -8, +1 mm (computed from public
motion-capture data; collected references, section 10)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """A measure on the page: its words, value, bar, and what else belongs to it."""

    name: str
    label: str
    shown: words.Shown
    bar: Markup
    extra: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Picture:
    """A still on the page."""

    source: Markup
    alt: str
    caption: str
    size_px: tuple[int, int]


@dataclass(frozen=True, slots=True, kw_only=True)
class Section:
    """One contact of the run: pictures and measures."""

    key: str
    title: str
    lead: str
    pictures: tuple[Picture, ...]
    groups: tuple[tuple[str, tuple[Row, ...]], ...]


def headlines(analysis: Analysis) -> list[dict[str, Any]]:
    """Return the three numbers of the first screen."""
    return [
        {**_headline_drops(analysis), "band": ORDINARY_DROP},
        _headline_times(analysis),
        _headline(
            "takeoff_angle_deg",
            analysis.takeoff,
            references.drawn_band(analysis.run, "takeoff_angle_deg"),
            (10.0, 30.0),
        ),
    ]


def date_said(analysis: Analysis) -> str:
    """Return the day that the coach gave; '' where none was."""
    settings = analysis.method.get("settings")
    return str(settings.get("date", "")) if isinstance(settings, dict) else ""


def chart_alt(analysis: Analysis) -> str:
    """Return the chart in words, for who cannot see it."""
    shown = words.shown(drops.RUNWAY, analysis.penultimate.get(drops.RUNWAY))
    value = drops.headline(analysis) if not shown.reason else f"not measured ({shown.reason})"
    return (
        f"Hip height over distance, {words.counted(len(analysis.contacts), 'contact')}; penultimate hip drop {value}."
    )


def rhythm(analysis: Analysis) -> list[dict[str, Any]]:
    """Return contacts and flights as blocks as wide as they lasted, in order; empty where the times are not known.

    Of a run the last four contacts, all of a series.
    """
    timed = []
    for contact in sorted(analysis.contacts, key=lambda c: c.number):
        if contact.number < FIRST_OF_STRIP and not analysis.run.is_series:
            continue
        start_s, end_s = instant_s(contact, "touchdown"), instant_s(contact, "toe_off")
        if start_s is not None and end_s is not None and isinstance(contact.measures.get("contact_time_s"), Measured):
            timed.append((start_s, end_s, contact))
    blocks: list[dict[str, Any]] = []
    for i, (start_s, end_s, contact) in enumerate(timed):
        if i:
            step = analysis.step(contact.number)
            flight = words.shown("flight_time_s", step.measures.get("flight_time_s") if step else None)
            blocks.append({"kind": "flight", "share": start_s - timed[i - 1][1], "shown": flight, "name": ""})
        time = words.shown("contact_time_s", contact.measures.get("contact_time_s"))
        name = words.contact_words(contact.number, analysis.run)
        blocks.append(
            {
                "kind": "contact",
                "share": end_s - start_s,
                "shown": time,
                "name": name,
                "letter": words.side(contact),
                "main": contact.number in (-1, 0),
            }
        )
    total = sum(block["share"] for block in blocks) or 1.0
    for block in blocks:
        block["percent"] = f"{100.0 * block['share'] / total:.2f}"
    return blocks if len(timed) > 1 else []


def ladder(analysis: Analysis) -> list[dict[str, Any]]:
    """Return one row a contact, with the step that ends at it."""
    rows = []
    for contact in sorted(analysis.contacts, key=lambda c: c.number):
        step = analysis.step(contact.number)
        of_step = {
            name: words.shown(name, step.measures.get(name))
            for name in ("flight_time_s", "step_length_m", "step_speed_m_per_s", "step_length_ratio")
            if step
        }
        of_contact = {
            name: words.shown(name, contact.measures.get(name))
            for name in ("contact_time_s", "support_height_m", "hip_height_lowest_m")
        }
        rows.append({
            "contact": contact,
            "name": words.contact_words(contact.number, analysis.run),
            "side": words.side(contact),
            "step": of_step,
            **of_contact,
        })  # fmt: skip
    return rows


def sections(analysis: Analysis, pictures: Mapping[tuple[int, str], Picture]) -> list[Section]:
    """Return third-last, penultimate and take-off contact; a measure has the same scale in all three."""
    scales = {
        name: bars.scale_for(
            [
                end
                for c in _shown_contacts(analysis)
                for end in bars.spread(
                    name, [c.measures.get(name)], references.drawn_band(analysis.run, name, c.number)
                )
            ]
        )
        for _, names in _SECTION_ROWS
        for name in names
    }
    return [_section(analysis, contact, pictures, scales) for contact in _shown_contacts(analysis)]


def plain_rows(names: Iterable[str], measures: Measures, run: Run) -> list[Row]:
    """Return rows on scales of their own, with the published band where there is one of the same definition."""
    rows = []
    for name in names:
        measure, band = measures.get(name), references.drawn_band(run, name)
        scale = bars.scale_for(bars.spread(name, [measure], band), parts=3)
        bar = Markup(bars.interval_bar(name, measure, scale, band))
        rows.append(Row(name=name, label=words.term(name).words, shown=words.shown(name, measure), bar=bar))
    return rows


def sketch(analysis: Analysis) -> Markup:
    """Return the take-off velocity drawn as arrows, or nothing."""
    names = ("takeoff_velocity_x_m_per_s", "takeoff_velocity_y_m_per_s", "takeoff_angle_deg")
    return Markup(bars.velocity_sketch(*(analysis.takeoff.get(name) for name in names)))


def smallest_scale_error(analysis: Analysis) -> str:
    """Return the smallest error of scale that the free-fall check could have shown, in per cent."""
    fall = analysis.checks.get("free_fall_m_per_s2")
    return f"{100.0 * VISIBLE_U95 * fall.u95 / GRAVITY_M_PER_S2:.0f} %" if isinstance(fall, Measured) else ""


def everything(analysis: Analysis) -> dict[str, Any]:
    """Return every measure of every contact and step: a row a measure, a column a contact."""
    contacts = sorted(analysis.contacts, key=lambda c: c.number)
    steps = sorted(analysis.steps, key=lambda s: s.number)
    return {
        "contacts": [f"{words.contact_words(c.number, analysis.run)} ({words.side(c)})" for c in contacts],
        "contact_rows": _matrix(catalogue.names("contacts"), [c.measures for c in contacts]),
        "steps": [words.step_words(s.number, analysis.run) for s in steps],
        "step_rows": _matrix(catalogue.names("steps"), [s.measures for s in steps]),
    }


def published(analysis: Analysis) -> list[dict[str, Any]]:
    """Return every band of runs like this one beside this run's value."""
    rows = []
    for band in references.bands_beside(analysis.run):
        term, factor = words.term(band.measure), words.term(band.measure).scale
        low, high = (f"{round(factor * v, 3):g}".replace("-", words.MINUS) for v in (band.low, band.high))
        published = low if low == high else f"{low} to {high}"
        rows.append({
            "name": band.measure,
            "words": term.words + _whose(band, analysis),
            "ours": _ours(band, analysis),
            "published": published + words.spaced(term.unit),
            "band": band,
        })  # fmt: skip
    return rows


def any_by_hand(analysis: Analysis) -> bool:
    """Tell whether any value rests on a correction by a person."""
    parts = [c.measures for c in analysis.contacts] + [s.measures for s in analysis.steps]
    parts += [analysis.penultimate, analysis.takeoff]
    return any(isinstance(m, Measured) and m.by_hand for part in parts for m in part.values())


def _headline(
    name: str, measures: Measures, band: references.Band | None, usual: tuple[float, float]
) -> dict[str, Any]:
    measure = measures.get(name)
    headline = {"name": name, "words": words.term(name).words, "values": [("", "", words.shown(name, measure))]}
    if not isinstance(measure, Measured):
        return {**headline, "bar": "", "band": ""}
    scale = bars.scale_for([*usual, *bars.spread(name, [measure], band)])
    note = f"dashed: {band.group}, {band.kind} ({band.source_short})" if band else ""
    return {**headline, "bar": Markup(bars.headline_bar(name, measure, scale, band)), "band": note}


def _headline_drops(analysis: Analysis) -> dict[str, Any]:
    """Return the hip drop above the runway and, with mats, above what each foot stood on: both named, at one size."""
    found = drops.drops(analysis)
    above = {drops.RUNWAY: "above the runway" if len(found) > 1 else "above the runway, no mat under either foot"}
    measures = [analysis.penultimate.get(d.name) for d in found]
    bar = ""
    if all(isinstance(m, Measured) for m in measures):
        ends = [end for d, m in zip(found, measures, strict=True) for end in bars.spread(d.name, [m], None)]
        scale = bars.scale_for([0.0, 10.0, *ends])
        bar = "".join(bars.headline_bar(d.name, m, scale, None) for d, m in zip(found, measures, strict=True) if m)
    return {
        "name": drops.RUNWAY,
        "words": words.term(drops.RUNWAY).words,
        "values": [("", above.get(d.name, d.above), d.shown) for d in found],
        "named": True,
        "bar": Markup(bar),
        "band": "",
    }


def facts(analysis: Analysis) -> list[tuple[str, str, words.Shown]]:
    """Return the plain facts of the first screen: name, words and value of speed, last step and place of the toe."""
    last = analysis.step(0)
    wanted = (
        ("approach_speed_m_per_s", "approach speed", analysis.takeoff),
        ("step_length_ratio", "last step to the one before", last.measures if last else {}),
        ("toe_to_board_m", "toe behind the line", analysis.takeoff),
    )
    return [(name, said, words.shown(name, measures[name])) for name, said, measures in wanted if name in measures]


def _headline_times(analysis: Analysis) -> dict[str, Any]:
    """Return the last two contact times on one axis; one reason where it is the same for both."""
    times = _times(analysis)
    values = [(letter, name, words.shown("contact_time_s", measure)) for name, letter, measure in times]
    reasons = {shown.reason for _, _, shown in values}
    bar = ""
    if reasons == {""} or len(reasons) > 1:
        scale = bars.scale_for([0.0, 150.0, *bars.spread("contact_time_s", [measure for _, _, measure in times])])
        bar = bars.time_bars([(letter, measure, None) for _, letter, measure in times], scale)
    else:
        values = [("", "", values[0][2])]
    return {
        "name": "contact_time_s",
        "words": "last two contact times",
        "values": values,
        "bar": Markup(bar),
        "band": "",
    }


def _times(analysis: Analysis) -> list[tuple[str, str, Measure | None]]:
    out = []
    for number in (-1, 0):
        contact = analysis.contact(number)
        name = words.contact_words(number, analysis.run)
        letter = words.side(contact) if contact else words.DASH
        out.append((name, letter, contact.measures.get("contact_time_s") if contact else None))
    return out


def _shown_contacts(analysis: Analysis) -> list[Contact]:
    return [c for number in shown_contacts(analysis) if (c := analysis.contact(number))]


def _section(
    analysis: Analysis,
    contact: Contact,
    pictures: Mapping[tuple[int, str], Picture],
    scales: Mapping[str, bars.Scale],
) -> Section:
    name = words.capitalised(words.contact_words(contact.number, analysis.run))
    mat_m = drops.laid(analysis).get(contact.number)
    foot = f"{contact.foot} foot" if contact.foot_sure else "it is not certain which foot"
    lead = foot + (f", on a mat of {100 * mat_m:.2g} cm" if mat_m else "")
    return Section(
        key=f"phase-{contact.number}" if contact.number > 0 else f"contact-{-contact.number}",
        title=f"{name} contact" if "contact" not in name else name,
        lead=lead,
        pictures=tuple(pictures[key] for i in INSTANT_WORDS if (key := (contact.number, str(i))) in pictures),
        groups=tuple(
            (title, tuple(_section_row(analysis.run, contact, row, scales[row]) for row in names))
            for title, names in _SECTION_ROWS
        ),
    )


def _section_row(run: Run, contact: Contact, name: str, scale: bars.Scale) -> Row:
    measure = contact.measures.get(name)
    extra = words.from_vertical(name, measure)
    if name == "foot_angle_touchdown_deg" and contact.strike:
        extra = contact.strike
    bar = bars.interval_bar(name, measure, scale, references.drawn_band(run, name, contact.number))
    return Row(name=name, label=words.term(name).words, shown=words.shown(name, measure), bar=Markup(bar), extra=extra)


def _matrix(names: Iterable[str], columns: list[Measures]) -> list[tuple[str, list[words.Shown]]]:
    return [(name, [words.shown(name, measures.get(name)) for measures in columns]) for name in names]


def _whose(band: references.Band, analysis: Analysis) -> str:
    if band.number is None:
        return ""
    part = words.term(band.measure).part
    name = words.step_words(band.number) if part == "steps" else words.contact_words(band.number, analysis.run)
    return f", {name}"


def _ours(band: references.Band, analysis: Analysis) -> words.Shown:
    if band.number is None:
        measures: Measures = {**analysis.penultimate, **analysis.takeoff}
        return words.shown(band.measure, measures.get(band.measure))
    of_step = words.term(band.measure).part == "steps"
    row = analysis.step(band.number) if of_step else analysis.contact(band.number)
    return words.shown(band.measure, row.measures.get(band.measure) if row else None)
