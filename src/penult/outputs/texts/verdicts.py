"""What may be said of a difference, in the words of MEASURES section 7, with its digits and unit."""

from __future__ import annotations

import math
from dataclasses import dataclass

from penult.model.catalogue.entry import Entry
from penult.model.comparison import ComparedMeasure, GroupValues, Interval, TypicalError, Verdict
from penult.model.trial import MeasureKey
from penult.outputs.texts import words

CLEARLY = "clearly different"
CHANCE = "could be chance among so many measures"
APART = "apart in these runs"
TOO_FEW = "too few clips"
NOT_COMPARED = "not compared"

SINGLE_RUNS = frozenset({"apart in these runs", "not told apart"})
_PLAIN: dict[str, str] = {
    "clearly different": CLEARLY,
    "could be chance": CHANCE,
    "apart in these runs": APART,
    "too few clips": TOO_FEW,
}
_CONTACTS = {0: "take-off contact", -1: "penultimate contact", -2: "third-last contact", -3: "fourth-last contact"}


@dataclass(frozen=True, slots=True, kw_only=True)
class ShownRow:
    """One compared measure as a person reads it.

    Parameters
    ----------
    name : str
        Of the measure in the result.
    words, where : str
        The measure, and the contact or step it belongs to.
    first, second : str
        Means with their unit, or a dash.
    difference : str
        With its interval and unit, or a dash.
    verdict : str
        One of the three plain verdicts, or 'not compared'.
    reason : str
        Why there are too few clips, or nothing may be compared.
    detectable : str
        Minimal detectable change between two clips, with what its typical error rests on.
    matters : str
        What the difference is to the change that matters; '' where the coach set none.
    """

    name: str
    words: str
    where: str
    first: str
    second: str
    difference: str
    verdict: str
    reason: str
    detectable: str
    notes: tuple[str, ...]
    matters: str = ""


def shown_row(row: ComparedMeasure) -> ShownRow:
    """Return a row in words."""
    term = words.term(row.key.name, row.key.part)
    places = _places(row)
    return ShownRow(
        name=row.key.name,
        words=term.words,
        where=where(row.key),
        first=_mean(row.first, term, places),
        second=_mean(row.second, term, places),
        difference=interval_text(row.difference, row.key.name),
        verdict=verdict_text(row.verdict, row.key.name),
        reason="" if row.verdict.kind in SINGLE_RUNS else row.verdict.reason,  # the page says it once, on top
        detectable=detectable_text(row.minimal_detectable_change, row.typical_error, row.key.name),
        notes=row.notes,
        matters=matters_text(row),
    )


def where(key: MeasureKey) -> str:
    """Return which contact or step a measure belongs to; '' where there is one a clip."""
    if key.number is None:
        return ""
    if key.part == "phases":
        return f"phase {key.number + 1}"
    return words.step_words(key.number) if key.part == "steps" else _CONTACTS.get(key.number, f"contact {key.number}")


def full_words(key: MeasureKey) -> str:
    """Return a measure with its contact or step: 'contact time, penultimate contact'."""
    return ", ".join(w for w in (words.term(key.name, key.part).words, where(key)) if w)


def verdict_text(verdict: Verdict, name: str) -> str:
    """Return the verdict in the words that were agreed on."""
    if verdict.kind == "not seen" and verdict.limit is not None:
        return f"a difference of {amount(verdict.limit, name)} or less could not have been seen"
    if verdict.kind == "not told apart" and verdict.limit is not None:
        return f"not told apart: the measurement leaves {amount(verdict.limit, name)} open"
    return _PLAIN.get(verdict.kind, NOT_COMPARED)


def interval_text(interval: Interval | None, name: str) -> str:
    """Return a difference with its 95 % interval: '+2.4 ± 0.8 cm'."""
    if interval is None:
        return words.DASH
    term = words.term(name)
    half = term.scale * interval.half_width
    places = words.decimals(half)
    value = words.number(term.scale * interval.value, places, sign=True)
    return f"{value} {words.PLUS_MINUS} {words.number(half, places)}{words.spaced(term.unit)}"


def matters_text(row: ComparedMeasure) -> str:
    """Return what a difference is to the change that matters: smaller, larger, or how many clips would settle it."""
    if row.matters is None or row.difference is None:
        return ""
    size = amount_plain(row.matters, row.key.name)
    if row.is_small:
        return f"certainly smaller than what matters ({size})"
    if row.is_large:
        return f"more than what matters ({size})"
    more = 0 if row.clips_needed is None else row.clips_needed - min(len(s.values) for s in (row.first, row.second))
    if more > 0:
        return (
            f"about {words.counted(more, 'more clip')} in each group, {row.clips_needed} in all, would settle whether "
            f"{size}, which matters, is there"
        )
    return f"whether it is as much as matters ({size}) is open"


def amount_plain(value: float, name: str) -> str:
    """Return a size that a person set, as they set it, with its unit."""
    term = words.term(name)
    return f"{term.scale * value:.6g}{words.spaced(term.unit)}"


def amount(value: float, name: str) -> str:
    """Return a half-width or limit with the digits that it deserves, and its unit."""
    term = words.term(name)
    scaled = term.scale * value
    return f"{words.number(scaled, words.decimals(scaled))}{words.spaced(term.unit)}"


def detectable_text(change: float | None, error: TypicalError | None, name: str) -> str:
    """Return the minimal detectable change and what it rests on; '' where nothing is known."""
    if change is None or error is None:
        return ""
    if error.from_repeats:
        return f"{amount(change, name)} (typical error {amount(error.value, name)}, {words.counted(error.clips, 'repeat')})"
    return f"{amount(change, name)} (measurement uncertainty alone: fewer than three repeats)"


def value_text(value: float, half: float, name: str) -> str:
    """Return a value rounded to what an interval of half-width `half` supports, with its unit."""
    term = words.term(name)
    number = words.number(term.scale * value, words.decimals(term.scale * half))
    return f"{number}{words.spaced(term.unit)}"


def _places(row: ComparedMeasure) -> int:
    term = words.term(row.key.name)
    if row.difference is not None and row.difference.half_width > 0.0:
        return words.decimals(term.scale * row.difference.half_width)
    u95 = [m.u95 for side in (row.first, row.second) for _, m in side.values]
    return words.decimals(term.scale * math.sqrt(sum(u * u for u in u95) / len(u95))) if u95 else 0


def _mean(side: GroupValues, term: Entry, places: int) -> str:
    if side.mean is None:
        return words.DASH
    return f"{words.number(term.scale * side.mean, places)}{words.spaced(term.unit)}"
