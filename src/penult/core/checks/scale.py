"""How the scale was checked, in one sentence: marks that are all wrong alike fit together. Pure.

A lane that is wrong by the same share everywhere is a blunder and no part of u95: the GUM leaves blunders out (JCGM 100, 3.4.7),
and an interval that allowed for yards would say nothing of any run. So what was looked for is said, with what it could have shown;
a check that is too weak counts as none; and where a second witness disagrees, lengths and speeds are withheld.
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Sequence

from penult.core.checks.stature import height_is_far, height_u95_m
from penult.core.checks.withheld import without_scale
from penult.core.lane.board_size import BOARD_M, board_seen, board_share
from penult.core.lane.remeasured import Remeasured, remeasured
from penult.core.units import other_unit
from penult.model.analysis import Analysis, Notice
from penult.model.calibration import LaneFile, LaneFit
from penult.model.measured import Measure, Measured

SCALE_CHECK = "scale_check"
"""Under this name a result's method says how its scale was checked."""

DOUBTS = frozenset({"scale-doubted", "height-disagrees"})

ENOUGH = 0.045
"""A check that would have let a larger error pass is none: 3 % of the scale are 6 cm of a step and 0.3 m/s, more than a season
changes (common practice). A distance measured again shows 1 to 2 %, the fall of a long flight 4, a stated height 7 for sure: what
stands just at the bound of an alarm is seen every other time, so one u95 more is what would have shown (MEASURES.md, free fall)."""

HEIGHT_WITHHELD = "the stated height and the lane file's lengths do not go together; check both"
MOST_SHOWN = 0.25
"""Nobody's lane is wrong by more without being seen at once: a witness of less is not even named."""

BOARD_ALARM_U95 = 2.0
"""Four SD, one more than of the fall: clicks on a board of two dozen pixels have outliers, and of 33 lanes one stood at 1.9 SD."""

WITHHELD = "the lane file's lengths are doubted; measure two of its marks again"


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True)
class Check:
    """One witness of the scale: what it is, and the smallest error that it would have shown, as a share."""

    by: str
    shows_share: float


def scale_check(result: Analysis, body_height: Measure, stated_m: float | None, fit: LaneFit | None = None) -> str:
    """Return how the lengths of a result were checked, and what the check could have shown.

    Parameters
    ----------
    result : Analysis
        After the fall was judged: `smallest_visible_scale_error` stands in its method where there is one.
    body_height : Measure
        As the supports show it, metres.
    stated_m : float, optional
        The athlete's height as it was said.
    fit : LaneFit, optional
        Of the lane file, with its board and the distances that were measured again.
    """
    if {w.code for w in result.warnings} & DOUBTS:
        return "The scale is doubted: see the notes."
    found = sorted(_checks(result, body_height, stated_m, fit), key=lambda check: check.shows_share)
    found = [check for check in found if check.shows_share <= MOST_SHOWN]
    good = [check for check in found if check.shows_share <= ENOUGH]
    if good:
        return f"The scale was checked {good[0].by}: an error of {_percent(good[0].shows_share)} would have shown."
    weak = f" ({found[0].by} only an error of {_percent(found[0].shows_share)} would have shown)" if found else ""
    height = "" if stated_m else ", or say --height"
    return (
        f"The scale was not checked{weak}: marks that are all wrong by the same share make every length and speed wrong by it. "
        f'Measure two marks again (penult check LANE --measured "-6.5 to 0 = 6.50" --keep){height}.'
    )


def _percent(share: float) -> str:
    return f"{math.ceil(100.0 * share - 0.05)} %"  # what is said to show does show


def _checks(result: Analysis, body_height: Measure, stated_m: float | None, fit: LaneFit | None) -> list[Check]:
    """Return every witness that agreed."""
    lane = None if fit is None else fit.lane
    found = [Check(by="by a distance measured again", shows_share=d.shows) for d in _again(lane) if not d.differs]
    board = None if fit is None else board_seen(fit)
    if board is not None:
        found.append(Check(by="by the take-off board in the picture", shows_share=(BOARD_ALARM_U95 + 1.0) * board[1]))
    if stated_m and isinstance(body_height, Measured):
        found.append(Check(by="by the stated height", shows_share=2.0 * height_u95_m(body_height) / stated_m))
    seen = result.method.get("smallest_visible_scale_error")
    if isinstance(seen, float) and not any(w.code == "clock-doubted" for w in result.warnings):
        found.append(Check(by="by the free fall", shows_share=seen))
    return found


def _again(lane: LaneFile | None) -> Sequence[Remeasured]:
    return () if lane is None else tuple(remeasured(words, lane.marks) for words in lane.measured_again)


def lane_doubt(result: Analysis, fit: LaneFit, body_height: Measure, stated_m: float | None) -> Analysis:
    """Return the analysis without lengths and speeds where a second witness says that the lane file's scale is wrong.

    It does where a distance that was measured again differs, where its board is too large or small both along the run and across
    it, or as large as it should be and seen four SD larger or smaller beside the other marks, where the stated height is beyond
    three SD of what is seen, or the athlete looks taller or smaller than people are; a distance that was measured again
    and agrees outweighs the board.
    """
    if stated_m and height_is_far(body_height, stated_m):
        result = without_scale(result, HEIGHT_WITHHELD)
    again = _again(fit.lane)
    wrong = next((d for d in again if d.differs), None)
    text = wrong.text if wrong is not None else _body_doubt(body_height) or ("" if again else _board_doubt(fit))
    if not text or any(w.code == "scale-doubted" for w in result.warnings):
        return result
    notice = Notice(code="scale-doubted", text=f"{text} Lengths and speeds are not given")
    out = without_scale(result, WITHHELD)
    return dataclasses.replace(out, warnings=(notice, *out.warnings))


PEOPLE_M = (1.05, 2.15)
"""From a small child of five or six to the tallest of athletes (growth charts and common knowledge, no source)."""


def _body_doubt(tall: Measure) -> str:
    """Return what is said where the lane's lengths make the athlete smaller or taller than people are, '' where they do not."""
    if not isinstance(tall, Measured):
        return ""
    if tall.value + tall.u95 >= PEOPLE_M[0] and tall.value - tall.u95 <= PEOPLE_M[1]:
        return ""
    size = "long" if tall.value > PEOPLE_M[1] else "short"
    looks = f"by the lane file the athlete is {tall.value:.2f} +- {tall.u95:.2f} m tall, which nobody is"
    return f"{looks}: lengths are too {size}. {AGAIN}"


AGAIN = 'Measure two marks again; if they are right, say so: penult check LANE --measured "-6.5 to 0 = 6.50" --keep.'


def _board_doubt(fit: LaneFit) -> str:
    """Return what the board says against the lane's scale, '' where nothing."""
    share, seen = board_share(fit.lane.marks), board_seen(fit)
    if share is not None:
        return _board_text(share)
    if seen is None or abs(seen[0]) <= BOARD_ALARM_U95 * seen[1]:
        return ""
    off, u95 = seen
    meant = other_unit(1.0 + off)
    typed = f", as if {meant} had been typed for metres" if meant else ""
    size = "large" if off > 0.0 else "small"
    along, across = (100.0 * metres for metres in BOARD_M)
    return (
        f"the other marks make the take-off board {100.0 * abs(off):.0f} +- {100.0 * u95:.0f} % too {size}{typed}; it has "
        f"{across:.0f} by {along:.0f} cm by the rules, and all lengths seem wrong by as much. {AGAIN}"
    )


def _board_text(share: float) -> str:
    along, across = (100.0 * share * size for size in BOARD_M)
    unit = other_unit(share)
    typed = f", as if {unit} had been typed for metres" if unit else ""
    size = "large" if share > 1.0 else "small"
    return (
        f"by the lane file the take-off board is {across:.0f} cm long and {along:.1f} cm wide; boards are {100 * BOARD_M[1]:.0f} "
        f"by {100 * BOARD_M[0]:.0f} cm. Both are {100.0 * abs(share - 1.0):.0f} % too {size}{typed}, and so is every length "
        f"that was typed alike. {AGAIN}"
    )
