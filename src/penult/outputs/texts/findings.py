"""What stands out between two groups of clips, in plain directed sentences: how much, which way, against what, how sure.

First the measures that were chosen beforehand, then in one sentence what is left of all others once chance is counted.
Never a verdict about the athlete.
"""

from __future__ import annotations

from penult.core.clips.chance import CHOSEN
from penult.model.comparison import ComparedMeasure, Comparison
from penult.model.trial import MeasureKey
from penult.outputs.texts import drops, words
from penult.outputs.texts.verdicts import amount, full_words, interval_text

_WAYS: dict[str, tuple[str, str]] = {
    drops.RUNWAY: ("deeper", "shallower"),
    drops.SUPPORT: ("deeper", "shallower"),
    "contact_time_s": ("longer", "shorter"),
    "flight_time_s": ("longer", "shorter"),
    "takeoff_angle_deg": ("steeper", "flatter"),
    "approach_speed_m_per_s": ("faster", "slower"),
    "step_length_m": ("longer", "shorter"),
}
_SUBJECTS = {
    drops.RUNWAY: "the hip drop above the runway",
    drops.SUPPORT: "the hip drop above what each foot stood on",
    "contact_time_s": "the penultimate contact",
    "takeoff_angle_deg": "the take-off angle",
}
_LAID_DOWN = frozenset({"support_height_m"})
"""What the coach put there: it differs because it was laid so, and says nothing of the athlete."""
_MOST_NAMED = 3


def comparison_findings(c: Comparison) -> list[str]:
    """Return two to four sentences; the first is about the hips. Empty where nothing could be compared."""
    rows = [row for key in _chosen(c) if (row := c.row(key)) and row.difference is not None]
    if not rows:
        return []
    said = [_sentence(row, c, is_first=i == 0) for i, row in enumerate(rows) if i == 0 or _is_told(row)]
    still = [_SUBJECTS[r.key.name] for r in rows[1:] if not _is_told(r)]
    if still:
        said.append(
            f"{words.capitalised(' and '.join(still))} {'show' if len(still) > 1 else 'shows'} no clear difference."
        )
    rest = _rest(c)
    return [*said, rest] if rest else said


def _chosen(c: Comparison) -> list[MeasureKey]:
    """Return the chosen measures that there is something to say of: one drop without mats, both where mats lay in one group."""
    with_mats = any(drops.has_mats(t.analysis) for g in (c.first, c.second) for t in g.trials)
    support = c.row(MeasureKey("penultimate", None, drops.SUPPORT))
    has_support = support is not None and support.difference is not None
    skipped = (set() if with_mats else {drops.SUPPORT}) if has_support else {drops.SUPPORT}
    keys = [k for k in CHOSEN if k.name not in skipped]
    return sorted(keys, key=lambda k: k.name != (drops.SUPPORT if drops.SUPPORT not in skipped else drops.RUNWAY))


def _is_told(row: ComparedMeasure) -> bool:
    return row.verdict.kind in ("clearly different", "apart in these runs")


def _sentence(row: ComparedMeasure, c: Comparison, *, is_first: bool) -> str:
    first, second = c.first.name, c.second.name
    subject = words.capitalised(_SUBJECTS.get(row.key.name, full_words(row.key)))
    if row.difference is None:
        return ""
    if not _is_told(row):
        limit = amount(row.difference.half_width, row.key.name)
        return f"{subject}: no difference seen between {first} and {second}; one of {limit} or less could not have been seen."
    more, less = _WAYS.get(row.key.name, ("larger", "smaller"))
    size = interval_text(row.difference, row.key.name).lstrip("+" + words.MINUS)
    way = more if row.difference.value > 0.0 else less
    text = f"{subject} was {size} {way} in {second} than in {first}"
    if row.verdict.kind == "apart in these runs":
        return f"{text}; what is usual for this athlete is not known yet." if is_first else f"{text}."
    return f"{text}, and that is clear (95 % interval)."


def _rest(c: Comparison) -> str:
    """Say what is left of the measures that nobody had asked about, with false finds held at one in twenty."""
    rest = [r for r in c.rows if r.difference is not None and r.key not in CHOSEN and r.key.name not in _LAID_DOWN]
    if not rest:
        return ""
    found = sorted((r for r in rest if _is_told(r)), key=lambda r: r.false_share or 0.0)
    if not found:
        return f"None of the other {len(rest)} measures differs by more than chance among so many would show."
    named = "; ".join(f"{full_words(r.key)} {interval_text(r.difference, r.key.name)}" for r in found[:_MOST_NAMED])
    more = f" and {len(found) - _MOST_NAMED} more" if len(found) > _MOST_NAMED else ""
    verb = "stands" if len(found) == 1 else "stand"
    return f"Of the other {len(rest)} measures {len(found)} {verb} out ({named}{more}); about one in twenty of such finds is false."
