"""The one place where numbers become text: units, digits, names of contacts and steps.

A value is never shown with more digits than its interval supports: the uncertainty is rounded to one significant
digit (two if the first is a 1, so that rounding never moves it by more than a quarter), and the value to the same
place. JCGM 100:2008, 7.2.6, asks for at most two.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from penult.model import catalogue
from penult.model.analysis import Analysis, Contact, Run
from penult.model.catalogue.entry import Entry
from penult.model.measured import Measure, Measured, NotMeasured

MINUS = "−"
PLUS_MINUS = "±"
DASH = "–"

_ORDINALS = ("take-off", "penultimate", "third-last", "fourth-last", "fifth-last", "sixth-last", "seventh-last")


@dataclass(frozen=True, slots=True, kw_only=True)
class Shown:
    """A measure as a person reads it.

    Parameters
    ----------
    value, u95 : str
        Digits in the shown unit; both '' where there is no value.
    unit : str
        '' for a ratio.
    reason : str
        Why there is no value; '' where there is one.
    by_hand : bool
        Rests on a correction by a person.
    """

    value: str
    u95: str
    unit: str
    reason: str
    by_hand: bool

    @property
    def text(self) -> str:
        """Value, interval and unit in one line, or a dash."""
        if self.reason:
            return DASH
        return f"{self.value} {PLUS_MINUS} {self.u95}{spaced(self.unit)}"


def spaced(unit: str) -> str:
    """Return the unit with the space that goes before it: none before a degree sign or a rate's stroke."""
    return unit if unit in ("", "°", "/s") else f" {unit}"


def term(name: str, part: str = "") -> Entry:
    """Return how a measure is spoken of; a name that this version does not know is spelled out as it stands."""
    return catalogue.described(name, part)


def decimals(u95: float) -> int:
    """Return how many decimals the interval supports (negative: tens, hundreds), `u95` in the shown unit."""
    if not math.isfinite(u95) or u95 <= 0.0:
        return 3
    exponent = math.floor(math.log10(u95))
    leading = u95 / 10.0**exponent
    digits = 2 if leading < 1.95 else 1
    # 9.5 and above round up to the next power of ten, which then starts with a 1 and bears a second digit
    if leading >= 9.5:
        exponent, digits = exponent + 1, 2
    return min(6, digits - 1 - exponent)


def number(value: float, places: int, *, minus: str = MINUS, sign: bool = False) -> str:
    """Return `value` rounded to `places` decimals, without a negative zero; `sign` writes a plus as well."""
    rounded = round(value, places)
    text = f"{abs(rounded):.{max(0, places)}f}"
    if rounded < 0:
        return minus + text
    return "+" + text if sign and rounded > 0 else text


def shown(name: str, measure: Measure | None, *, minus: str = MINUS) -> Shown:
    """Return a measure as a person reads it; a measure that is missing altogether says so."""
    words = term(name)
    if not isinstance(measure, Measured):
        reason = measure.reason if isinstance(measure, NotMeasured) else "not in this result"
        return Shown(value="", u95="", unit=words.unit, reason=reason, by_hand=False)
    u95 = measure.u95 * words.scale
    places = 0 if u95 == 0.0 and (measure.value * words.scale).is_integer() else decimals(u95)  # a count
    return Shown(
        value=number(measure.value * words.scale, places, minus=minus),
        u95=number(u95, places, minus=minus),
        unit=words.unit,
        reason="",
        by_hand=measure.by_hand,
    )


PHASE_WORDS: dict[str, str] = {
    "bound": "bound",
    "hop": "hop",
    "step": "step",
    "jump": "jump",
    "takeoff": "take-off",
    "skiphop": "skip, hop",
    "skipstep": "skip, step",
    "?": "phase",
}


def contact_words(contact_number: int, run: Run) -> str:
    """Return what a contact is called: by the phase that it begins, where its kind is sure, or by its place before the take-off."""
    if run.is_series and (kind := run.phase_kind(contact_number)) not in {"run", "?"}:
        return phase_words(contact_number, kind, run)
    if contact_number > 0:
        return f"contact {contact_number}" if run.is_series else f"{contact_number} past line"
    if contact_number == 0 and not run.has_takeoff:
        return "last contact"
    if -contact_number < len(_ORDINALS):
        return _ORDINALS[-contact_number]
    return f"contact {MINUS}{-contact_number}"


def phase_words(number: int, kind: str, run: Run) -> str:
    """Return what a phase is called: its kind, and which one of several of that kind it is ('bound 2', 'hop', 'skip 1, step')."""
    alike = [n for n, k in run.phases if k == kind]
    word = PHASE_WORDS[kind]
    if len(alike) < 2 or number not in alike:
        return word if kind != "?" else f"phase {number + 1}"
    place = str(alike.index(number) + 1)
    return f"skip {place}{word.removeprefix('skip')}" if kind.startswith("skip") else f"{word} {place}"


def ratio_text(analysis: Analysis) -> str:
    """Return the shares of the phases seen whole ('54.6 : 45.4 %, of the phases seen'; hop : step : jump with all three), or ''."""
    sequence = analysis.sequence
    if sequence is None or len(sequence.shares_of_whole_phases) < 2:
        return ""
    shares = " : ".join(f"{100.0 * s.value:.1f}" for s in sequence.shares_of_whole_phases)
    most = max(100.0 * s.u95 for s in sequence.shares_of_whole_phases)
    whole = [
        p.kind
        for p in sorted(analysis.phases, key=lambda p: p.number)
        if isinstance(p.measures["distance_m"], Measured)
    ]
    of = "hop : step : jump" if whole == ["hop", "step", "jump"] else "of the phases seen"
    return f"{shares} % (each {PLUS_MINUS} {most:.1f}), {of}"


def step_words(step_number: int, run: Run | None = None) -> str:
    """Return what a step is called; it carries the number of the contact that it ends at."""
    if step_number > 0 and run is not None and run.is_series:
        return f"to {contact_words(step_number, run)}"
    if step_number == 0:
        return "last step"
    if step_number > 0:
        return f"step {step_number} past line"
    if -step_number < len(_ORDINALS):
        return f"{_ORDINALS[-step_number]} step"
    return f"step {MINUS}{-step_number}"


def side(contact: Contact) -> str:
    """Return L or R, or ? where the foot is not certain."""
    return {"left": "L", "right": "R", "?": "?"}[contact.told_foot]


def from_vertical(name: str, measure: Measure | None) -> str:
    """Return a leg angle as many coaches speak of it, from the vertical: '27 ± 1° from the vertical', or ''."""
    if not name.startswith("leg_angle") or not isinstance(measure, Measured):
        return ""
    places = decimals(measure.u95)
    return f"{number(90.0 - measure.value, places)} {PLUS_MINUS} {number(measure.u95, places)}° from the vertical"


def counted(count: int, what: str) -> str:
    """Return '1 day', '2 days'."""
    return f"{count} {what}{'' if count == 1 else 's'}"


def capitalised(text: str) -> str:
    """Return the text with its first letter large, the rest as it is."""
    return text[:1].upper() + text[1:]


_CODE_WORDS = {
    "by-hand": "corrected by hand",
    "mat-disagrees": "another mat than was said",
    "kind-disagrees": "another kind than was said",
    "height-disagrees": "another height than was said",
    "clock-doubted": "frame rate in doubt",
    "scale-doubted": "scale in doubt",
    "view-turned": "camera not square to the run",
    "camera-moved": "camera moved since the still",
    "camera-moving": "camera moves",
    "camera-assumed": "camera assumed still at the start",
    "hdr-source": "HDR film",
    "few-frames": "few frames a second",
    "mixed-lanes": "several lane files",
    "variable-rate": "uneven frame rate",
    "frames-dropped": "frames missing",
    "times-rebuilt": "frame times rebuilt",
    "cut-off": "file cut off",
    "crossed": "somebody crossed",
    "unsteady-joints": "joints seen unsteadily",
}


def code_words(code: str) -> str:
    """Return what a notice is about, in words: 'another mat than was said' for mat-disagrees."""
    return _CODE_WORDS.get(code, code.replace("-", " "))


def has_line(analysis: Analysis) -> bool:
    """Tell whether x = 0 is the take-off line; a lane file without a board puts it at a mark and says so."""
    to_board = analysis.takeoff.get("toe_to_board_m")
    return not (isinstance(to_board, NotMeasured) and "board" in to_board.reason)
