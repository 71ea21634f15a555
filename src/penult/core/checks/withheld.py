"""Withhold measures by what they rest on, as the catalogue says it; a measure without a row there is an error, not let through."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Set

from penult.model import catalogue
from penult.model.analysis import Analysis
from penult.model.catalogue.entry import DEG, Entry, Instant
from penult.model.measured import Measured, Measures, NotMeasured

NO_BOARD = "the lane file has no board"


def without_clock(analysis: Analysis, reason: str) -> Analysis:
    """Return the analysis without whatever rests on the clip's clock; this reason stands before any other."""
    return _withheld(analysis, lambda entry, _: entry.clock, reason, over_others=True)


MOST_U95 = {
    "_m": 0.5,
    "_m_per_s": 2.0,
    "_m_per_s2": 9.81,
    "_deg": 25.0,
    "_hz": 1.0,
    "_s": 0.1,
    "_percent": 50.0,
    "": 0.5,
}
"""By the ending of the name: a value known no better says nothing. People differ by less from one another: steps by 0.5 m, speeds
of run-ups by 2 m/s, joint angles by 25 degrees, ratios and shares by a half; contacts last 0.1 s (common practice)."""

VAGUE = "it is not known well enough to say anything"


def without_vague(analysis: Analysis) -> Analysis:
    """Return the analysis without values whose u95 is so large that they say nothing, whatever the measure."""
    why = NotMeasured(reason=VAGUE)

    def without(part: str, number: int | None, measures: Measures) -> Measures:
        return {n: why if isinstance(m, Measured) and _says_nothing(part, n, m) else m for n, m in measures.items()}

    return analysis.changed(without)


def _says_nothing(part: str, name: str, measure: Measured) -> bool:
    return not measure.u95 <= MOST_U95[catalogue.row(part, name).shown_in.ending]


LENGTHS = frozenset({"m", "cm", "m/s"})


def without_scale(analysis: Analysis, reason: str) -> Analysis:
    """Return the analysis without lengths, speeds, and what the fit of a flight with a known fall gives besides."""
    return _withheld(
        analysis,
        lambda entry, _: entry.unit in LENGTHS or (entry.clock and entry.unit in {"°", "%"}),
        reason,
        over_others=False,
    )


def without_spans(analysis: Analysis, spans: Callable[[str, int | None], bool], reason: str) -> Analysis:
    """Return the analysis without times, rates, speeds and ratios of times of the rows for which `spans(part, number)` is true."""
    why = NotMeasured(reason=reason)

    def without(part: str, number: int | None, measures: Measures) -> Measures:
        if part == "checks" or not spans(part, number):
            return measures
        rows = {name: catalogue.row(part, name) for name in measures}
        return {n: why if m and (rows[n].clock or rows[n].is_time) else m for n, m in measures.items()}

    return analysis.changed(without)


def without_everything(analysis: Analysis, reason: str) -> Analysis:
    """Return the analysis without any measure but the checks."""
    return _withheld(analysis, lambda entry, _: entry.part != "checks", reason, over_others=False)


def without_board(analysis: Analysis) -> Analysis:
    """Return the analysis without whatever is counted from the take-off line."""
    return _withheld(analysis, lambda entry, _: entry.board, NO_BOARD, over_others=True)


def without_instants(analysis: Analysis, unseen: Set[Instant], reason: str) -> Analysis:
    """Return the analysis without whatever rests on one of the instants; what has no value keeps its own reason."""
    return _withheld(analysis, lambda entry, number: entry.rests_on(unseen, number), reason, over_others=False)


def without_angles(analysis: Analysis, reasons: Mapping[int, str]) -> Analysis:
    """Return the analysis without the angles of some contacts (number -> reason), whatever has no value keeps its own."""
    for number, reason in reasons.items():
        analysis = _withheld(
            analysis,
            lambda entry, at, n=number: entry.shown_in is DEG and (at if at is not None else 0) == n,  # type: ignore[misc]
            reason,
            over_others=False,
        )
    return analysis


def without_places(analysis: Analysis, numbers: Set[int], reason: str) -> Analysis:
    """Return the analysis without the lengths of some contacts, and of the steps and phases that begin or end at them."""

    def rests(entry: Entry, number: int | None) -> bool:
        if not entry.lane:
            return False
        at = 0 if number is None else number
        touched = {"steps": {at - 1, at}, "phases": {at, at + 1}}.get(entry.part, {at})
        return bool(touched & numbers)

    return _withheld(analysis, rests, reason, over_others=False)


def _withheld(
    analysis: Analysis, rests: Callable[[Entry, int | None], bool], reason: str, *, over_others: bool
) -> Analysis:
    why = NotMeasured(reason=reason)

    def without(part: str, number: int | None, measures: Measures) -> Measures:
        return {
            name: why if (m or over_others) and rests(catalogue.row(part, name), number) else m
            for name, m in measures.items()
        }

    return analysis.changed(without)
