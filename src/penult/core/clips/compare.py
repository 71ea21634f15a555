"""Two groups of clips, measure by measure: values, means, the difference with its 95 % interval, and a plain verdict.

What may be averaged is decided in `groups`, the formulas are in `statistics`; here they meet (MEASURES section 7).
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import replace

from penult.core.clips import statistics
from penult.core.clips.chance import controlled
from penult.core.clips.groups import condition_of, depends_on_lane, mats_words, methods_differ, mixed, notices_of
from penult.core.clips.matters import Matters, judged
from penult.core.clips.patterns import one_pattern
from penult.core.clips.series import is_series, matched
from penult.errors import InputError
from penult.model import catalogue
from penult.model.analysis import Notice
from penult.model.comparison import (
    ComparedMeasure,
    Comparison,
    Group,
    GroupValues,
    Interval,
    TypicalError,
    Verdict,
)
from penult.model.measured import Measure, Measured, NotMeasured
from penult.model.trial import MeasureKey, Trial, measures_of

Keyed = tuple[Trial, dict[MeasureKey, Measure]]


def compare(
    first: Group,
    second: Group,
    *,
    repeats: Sequence[Trial] = (),
    across_lanes: bool = False,
    matters: Matters | None = None,
) -> Comparison:
    """Compare two groups of clips.

    Parameters
    ----------
    first, second : Group
        At least one clip each, none in both. Differences are second minus first.
    repeats : sequence of Trial
        Further clips of the same athletes, from which the typical error may be taken as well.
    across_lanes : bool
        Where the groups share no lane file and one of them has several: let the mean of each lane file stand for one
        value, instead of not comparing.
    matters : mapping, optional
        The change from which on a measure matters, as the coach set it.

    Returns
    -------
    Comparison
        One row for every measure of the last contacts and steps that has a value in at least one clip.

    Raises
    ------
    InputError
        If a group is empty or a clip is in both.
    """
    _check(first, second)
    (first, aside_1), (second, aside_2) = one_pattern(first), one_pattern(second)
    compared = _Comparer(first, second, repeats, across_lanes)
    rows = controlled([row for key in compared.wanted() if (row := compared.row(key))])
    rows = judged(rows, matters or {})
    return Comparison(first=first, second=second, rows=rows, notices=(*aside_1, *aside_2, *compared.notices))


def _check(first: Group, second: Group) -> None:
    for group in (first, second):
        if not group.trials:
            raise InputError(
                f"the group {group.name} holds no clip", next_step="look at 'penult log show' for what there is"
            )
    one = {_identity(t) for t in first.trials}
    twice = [t.analysis.clip.file for t in second.trials if _identity(t) in one]
    if twice:
        raise InputError(
            f"{len(twice)} of the clips are in both groups",
            *twice[:5],
            next_step="choose groups without a clip in common",
        )


def _identity(trial: Trial) -> tuple[str, object]:
    settings = trial.analysis.method.get("settings")
    return trial.analysis.clip.sha256, settings.get("run", 1) if isinstance(settings, dict) else 1


class _Comparer:
    """Both groups with their measures taken out once."""

    def __init__(self, first: Group, second: Group, repeats: Sequence[Trial], across_lanes: bool) -> None:
        self.first, self.second, self.across_lanes = first, second, across_lanes
        like = first.trials[0]
        self.sides: tuple[list[Keyed], list[Keyed]] = (_keyed(first.trials, like), _keyed(second.trials, like))
        self.mixed = (mixed(first), mixed(second))
        self.blocked = self.mixed[0] or self.mixed[1] or methods_differ(first, second)
        self.notices: list[Notice] = notices_of(first, second)
        athletes = {t.analysis.run.athlete for t in (*first.trials, *second.trials)}
        known = {_identity(t) for t in (*first.trials, *second.trials)}
        more = (t for t in repeats if t.analysis.run.athlete in athletes and _identity(t) not in known)
        self.pool = [*self.sides[0], *self.sides[1], *_keyed(more, like)]
        self.cells = _cells(t for t, _ in self.pool)

    def wanted(self) -> list[MeasureKey]:
        """Return the measures to be compared, in the order in which they are read."""
        seen = dict.fromkeys(k for side in self.sides for _, measures in side for k in measures)
        not_own = ("penultimate",) if is_series(self.first, self.second) else ("phases", "sequence")
        seen = {k: None for k in seen if k.part not in not_own}
        wanted = [k for k in seen if _place(k) is not None and catalogue.described(k.name, k.part).compared]
        order = {name: i for i, name in enumerate(dict.fromkeys(k.name for k in seen))}
        return sorted(wanted, key=lambda k: (_place(k), order[k.name]))

    def row(self, key: MeasureKey) -> ComparedMeasure | None:
        """Return one measure of both groups, or None where no clip has it."""
        sides = tuple(_values(side, key, not why) for side, why in zip(self.sides, self.mixed, strict=True))
        first, second = sides
        if not first.values and not second.values:
            return None
        error = self.typical_error(key)
        if error and error.value == 0.0:  # repeats that agree to the last digit show no spread, not a perfect one
            error = None
        anyway = error or statistics.measurement_error([m.u95 for s in sides for _, m in s.values])
        row = ComparedMeasure(
            key=key,
            first=first,
            second=second,
            difference=None,
            typical_error=anyway,
            minimal_detectable_change=None if anyway is None else statistics.minimal_detectable_change(anyway),
            verdict=Verdict(kind="not compared", reason=self.blocked),
            notes=self._notes(key),
        )
        return row if self.blocked else self._judged(row, error)

    def typical_error(self, key: MeasureKey) -> TypicalError | None:
        """Return the typical error from the athletes' own repeats, where there are enough."""
        cells: dict[int, list[float]] = defaultdict(list)
        of_lane = depends_on_lane(key)
        for (_, measures), (with_lane, without) in zip(self.pool, self.cells, strict=True):
            measure = measures.get(key)
            if isinstance(measure, Measured):
                cells[with_lane if of_lane else without].append(measure.value)
        return statistics.typical_error(list(cells.values()))

    def _judged(self, row: ComparedMeasure, error: TypicalError | None) -> ComparedMeasure:
        pairs = self._by_lane(row)
        blocks = [pair for pair in pairs.values() if pair[0] and pair[1]]
        if len(pairs) == 1:
            one = next(iter(pairs.values()))
            return self._two_groups(row, one[0], one[1], error)
        if all(sum(bool(pair[i]) for pair in pairs.values()) == 1 for i in (0, 1)):
            flat = [[m for pair in pairs.values() for m in pair[i]] for i in (0, 1)]
            judged = self._two_groups(row, flat[0], flat[1], error)
            return self._widened(judged, flat[0], flat[1])
        several = [i for i in (0, 1) if sum(bool(pair[i]) for pair in pairs.values()) > 1]
        row = _without_means(row, several)
        if blocks:
            return self._within_blocks(row, blocks)
        if self.across_lanes:
            return self._lane_means(row, pairs.values())
        names = " and ".join((self.first.name, self.second.name)[i] for i in several)
        verb = "were" if len(several) > 1 else "was"
        reason = f"{names} {verb} measured with several lane files, none of them in both groups"
        return replace(row, verdict=Verdict(kind="not compared", reason=reason))

    def _by_lane(self, row: ComparedMeasure) -> dict[str, tuple[list[Measured], list[Measured]]]:
        pairs: dict[str, tuple[list[Measured], list[Measured]]] = {}
        for i, (group, side) in enumerate(((self.first, row.first), (self.second, row.second))):
            for place, measure in side.values:
                lane = group.trials[place].lane if depends_on_lane(row.key) else ""
                pairs.setdefault(lane, ([], []))[i].append(measure)
        return pairs

    def _two_groups(
        self, row: ComparedMeasure, first: Sequence[Measured], second: Sequence[Measured], error: TypicalError | None
    ) -> ComparedMeasure:
        a, b = [m.value for m in first], [m.value for m in second]
        for values, side, group in ((a, row.first, self.first), (b, row.second, self.second)):
            if not values:
                why = f": {side.missing[0][1]}" if side.missing else ""
                return replace(row, verdict=Verdict(kind="too few clips", reason=f"no value in {group.name}{why}"))
        if min(len(a), len(b)) >= statistics.FEWEST:
            return _with_difference(row, _difference(a, b, [m.u95 for m in (*first, *second)]))
        if error:
            return _with_difference(row, statistics.known_error_difference(a, b, error))
        return _in_these_runs(row, first, second)

    def _widened(self, row: ComparedMeasure, first: Sequence[Measured], second: Sequence[Measured]) -> ComparedMeasure:
        if row.difference is None or row.verdict.kind in ("apart in these runs", "not told apart"):
            return row  # what the measurement leaves open, the lane file's share included, is in it whole already
        return _with_difference(
            row, statistics.widened(row.difference, [m.u95 for m in first], [m.u95 for m in second])
        )

    def _within_blocks(
        self, row: ComparedMeasure, blocks: Sequence[tuple[list[Measured], list[Measured]]]
    ) -> ComparedMeasure:
        counts = [sum(len(pair[i]) for pair in blocks) for i in (0, 1)]
        lanes = f"{len(blocks)} lane file{'s' if len(blocks) > 1 else ''} shared by both groups"
        row = replace(row, notes=(*row.notes, f"compared within {lanes}: {counts[0]} against {counts[1]} of the clips"))
        values = [([m.value for m in a], [m.value for m in b]) for a, b in blocks]
        found = statistics.blocked_difference(values) if min(counts) >= statistics.FEWEST else None
        if found is None:
            few = f"{counts[0]} against {counts[1]} clips in the lane files that both groups share"
            return replace(row, verdict=Verdict(kind="too few clips", reason=few))
        return _with_difference(row, found)

    def _lane_means(
        self, row: ComparedMeasure, pairs: Iterable[tuple[list[Measured], list[Measured]]]
    ) -> ComparedMeasure:
        means = [[sum(m.value for m in p[i]) / len(p[i]) for p in pairs if p[i]] for i in (0, 1)]
        row = replace(
            row,
            notes=(*row.notes, f"the mean of each lane file counts as one value: {len(means[0])} and {len(means[1])}"),
        )
        if min(map(len, means)) < statistics.FEWEST:
            few = f"{len(means[0])} against {len(means[1])} lane files"
            return replace(row, verdict=Verdict(kind="too few clips", reason=few))
        u95 = [m.u95 for p in pairs for side in p for m in side]
        return _with_difference(
            row, replace(_difference(means[0], means[1], u95), how="spread of the lane files' means")
        )

    def _notes(self, key: MeasureKey) -> tuple[str, ...]:
        if "above_support" in key.name:
            return ()
        if catalogue.described(key.name, key.part).above_runway:
            patterns = [mats_words(g.trials[0].mats) for g in (self.first, self.second)]
            if patterns[0] != patterns[1]:
                return ("above the runway, mats not taken off",)
        return ()


def _keyed(trials: Iterable[Trial], like: Trial) -> list[Keyed]:
    """Measures of each clip, the phases of series numbered like those of one of them (see `series.matched`)."""
    reference = measures_of(like.analysis)
    return [(trial, matched(measures_of(trial.analysis), reference, trial, like)) for trial in trials]


def _cells(trials: Iterable[Trial]) -> list[tuple[int, int]]:
    """Return, for each clip, the number of the cell of repeats that it belongs to, told by lane file and not."""
    numbers: dict[object, int] = {}
    found = []
    for t in trials:
        cell = (t.analysis.run.athlete, condition_of(t), t.said.date, t.said.session)
        found.append((numbers.setdefault((cell, t.lane), len(numbers)), numbers.setdefault(cell, len(numbers))))
    return found


def _place(key: MeasureKey) -> tuple[int, int] | None:
    """Return where a measure stands among the parts, and the contacts or steps, that are compared, or None."""
    part = catalogue.PARTS.get(key.part)
    if part is None or key.number not in part.compared:
        return None
    return part.place, part.compared.index(key.number)


def _values(side: Sequence[Keyed], key: MeasureKey, may_average: bool) -> GroupValues:
    values, missing = [], []
    for place, (_, measures) in enumerate(side):
        measure = measures.get(key, NotMeasured(reason="the contact is not in the clip"))
        if isinstance(measure, Measured):
            values.append((place, measure))
        else:
            missing.append((place, measure.reason))
    mean = sum(m.value for _, m in values) / len(values) if values and may_average else None
    return GroupValues(values=tuple(values), missing=tuple(missing), mean=mean)


def _without_means(row: ComparedMeasure, sides: Sequence[int]) -> ComparedMeasure:
    first = replace(row.first, mean=None) if 0 in sides else row.first
    second = replace(row.second, mean=None) if 1 in sides else row.second
    return replace(row, first=first, second=second)


def _difference(first: Sequence[float], second: Sequence[float], u95: Sequence[float]) -> Interval:
    if max(first) > min(first) or max(second) > min(second):
        return statistics.welch_difference(first, second)
    # no spread at all, as with a surface that is 0 by definition: only the measurement can be in doubt
    error = statistics.measurement_error(u95) or TypicalError(
        value=0.0, freedom=float("inf"), clips=0, from_repeats=False
    )
    return replace(
        statistics.known_error_difference(first, second, error),
        how="the measurement uncertainty: the clips agree exactly",
    )


def _in_these_runs(row: ComparedMeasure, first: Sequence[Measured], second: Sequence[Measured]) -> ComparedMeasure:
    """Compare single runs by what the measurement supports: how far apart they were, not what is usual."""
    u95 = tuple(math.sqrt(sum(m.u95**2 for m in side) / len(side)) for side in (first, second))
    found = statistics.measured_difference([m.value for m in first], [m.value for m in second], (u95[0], u95[1]))
    apart = found.low > 0.0 or found.high < 0.0
    verdict = Verdict(
        kind="apart in these runs" if apart else "not told apart",
        limit=found.half_width,
        reason="what is usual for this athlete is not known yet: no three repeats",
    )
    return replace(row, difference=found, verdict=verdict)


def _with_difference(row: ComparedMeasure, difference: Interval) -> ComparedMeasure:
    return replace(row, difference=difference, verdict=verdict_of(difference))


def verdict_of(difference: Interval) -> Verdict:
    """Return the verdict on a difference: clearly different only where its 95 % interval excludes 0."""
    if difference.low > 0.0 or difference.high < 0.0:
        return Verdict(kind="clearly different")
    return Verdict(kind="not seen", limit=difference.half_width)
