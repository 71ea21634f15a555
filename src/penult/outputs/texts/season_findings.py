"""What stands out in a season, in one or two plain sentences: how much, which way, since when, how sure. Never a verdict."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

from penult.core.clips.chance import CHOSEN
from penult.model.comparison import Change, Condition, Season
from penult.outputs.texts import words
from penult.outputs.texts.findings import directed, subject
from penult.outputs.texts.verdicts import amount_plain, interval_text, value_text

_MOST_NAMED = 3


def season_findings(season: Season) -> list[str]:
    """Return up to three sentences; empty where no kind of clip has two sessions."""
    changes = season.changes
    if not changes:
        return []
    main = [c for c in changes if c.key in CHOSEN]
    said = [_told(c) for c in sorted(main, key=_surest) if c.beyond][:2]
    if not said and main:
        said = [_nothing(main, season.since)]
    rest = _rest([c for c in changes if c.key not in CHOSEN])
    return [*said, rest] if rest else said


def _surest(change: Change) -> tuple[float, int]:
    return change.false_share, CHOSEN.index(change.key)


def _told(c: Change) -> str:
    half = c.difference.half_width
    was, now = (value_text(sum(v) / len(v), half, c.key.name) for v in (c.before, c.since))
    text = (
        f"{words.capitalised(subject(c.key))} in {condition_words(c.condition)} was {directed(c.key.name, c.difference)} on "
        f"{_day(c.since_date)} than on {_day(c.before_date)} ({was} to {now}), and that is real (95\u00a0% interval)"
    )
    matters = _matters(c)
    return f"{text}{'; ' + matters if matters else ''}."


def _nothing(changes: Sequence[Change], since: str) -> str:
    c = min(changes, key=_surest)
    return (
        f"Since {_day(since)} neither hip drop nor penultimate contact nor take-off angle changed by more than chance; the surest: "
        f"{subject(c.key)} in {condition_words(c.condition)} {interval_text(c.difference, c.key.name)}."
    )


def _rest(changes: Sequence[Change]) -> str:
    if not changes:
        return ""
    found = sorted((c for c in changes if c.beyond), key=lambda c: c.false_share)
    if not found:
        return f"None of the other {len(changes)} changes is more than chance among so many would show."
    named = "; ".join(
        f"{subject(c.key)} in {condition_words(c.condition)} {interval_text(c.difference, c.key.name)}"
        for c in found[:_MOST_NAMED]
    )
    more = f" and {len(found) - _MOST_NAMED} more" if len(found) > _MOST_NAMED else ""
    verb = "stands" if len(found) == 1 else "stand"
    return (
        f"Of the other {len(changes)} changes {len(found)} {verb} out ({named}{more}); "
        "about one in twenty of such finds is false."
    )


def _matters(c: Change) -> str:
    if c.matters is None:
        return ""
    size, d = amount_plain(c.matters, c.key.name), c.difference
    if max(abs(d.low), abs(d.high)) < c.matters:
        return f"certainly smaller than what matters ({size})"
    return f"more than what matters ({size})" if d.low > c.matters or d.high < -c.matters else ""


def condition_words(condition: Condition) -> str:
    """Return a kind of clip with its approach: 'mat drill, 13 strides'."""
    strides = f" of {condition.approach_strides} strides" if condition.approach_strides else ""
    return f"{condition.kind or 'clips of no kind'}{strides}"


def _day(text: str) -> str:
    try:
        day = date.fromisoformat(text)
    except ValueError:
        return text
    return f"{day.day} {day:%b %Y}"
