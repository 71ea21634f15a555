"""What stands out between two groups of clips, in plain directed sentences: how much, which way, against what, how sure.

First the measures that were chosen beforehand, then in one sentence what is left of all others once chance is counted.
Never a verdict about the athlete.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from penult.core.clips.chance import CHOSEN
from penult.model import catalogue
from penult.model.comparison import ComparedMeasure, Comparison, Interval
from penult.model.trial import MeasureKey
from penult.outputs.texts import drops, words
from penult.outputs.texts.verdicts import amount, full_words, interval_text, matters_text

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
_LAID_DOWN = frozenset({"support_height_m", "toe_x_m"})
"""What lies where the coach laid it or the run-up began: it differs for that, and says little of the athlete."""
_MOST_NAMED = 3

_PATTERN: tuple[tuple[MeasureKey, str], ...] = (
    (MeasureKey("contacts", -1, "contact_time_s"), "penultimate contact"),
    (MeasureKey("contacts", 0, "contact_time_s"), "take-off contact"),
    (MeasureKey("steps", 0, "step_length_ratio"), "last step to the one before"),
    (MeasureKey("takeoff", None, "approach_speed_m_per_s"), "approach speed"),
    (MeasureKey("penultimate", None, drops.RUNWAY), "hip drop above the runway"),
    (MeasureKey("penultimate", None, drops.SUPPORT), "above what each foot stood on"),
)
"""What the running pattern is: how long the feet stand, how the last step is to the one before, how fast; then what the hips do."""


def comparison_findings(c: Comparison) -> list[str]:
    """Return two to five sentences; the first is about the hips. Empty where nothing could be compared."""
    rows = [row for key in _chosen(c) if (row := c.row(key)) and row.difference is not None]
    if not rows:
        return []
    lead = _sentence(rows[0], c, is_first=True)
    both = len(rows) > 1 and rows[1].key.name in (drops.RUNWAY, drops.SUPPORT)
    if both:  # the two drops are never told apart from each other
        lead += f" {_beside(rows[1], c)}"
    others = rows[2:] if both else rows[1:]
    is_said = [_is_told(r) or r.matters is not None for r in others]
    said = [lead, *(_sentence(r, c, is_first=False) for r, yes in zip(others, is_said, strict=True) if yes)]
    still = [_SUBJECTS[r.key.name] for r, yes in zip(others, is_said, strict=True) if not yes]
    if still:
        said.append(
            f"{words.capitalised(' and '.join(still))} {'show' if len(still) > 1 else 'shows'} no clear difference."
        )
    return [*said, *(t for t in (pattern(c), _rest(c)) if t)]


def pattern(c: Comparison) -> str:
    """Return a drill on mats against the free run in one line; '' where not just one of the groups has mats."""
    with_mats = [any(t.mats for t in g.trials) for g in (c.first, c.second)]
    if with_mats[0] == with_mats[1]:
        return ""
    drill, free = (c.first, c.second) if with_mats[0] else (c.second, c.first)
    parts = []
    for key, said in _PATTERN:
        row = c.row(key)
        if row and row.difference is not None:
            d = _turned(row.difference) if with_mats[0] else row.difference
            parts.append(f"{said} {interval_text(d, key.name)}")
    if not parts:
        return ""
    return f"The pattern against the free run, {drill.name} minus {free.name}: {', '.join(parts)}."


def _turned(d: Interval) -> Interval:
    return replace(d, value=-d.value)


def _chosen(c: Comparison) -> list[MeasureKey]:
    """Return the chosen measures that there is something to say of: one drop without mats, both where mats lay in one group."""
    with_mats = any(drops.has_mats(t.analysis) for g in (c.first, c.second) for t in g.trials)
    support = c.row(MeasureKey("penultimate", None, drops.SUPPORT))
    has_support = support is not None and support.difference is not None
    skipped = (set() if with_mats else {drops.SUPPORT}) if has_support else {drops.SUPPORT}
    keys = [k for k in CHOSEN if k.name not in skipped]
    first = drops.SUPPORT if drops.SUPPORT not in skipped else drops.RUNWAY
    return sorted(keys, key=lambda k: (k.name != first, k.name not in (drops.RUNWAY, drops.SUPPORT)))


def _is_told(row: ComparedMeasure) -> bool:
    return row.verdict.kind in ("clearly different", "apart in these runs")


def _sentence(row: ComparedMeasure, c: Comparison, *, is_first: bool) -> str:
    first, second = c.first.name, c.second.name
    subject = words.capitalised(_SUBJECTS.get(row.key.name, full_words(row.key)))
    if row.difference is None:
        return ""
    if not _is_told(row):
        return f"{subject}: {_open(row, c)}"
    text = f"{subject} was {directed(row.key.name, row.difference)} in {second} than in {first}"
    matters = matters_text(row)
    if row.verdict.kind == "apart in these runs":
        usual = "; what is usual for this athlete is not known yet" if is_first else ""
        return f"{text} in these runs{usual}{'; ' + matters if matters else ''}."
    return f"{text}, and that is real (95\u00a0% interval){'; ' + matters if matters else ''}."


def _beside(row: ComparedMeasure, c: Comparison) -> str:
    """Say the second hip drop beside the first, shorter."""
    if row.difference is None:
        return ""
    above = words.capitalised(drops.NAMES[row.key.name])
    if _is_told(row):
        return f"{above} it was {directed(row.key.name, row.difference)} in {c.second.name}."
    return f"{above} no difference was seen ({interval_text(row.difference, row.key.name)})."


def _open(row: ComparedMeasure, c: Comparison) -> str:
    """Say that nothing was seen, what could not have been, and how many clips would settle it."""
    if row.difference is None:
        return ""
    name, found = row.key.name, interval_text(row.difference, row.key.name)
    if row.verdict.kind == "could be chance":
        text = f"{found} in {c.second.name} against {c.first.name}, which could be chance among so many measures"
    else:
        limit = amount(row.difference.half_width, name)
        text = (
            f"no difference seen between {c.first.name} and {c.second.name} ({found}); "
            f"one of {limit} or less could not have been seen"
        )
    matters = matters_text(row)
    return f"{text}{'; ' + matters if matters else ''}."


def directed(name: str, difference: Interval) -> str:
    """Return a difference with its direction in words: '3.1 ± 1.3 cm deeper'."""
    more, less = _WAYS.get(name, ("larger", "smaller"))
    size = interval_text(difference, name).lstrip("+" + words.MINUS)
    return f"{size} {more if difference.value > 0.0 else less}"


def subject(key: MeasureKey) -> str:
    """Return what a sentence calls a measure."""
    is_chosen = key in CHOSEN
    return _SUBJECTS[key.name] if is_chosen and key.name in _SUBJECTS else f"the {full_words(key)}"


def _rest(c: Comparison) -> str:
    """Say what is left of the measures that nobody had asked about, with false finds held at one in twenty."""
    rest = [r for r in c.rows if r.difference is not None and r.key not in CHOSEN and r.key.name not in _LAID_DOWN]
    if not rest:
        return ""
    found = [r for r in rest if _is_told(r)]
    if not found:
        return f"None of the other {len(rest)} measures differs by more than chance among so many would show."
    named = "; ".join(f"{full_words(r.key)} {interval_text(r.difference, r.key.name)}" for r in _first_named(found))
    more = f" and {len(found) - _MOST_NAMED} more" if len(found) > _MOST_NAMED else ""
    verb = "stands" if len(found) == 1 else "stand"
    return f"Of the other {len(rest)} measures {len(found)} {verb} out ({named}{more}); about one in twenty of such finds is false."


def _first_named(found: Sequence[ComparedMeasure]) -> list[ComparedMeasure]:
    """Return the finds that are named: those of the page's main numbers first, each measure once, the surest of them."""
    main = [name for _, _, name in (*catalogue.headlines("comparison"), *catalogue.headlines("series comparison"))]
    order = sorted(found, key=lambda r: (r.key.name not in main, r.false_share or 0.0))
    once: dict[str, ComparedMeasure] = {}
    for row in order:
        once.setdefault(row.key.name, row)
    return [*once.values()][:_MOST_NAMED]
