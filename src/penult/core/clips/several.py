"""Three groups of clips and more side by side: each against one of them, false finds held down over all of it together. Pure."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from penult.core.clips.chance import FALSE_SHARE, counted
from penult.core.clips.compare import compare
from penult.core.clips.matters import Matters
from penult.errors import InputError
from penult.model.comparison import Comparison, Group, Several, Verdict
from penult.model.trial import Trial

MOST_GROUPS = 24
"""More do not stand side by side on a page: two years by month."""

FREE_RUN = "full approach"
"""What drills are held against where it is among the kinds."""


def several(
    groups: Sequence[Group],
    *,
    repeats: Sequence[Trial] = (),
    across_lanes: bool = False,
    matters: Matters | None = None,
) -> Several:
    """Compare each group with the one that all are held against: the full approach where there is one, else the first.

    Parameters
    ----------
    groups : sequence of Group
        Three or more, in the order in which they are shown.
    repeats, across_lanes, matters
        As in `compare`.

    Raises
    ------
    InputError
        For more groups than a page can hold.
    """
    if len(groups) > MOST_GROUPS:
        raise InputError(
            f"the clips fall into {len(groups)} groups; up to {MOST_GROUPS} stand side by side",
            next_step="narrow them down with --from and --to, or split by month or year",
        )
    against = next((i for i, g in enumerate(groups) if g.name.casefold() == FREE_RUN), 0)
    pairs = [
        compare(groups[against], g, repeats=repeats, across_lanes=across_lanes, matters=matters)
        for i, g in enumerate(groups)
        if i != against
    ]
    return Several(groups=tuple(groups), against=against, pairs=tuple(_together(pairs)))


def _together(pairs: Sequence[Comparison]) -> list[Comparison]:
    """Return the comparisons with false finds held down over all of them: many groups are many looks."""
    places = [(i, j) for i, c in enumerate(pairs) for j, r in enumerate(c.rows) if r.difference is not None]
    tests = [(pairs[i].rows[j].key, d) for i, j in places if (d := pairs[i].rows[j].difference) is not None]
    rows = [list(c.rows) for c in pairs]
    for (i, j), share in zip(places, counted(tests), strict=True):
        row = rows[i][j]
        verdict = row.verdict
        if verdict.kind in ("clearly different", "apart in these runs") and share > FALSE_SHARE:
            why = f"its own interval leaves out zero, but {len(tests)} differences were looked at"
            verdict = Verdict(kind="could be chance", limit=verdict.limit, reason=why)
        rows[i][j] = replace(row, verdict=verdict, false_share=share)
    return [replace(c, rows=tuple(r)) for c, r in zip(pairs, rows, strict=True)]
