"""Groups that mix patterns of mats: the largest pattern stands for the group, the others are named and left aside. Pure."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace

from penult.core.clips.groups import mats_words
from penult.model.analysis import Notice
from penult.model.comparison import Group

_MOST_NAMED = 4


def one_pattern(group: Group) -> tuple[Group, tuple[Notice, ...]]:
    """Return the clips of a group's commonest pattern of mats, and a notice that names the clips left aside.

    A mat moves the hips, so that patterns are not averaged; one odd clip must not take the others with it either.
    """
    patterns = Counter(mats_words(t.mats) for t in group.trials)
    if len(patterns) < 2:
        return group, ()
    kept, count = max(patterns.items(), key=lambda item: item[1])  # the first of equals
    aside = [t for t in group.trials if mats_words(t.mats) != kept]
    names = ", ".join(f"{t.analysis.clip.file} ({mats_words(t.mats)})" for t in aside[:_MOST_NAMED])
    more = f" and {len(aside) - _MOST_NAMED} more" if len(aside) > _MOST_NAMED else ""
    text = (
        f"{group.name} holds {len(patterns)} patterns of mats. Compared: its {count} with {kept}; left aside: {names}{more}. "
        "Compare the patterns with --by pattern, or name two groups."
    )
    kept_trials = tuple(t for t in group.trials if mats_words(t.mats) == kept)
    return replace(group, trials=kept_trials), (Notice(code="patterns-split", text=text),)
