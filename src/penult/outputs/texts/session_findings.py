"""What stands out in one session, athlete by athlete: drill against free run, the last run against those before, or the one run."""

from __future__ import annotations

from collections.abc import Sequence

from penult.core.clips.compare import compare
from penult.core.clips.groups import mats_words
from penult.errors import PenultError
from penult.model.comparison import Group
from penult.model.session import Session
from penult.model.trial import Trial
from penult.outputs.texts import drops
from penult.outputs.texts.findings import comparison_findings, pattern

_MOST_ATHLETES = 3


def session_findings(session: Session) -> list[tuple[str, str]]:
    """Return (athlete, sentences) for up to three athletes, those with most runs first; never a verdict."""
    runs: dict[str, list[Trial]] = {}
    for clip in session.clips:
        if clip.analysis is not None:
            runs.setdefault(clip.analysis.run.athlete, []).append(Trial(analysis=clip.analysis, said=clip.said))
    most = sorted(runs.items(), key=lambda item: -len(item[1]))[:_MOST_ATHLETES]
    return [(athlete, text) for athlete, trials in most if (text := _of_one(trials))]


def _of_one(trials: Sequence[Trial]) -> str:
    groups = _groups(trials)
    try:
        if len(groups) > 1:
            free = next((g for g in groups if not g.trials[0].mats), groups[0])
            drill = next((g for g in groups if g is not free and g.trials[0].mats), None)
            drill = drill or next(g for g in groups if g is not free)
            c = compare(free, drill)
            return " ".join([*comparison_findings(c)[:1], *([line] if (line := pattern(c)) else [])])
        if len(trials) > 1:
            before = Group(name="the run before" if len(trials) == 2 else "the runs before", trials=tuple(trials[:-1]))
            return " ".join(comparison_findings(compare(before, Group(name="the last run", trials=(trials[-1],))))[:1])
    except PenultError:  # the same clip twice under two names: the table shows both
        return ""
    return drops.finding(trials[0].analysis)


def _groups(trials: Sequence[Trial]) -> list[Group]:
    """Return the runs by kind and mats, the largest group first."""
    found: dict[str, list[Trial]] = {}
    for t in trials:
        kind = t.analysis.run.kind or "runs of no kind"
        found.setdefault(kind if not t.mats else f"{kind} ({mats_words(t.mats)})", []).append(t)
    return [Group(name=n, trials=tuple(g)) for n, g in sorted(found.items(), key=lambda item: -len(item[1]))]
