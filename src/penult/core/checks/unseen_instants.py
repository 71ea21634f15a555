"""Withhold what rests on an instant that was not seen: a foot hidden just then may have landed or left at another time."""

from __future__ import annotations

from collections.abc import Iterable

from penult.core.checks.withheld import without_instants
from penult.model.analysis import Analysis
from penult.model.catalogue.entry import Instant

UNSEEN = "the foot is hidden or out of the picture at that moment"


def withhold(analysis: Analysis, unseen: Iterable[Instant], reason: str = "") -> Analysis:
    """Return the analysis without every measure that rests on one of the instants.

    Parameters
    ----------
    analysis : Analysis
        As measured.
    unseen : iterable of (number, 'touchdown' or 'toe_off')
        Ends of contacts that only the joints tell, with no frame of the foot just outside of them.
    reason : str
        Why they were not seen; the usual one if empty.
    """
    instants = frozenset(unseen)
    return without_instants(analysis, instants, reason or UNSEEN) if instants else analysis
