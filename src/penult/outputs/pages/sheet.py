"""The sheet for the athlete: one page, three pictures, three numbers, last time beside them, the coach's sentence."""

from __future__ import annotations

import base64
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from markupsafe import Markup

from penult.model.analysis import Analysis
from penult.model.arrays import Image
from penult.model.measured import Measure
from penult.outputs.pages import layout
from penult.outputs.pictures.film import Held
from penult.outputs.pictures.stills import to_jpeg
from penult.outputs.texts import captions, drops
from penult.outputs.texts.tongue import Amount, Tongue, mark

LAYOUT = "sheet.html.j2"
PICTURE_PX = (660, 600)
SENTENCE_MOST = 240
"""Letters of the coach's sentence: four lines of the page."""

KINDS = {
    "full approach": mark("full approach"),
    "short approach": mark("short approach"),
    "mat drill": mark("drill with mats"),
    "run-through": mark("run-through"),
    "bounds": mark("bounds"),
    "hops": mark("hops"),
    "skips": mark("skips"),
    "triple jump": mark("triple jump"),
    "box take-off": mark("take-off from a box"),
    "take-off drill": mark("take-off drill"),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """A number of the sheet: what it is, how it is looked up in a result, and the unit that it is said in ('' as usual)."""

    words: str
    name: str
    find: Callable[[Analysis], Measure | None]
    unit: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Before:
    """The run before: its result and its day ('' where not known)."""

    analysis: Analysis
    date: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Shown:
    """One of the three: its picture and the numbers under it, each with what it was last time ('' where that is not known)."""

    source: Markup
    alt: str
    numbers: tuple[tuple[str, Amount, str], ...]


def lines_of(analysis: Analysis, hold: captions.Hold, tongue: Tongue) -> tuple[Line, ...]:
    """Return what stands beside the picture of a hold."""
    number = hold.contact.number
    if analysis.run.is_series:
        kind = captions.phase_said(analysis.run.phase_kind(number - 1), tongue)
        title = f"{hold.name.removeprefix('landing ')}. {tongue.say('Distance: {phase}', phase=kind)}"  # three may be of one kind
        return (Line(words=title, name="distance_m", find=lambda a: _phase(a, number - 1, "distance_m")),)
    if hold.name == "lowest hips":
        return tuple(_drop_lines(analysis, tongue))
    if hold.name == "take-off touchdown":
        title = "Time on the ground at take-off" if analysis.run.has_takeoff else "Time on the ground, last contact"
        return (Line(words=tongue.say(title), name="contact_time_s", find=_contact_time, unit="s"),)
    if analysis.run.has_takeoff:
        name = "takeoff_angle_deg"
        return (Line(words=tongue.say("Take-off angle"), name=name, find=lambda a: a.takeoff.get(name)),)
    name = "approach_speed_m_per_s"
    return (Line(words=tongue.say("Running speed"), name=name, find=lambda a: a.takeoff.get(name)),)


def wanted(held: Sequence[Held], analysis: Analysis) -> tuple[Held, ...]:
    """Return the three instants of the sheet: of a take-off all but the first, of a series the first three landings."""
    if analysis.run.is_series:
        return tuple(held[:3])
    return tuple(h for h in held if h.hold.name != captions.INSTANTS[0])


def sheet_html(
    analysis: Analysis,
    pictures: Sequence[tuple[Held, Image]],
    before: Before | None,
    sentence: str,
    tongue: Tongue,
    date: str,
) -> str:
    """Return the sheet as a whole HTML document that prints on one page.

    Parameters
    ----------
    analysis : Analysis
        The result.
    pictures : sequence of (Held, (h, w, 3) uint8)
        From `wanted`, in the order of the run, without words.
    before : Before, optional
        The run before.
    sentence : str
        The coach's, '' for none.
    tongue : Tongue
        Language and units.
    date : str
        ISO 8601, '' where not known.
    """
    kind = analysis.run.kind
    return layout.template(LAYOUT).render(
        athlete=analysis.run.athlete,
        kind=tongue.say(KINDS[kind]) if kind in KINDS else kind,
        date=day_said(date, tongue),
        shown=[_shown(analysis, held, image, before, tongue) for held, image in pictures],
        sentence=sentence,
        language=tongue.language,
        say=tongue.say,
    )


def day_said(date: str, tongue: Tongue) -> str:
    """Return an ISO date as the language writes it: 28.11.2026 in German, 28/11/2026 in French and Spanish, as it is in English."""
    parts = date.split("-")
    if len(parts) != 3 or tongue.language == "en":
        return date
    return ("." if tongue.language == "de" else "/").join(reversed(parts))


def _shown(analysis: Analysis, held: Held, image: Image, before: Before | None, tongue: Tongue) -> Shown:
    numbers = []
    for line in lines_of(analysis, held.hold, tongue):
        now = tongue.amount(line.name, line.find(analysis), unit=line.unit)
        last = ""
        if before is not None:
            then = tongue.amount(line.name, line.find(before.analysis), unit=line.unit).text
            day = day_said(before.date, tongue)
            then = then or tongue.say("not measured")
            last = (
                tongue.say("last time ({date}): {value}", date=day, value=then)
                if day
                else tongue.say("last time: {value}", value=then)
            )
        numbers.append((line.words, now, last))
    source = Markup("data:image/jpeg;base64," + base64.b64encode(to_jpeg(image)).decode("ascii"))
    return Shown(source=source, alt=held.hold.title, numbers=tuple(numbers))


def _drop_lines(analysis: Analysis, tongue: Tongue) -> list[Line]:
    names = [d.name for d in drops.drops(analysis)]
    if len(names) < 2:
        words = [tongue.say("Hips lower than one contact before")]
    else:
        words = [
            tongue.say("Hips lower than one contact before, above the runway"),
            tongue.say("the same above what each foot stood on"),
        ]

    def find(name: str) -> Callable[[Analysis], Measure | None]:
        return lambda a: a.penultimate.get(name)

    return [Line(words=w, name=n, find=find(n)) for w, n in zip(words, names, strict=True)]


def _contact_time(analysis: Analysis) -> Measure | None:
    contact = analysis.contact(0)
    return contact.measures.get("contact_time_s") if contact else None


def _phase(analysis: Analysis, number: int, name: str) -> Measure | None:
    phase = analysis.phase(number)
    return phase.measures.get(name) if phase else None
