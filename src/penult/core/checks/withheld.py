"""Withhold measures by what they rest on, as the catalogue says it; a measure without a row there is an error, not let through."""

from __future__ import annotations

from collections.abc import Callable, Set

from penult.model import catalogue
from penult.model.analysis import Analysis
from penult.model.catalogue.entry import Entry, Instant
from penult.model.measured import Measures, NotMeasured

NO_BOARD = "the lane file has no board"


def without_clock(analysis: Analysis, reason: str) -> Analysis:
    """Return the analysis without whatever rests on the clip's clock; this reason stands before any other."""
    return _withheld(analysis, lambda entry, _: entry.clock, reason, over_others=True)


def without_board(analysis: Analysis) -> Analysis:
    """Return the analysis without whatever is counted from the take-off line."""
    return _withheld(analysis, lambda entry, _: entry.board, NO_BOARD, over_others=True)


def without_instants(analysis: Analysis, unseen: Set[Instant], reason: str) -> Analysis:
    """Return the analysis without whatever rests on one of the instants; what has no value keeps its own reason."""
    return _withheld(analysis, lambda entry, number: entry.rests_on(unseen, number), reason, over_others=False)


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
