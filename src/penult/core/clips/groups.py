"""Which clips may stand in one group, and what a reader must be told of them before any number.

Clips are averaged only with their like: one athlete, one kind, one pattern of mats, one method. What is mixed is named.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence

from penult.core.clips.series import series_words
from penult.model import catalogue
from penult.model.analysis import Notice
from penult.model.comparison import Condition, Group
from penult.model.trial import MeasureKey, Trial

CONTACT_WORDS = {0: "take-off", -1: "penultimate", -2: "third-last", -3: "fourth-last"}


def depends_on_lane(key: MeasureKey) -> bool:
    """Tell whether a measure rests on the lane file's lengths; durations and rates do not."""
    return catalogue.described(key.name, key.part).lane


def condition_of(trial: Trial) -> Condition:
    """Return what a clip must share with another before they are repeats."""
    return Condition(
        kind=trial.analysis.run.kind,
        approach_strides=trial.said.approach_strides,
        mats=trial.mats,
        method=trial.method,
    )


def mats_words(mats: Sequence[tuple[int, float]]) -> str:
    """Return a pattern of mats in words: '5 cm under the penultimate contact'."""
    if not mats:
        return "no mats"
    parts = (f"{100.0 * t:g} cm under the {CONTACT_WORDS.get(n, f'{-n}. before take-off')} contact" for n, t in mats)
    return " and ".join(parts)


def mixed(group: Group) -> str:
    """Return why the values of a group must not be averaged; '' where they may."""
    told: tuple[tuple[str, Callable[[Trial], object]], ...] = (
        ("athletes", lambda t: t.analysis.run.athlete or "athlete not given"),
        ("kinds", lambda t: t.analysis.run.kind or "kind not given"),
        ("patterns of mats", lambda t: mats_words(t.mats)),
        ("endings", lambda t: "with take-off" if t.analysis.run.has_takeoff else "without take-off"),
        ("series", lambda t: series_words(t) or "no series"),
        ("method versions", lambda t: _method_words(t.method)),
    )
    for what, value in told:
        found = _distinct(value(t) for t in group.trials)
        if len(found) > 1:
            return f"{group.name} mixes {len(found)} {what}: {'; '.join(_few(found))}"
    return ""


def methods_differ(first: Group, second: Group) -> str:
    """Return why two groups must not be compared: they were measured by different versions; '' where they may."""
    methods = _distinct(_method_words(t.method) for t in (*first.trials, *second.trials))
    return f"the groups were measured by different versions: {'; '.join(methods)}" if len(methods) > 1 else ""


def notices_of(first: Group, second: Group) -> list[Notice]:
    """Return everything about two groups that a reader must know."""
    found = [
        Notice(code="mixed-group", text=f"{why}. Its values are shown but not averaged.")
        for g in (first, second)
        if (why := mixed(g))
    ]
    if (why := methods_differ(first, second)) and not found:
        found.append(
            Notice(
                code="mixed-methods",
                text=f"Nothing is compared: {why}.",
            )
        )
    found += _small_groups(first, second)
    found += _lanes(first, second)
    found += _mats(first, second)
    found += _endings(first, second)
    found += _athletes(first, second)
    found += _strides(first, second)
    return found


def lane_names(trials: Iterable[Trial]) -> dict[str, str]:
    """Return a name for each lane file among the clips: its file name, with part of its hash where names repeat."""
    names: dict[str, str] = {}
    for trial in trials:
        names.setdefault(trial.lane, str(trial.analysis.method.get("calibration") or "lane file not recorded"))
    repeated = {n for n in names.values() if list(names.values()).count(n) > 1}
    return {lane: f"{name} ({lane[:6]})" if name in repeated and lane else name for lane, name in names.items()}


def _small_groups(first: Group, second: Group) -> list[Notice]:
    if len(first.trials) == len(second.trials) == 1:
        return []  # two runs side by side need no such word
    return [
        Notice(code="single-clip", text=f"{g.name} holds a single clip: it is shown as it is, without a mean.")
        for g in (first, second)
        if len(g.trials) == 1
    ]


def _lanes(first: Group, second: Group) -> list[Notice]:
    names = lane_names((*first.trials, *second.trials))
    if len(names) < 2:
        unknown = "" in names
        text = "The results do not say which lane file they were measured with; it is taken to be the same for all."
        return [Notice(code="lane-unknown", text=text)] if unknown else []
    each = [f"{g.name}: {', '.join(_distinct(names[t.lane] for t in g.trials))}" for g in (first, second)]
    text = (
        f"The clips were measured with {len(names)} lane files ({'; '.join(each)}). Lengths, heights, angles and "
        "speeds are never averaged over different lane files: they are compared within the lane files that both groups "
        "share, or, where each group has one of its own, with the uncertainty of both lane files added to the interval."
    )
    return [Notice(code="mixed-lanes", text=text)]


def _mats(first: Group, second: Group) -> list[Notice]:
    patterns = [_distinct(mats_words(t.mats) for t in g.trials) for g in (first, second)]
    if patterns[0] == patterns[1]:
        return []
    each = "; ".join(f"{g.name}: {', '.join(p)}" for g, p in zip((first, second), patterns, strict=True))
    text = f"The mats differ ({each}): every hip height stands above the runway and above what each foot stood on."
    return [Notice(code="mats-differ", text=text)]


def _endings(first: Group, second: Group) -> list[Notice]:
    ends = [{t.analysis.run.has_takeoff for t in g.trials} for g in (first, second)]
    if ends[0] == ends[1] or any(len(e) > 1 for e in ends):
        return []
    without = first.name if ends[0] == {False} else second.name
    text = f"{without} has no take-off: its contact 0 is the last contact before the line, and is compared as such."
    return [Notice(code="no-takeoff", text=text)]


def _athletes(first: Group, second: Group) -> list[Notice]:
    names = [{t.analysis.run.athlete for t in g.trials} for g in (first, second)]
    if names[0] == names[1] or any(len(n) > 1 for n in names):
        return []
    return [Notice(code="two-athletes", text="The groups are of two athletes: the difference is between people.")]


def _strides(first: Group, second: Group) -> list[Notice]:
    found = []
    for group in (first, second):
        strides = sorted({t.said.approach_strides for t in group.trials if t.said.approach_strides is not None})
        if len(strides) > 1:
            text = f"{group.name} holds approaches of {', '.join(map(str, strides))} strides, taken together."
            found.append(Notice(code="mixed-strides", text=text))
    return found


def _method_words(method: tuple[str, str]) -> str:
    words, model = method
    return f"{words}, pose model {model[:8] or 'not recorded'}"


def _distinct(values: Iterable[object]) -> list[str]:
    return list(dict.fromkeys(str(v) for v in values))


def _few(values: list[str], most: int = 4) -> list[str]:
    return values if len(values) <= most else [*values[:most], f"and {len(values) - most} more"]
