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


def session_findings(session: Session) -> list[tuple[str, list[str]]]:
    """Return (athlete, sentences) for up to three athletes, those with most runs first; never a verdict."""
    runs: dict[str, list[Trial]] = {}
    for clip in session.clips:
        if clip.analysis is not None:
            runs.setdefault(clip.analysis.run.athlete, []).append(Trial(analysis=clip.analysis, said=clip.said))
    most = sorted(runs.items(), key=lambda item: -len(item[1]))[:_MOST_ATHLETES]
    return [(athlete, texts) for athlete, trials in most if (texts := _of_one(trials))]


def _of_one(trials: Sequence[Trial]) -> list[str]:
    groups = _groups(trials)
    try:
        if len(groups) > 1:
            free = next((g for g in groups if not g.trials[0].mats), groups[0])
            drill = next((g for g in groups if g is not free and g.trials[0].mats), None)
            drill = drill or next(g for g in groups if g is not free)
            c = compare(free, drill)
            return [*comparison_findings(c)[:1], *([line] if (line := pattern(c)) else [])]
        if len(trials) > 1:
            before = Group(name="the run before" if len(trials) == 2 else "the runs before", trials=tuple(trials[:-1]))
            return comparison_findings(compare(before, Group(name="the last run", trials=(trials[-1],))))[:1]
    except PenultError:  # the same clip twice under two names: the table shows both
        return []
    text = drops.finding(trials[0].analysis)
    return [text] if text else []


def _groups(trials: Sequence[Trial]) -> list[Group]:
    """Return the runs by kind and mats, the largest group first."""
    found: dict[tuple[str, str], list[Trial]] = {}
    for t in trials:
        found.setdefault((t.analysis.run.kind or "runs of no kind", mats_words(t.mats)), []).append(t)
    kinds = [kind for kind, _ in found]
    return [
        Group(name=f"{kind} ({mats})" if kinds.count(kind) > 1 else kind, trials=tuple(group))
        for (kind, mats), group in sorted(found.items(), key=lambda item: -len(item[1]))
    ]
