"""What the film holds at, and the one number of each of those instants."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from penult.model.analysis import Analysis, Contact
from penult.model.measured import Measure
from penult.outputs.texts import drops
from penult.outputs.texts.tongue import Tongue, mark

INSTANTS = ("penultimate touchdown", "lowest hips", "take-off touchdown", "toe-off")
"""Where two runs can be put on one clock, and where the film of one holds."""

_PLACES = {
    "penultimate touchdown": (-1, "touchdown"),
    "lowest hips": (-1, "lowest"),
    "take-off touchdown": (0, "touchdown"),
    "toe-off": (0, "toe_off"),
}

_PHASES = {
    "bound": mark("bound"),
    "hop": mark("hop"),
    "step": mark("step"),
    "jump": mark("jump"),
    "takeoff": mark("take-off"),
    "skiphop": mark("skip, hop"),
    "skipstep": mark("skip, step"),
}
_CONTACTS = {0: mark("take-off"), -1: mark("penultimate"), -2: mark("third-last")}
_SIDES = {"left": mark("L"), "right": mark("R")}


@dataclass(frozen=True, slots=True, kw_only=True)
class Hold:
    """An instant at which the film stands still.

    Parameters
    ----------
    contact : Contact
        Whose instant it is.
    instant : {'touchdown', 'lowest', 'toe_off'}
        Which one.
    name : str
        One of `INSTANTS`; of a series 'landing 1', 'landing 2' ...
    title : str
        What is seen.
    numbers : tuple of str
        The number of that instant, in one line; two where a hip drop over mats has two names.
    drawing : str
        What is drawn for it: 'step', 'drop', 'leg', 'angle', 'distance', or '' where nothing was measured.
    """

    contact: Contact
    instant: str
    name: str
    title: str
    numbers: tuple[str, ...]
    drawing: str


def place_of(name: str) -> tuple[int, str]:
    """Return the contact's number and the instant that a name of `INSTANTS` stands for."""
    return _PLACES[name]


def holds(analysis: Analysis, tongue: Tongue) -> tuple[Hold, ...]:
    """Return where the film holds, in the order of the run: the landings of a series, else the four instants of a take-off."""
    if analysis.run.is_series:
        return _landings(analysis, tongue)
    found = []
    for name, make in _FOUR:
        number, instant = _PLACES[name]
        contact = analysis.contact(number)
        if contact is not None:
            title, numbers, drawing = make(analysis, contact, tongue)
            found.append(
                Hold(contact=contact, instant=instant, name=name, title=title, numbers=numbers, drawing=drawing)
            )
    return tuple(found)


def side_said(contact: Contact, tongue: Tongue) -> str:
    """Return the letter of the foot, '?' where it is not certain."""
    return tongue.say(_SIDES[contact.told_foot]) if contact.told_foot in _SIDES else "?"


def contact_said(contact: Contact, analysis: Analysis, tongue: Tongue) -> str:
    """Return what a contact is called, '' for those far from the take-off."""
    if analysis.run.is_series:
        kind = analysis.run.phase_kind(contact.number)
        return tongue.say(_PHASES[kind]) if kind in _PHASES else ""
    if contact.number == 0 and not analysis.run.has_takeoff:
        return tongue.say("last contact")
    return tongue.say(_CONTACTS[contact.number]) if contact.number in _CONTACTS else ""


def phase_said(kind: str, tongue: Tongue) -> str:
    """Return what a phase is called by its kind."""
    return tongue.say(_PHASES[kind]) if kind in _PHASES else tongue.say("flight")


Said = tuple[str, tuple[str, ...], str]


def _penultimate_touchdown(analysis: Analysis, contact: Contact, tongue: Tongue) -> Said:
    step = analysis.step(-1)
    text = _line(tongue, "step {value}", "step_length_m", step.measures.get("step_length_m") if step else None)
    return tongue.say("Penultimate contact: touchdown"), (text or _none(tongue),), "step" if text else ""


def _lowest(analysis: Analysis, contact: Contact, tongue: Tongue) -> Said:
    title = tongue.say("Penultimate contact: hips lowest")
    lines: tuple[str, ...] = (mark("hips {value} lower than in the contact before"),)
    names = [d.name for d in drops.drops(analysis)]
    if len(names) > 1:
        lines = (
            mark("hips {value} lower, above the runway"),
            mark("hips {value} lower, above what each foot stood on"),
        )
    said = [_line(tongue, t, n, analysis.penultimate.get(n)) for n, t in zip(names, lines, strict=True)]
    found = tuple(s for s in said if s)
    return title, found or (_none(tongue),), "drop" if said[0] else ""


def _takeoff_touchdown(analysis: Analysis, contact: Contact, tongue: Tongue) -> Said:
    name = "leg_angle_touchdown_deg"
    text = _line(tongue, "leg {value} to the ground", name, contact.measures.get(name))
    title = "Take-off: touchdown" if analysis.run.has_takeoff else "Last contact: touchdown"
    return tongue.say(title), (text or _none(tongue),), "leg" if text else ""


def _toe_off(analysis: Analysis, contact: Contact, tongue: Tongue) -> Said:
    if not analysis.run.has_takeoff:
        text = _line(tongue, "on the ground for {value}", "contact_time_s", contact.measures.get("contact_time_s"))
        return tongue.say("Last contact: toe-off"), (text or _none(tongue),), ""
    text = _line(tongue, "take-off angle {value}", "takeoff_angle_deg", analysis.takeoff.get("takeoff_angle_deg"))
    return tongue.say("Take-off: toe-off"), (text or _none(tongue),), "angle" if text else ""


_FOUR: tuple[tuple[str, Callable[[Analysis, Contact, Tongue], Said]], ...] = (
    ("penultimate touchdown", _penultimate_touchdown),
    ("lowest hips", _lowest),
    ("take-off touchdown", _takeoff_touchdown),
    ("toe-off", _toe_off),
)


def _landings(analysis: Analysis, tongue: Tongue) -> tuple[Hold, ...]:
    """Return the landing of every phase whose landing is seen: the touchdown of the contact after it, with the distance."""
    found: list[Hold] = []
    for phase in sorted(analysis.phases, key=lambda p: p.number):
        contact = analysis.contact(phase.number + 1)
        if contact is None:
            continue
        text = _line(tongue, "distance {value}", "distance_m", phase.measures.get("distance_m"))
        kind = phase_said(phase.kind, tongue)
        title = tongue.say("Landing {number}, after: {phase}", number=str(len(found) + 1), phase=kind)
        found.append(
            Hold(
                contact=contact,
                instant="touchdown",
                name=f"landing {len(found) + 1}",
                title=title,
                numbers=(text or _none(tongue),),
                drawing="distance" if text else "",
            )
        )
    return tuple(found)


def _line(tongue: Tongue, text: str, name: str, measure: Measure | None) -> str:
    amount = tongue.amount(name, measure)
    return tongue.say(text, value=amount.text) if amount.text else ""


def _none(tongue: Tongue) -> str:
    return tongue.say("not measured")
