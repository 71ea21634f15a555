"""Put clips together as a person asked for them: from result folders, or from the logbook."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, fields, replace
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

from penult.adapters.files.result_folder import find_results, read_trial
from penult.core.clips.groups import mats_words
from penult.errors import InputError
from penult.model.comparison import Group
from penult.model.logbook import Choice
from penult.model.trial import HipPath, Trial

if TYPE_CHECKING:
    from collections.abc import Iterator

    from penult.adapters.logbook.book import Logbook

SPLITS: dict[str, Callable[[Trial], str]] = {
    "kind": lambda t: t.analysis.run.kind,
    "athlete": lambda t: t.analysis.run.athlete,
    "date": lambda t: t.said.date,
    "session": lambda t: t.said.session,
    "strides": lambda t: f"{t.said.approach_strides} strides" if t.said.approach_strides else "",
    "mats": lambda t: "with mats" if t.mats else "without mats",
    "pattern": lambda t: mats_words(t.mats),
    "month": lambda t: t.said.date[:7],
    "year": lambda t: _week(t)[:4] or t.said.date[:4],
}
"""By what a set of clips can be split into groups; a year is that of its weeks, so that week 1 stays whole."""

_IN_TIME = frozenset({"date", "month", "year"})

MOST_PATHS = 20


@dataclass(frozen=True, slots=True, kw_only=True)
class Wanted:
    """One group as it was asked for: places of result folders, or a choice from the logbook."""

    places: tuple[Path, ...] = ()
    choice: Choice | None = None

    @property
    def words(self) -> str:
        """A name for the group."""
        if self.choice is not None:
            return self.choice.words
        return ", ".join(p.resolve().name.removesuffix("_analysis") for p in self.places)


def two_runs(places: Sequence[Path]) -> tuple[Wanted, Wanted] | None:
    """Return two groups of one run each where just two places were given and each holds one result; else None."""
    if len(places) != 2 or any(len(find_results(p)) != 1 for p in places):
        return None
    return Wanted(places=(places[0],)), Wanted(places=(places[1],))


@contextmanager
def logbook_at(place: Path) -> Iterator[Logbook]:
    """Open a logbook for reading: its file, or a folder that 'penult log export' wrote."""
    import sqlite3
    from contextlib import closing

    from penult.adapters.logbook import schema
    from penult.adapters.logbook.book import Logbook, opened
    from penult.adapters.logbook.csv_folder import import_folder, is_export

    if place.is_dir() and is_export(place):
        with closing(sqlite3.connect(":memory:", isolation_level=None)) as connection:
            schema.create(connection)
            log = Logbook(connection, place)
            import_folder(log, place)
            yield log
        return
    with opened(place) as log:
        yield log


def from_folders(places: Iterable[Path]) -> list[Trial]:
    """Return the results at some places, each once."""
    folders = dict.fromkeys(f.resolve() for place in places for f in find_results(place))
    return [read_trial(folder) for folder in folders]


LAST_FOUR, WHOLE_RUN_UP = -3, -1000
"""From which contact on a clip is read: pages of take-offs show four contacts, those of run-ups all of them."""


def from_logbook(log: Logbook, choice: Choice, *, first: int = LAST_FOUR) -> list[Trial]:
    """Return chosen clips from a contact on, with the hip paths of as many as can be drawn.

    Raises
    ------
    InputError
        If there is no such clip.
    """
    trials = log.trials(choice, last=first)
    if not trials:
        raise InputError(
            f"no clip in the logbook fits: {choice.words}",
            f"logbook: {log.path}",
            next_step="'penult log show' lists athletes, kinds and dates",
        )
    return with_paths(log, trials)


def with_paths(log: Logbook, trials: Sequence[Trial]) -> list[Trial]:
    """Return the trials, up to `MOST_PATHS` of them, evenly picked, with their hip paths."""
    n = len(trials)
    picked = set(range(n)) if n <= MOST_PATHS else {round(i * (n - 1) / (MOST_PATHS - 1)) for i in range(MOST_PATHS)}
    return [_with_path(log, t) if i in picked else t for i, t in enumerate(trials)]


def of_weeks(trials: Sequence[Trial], weeks: tuple[int, int] | None) -> list[Trial]:
    """Return the clips of some weeks of any year (ISO 8601: 1 to 53), so that the same weeks of two years can be compared.

    Parameters
    ----------
    trials : sequence of Trial
        Clips without a date are in no week.
    weeks : (int, int), optional
        First and last, both included; the first may be the later one: 48 to 4 goes over the new year. None: all clips.
    """
    if weeks is None:
        return list(trials)
    low, high = weeks
    numbers = [int(week[5:]) if (week := _week(t)) else 0 for t in trials]
    inside = [(low <= n <= high) if low <= high else (n >= low or 0 < n <= high) for n in numbers]
    return [t for t, yes in zip(trials, inside, strict=True) if yes]


def _week(trial: Trial) -> str:
    """Return the ISO year and week of a clip, '2026-48'; '' without a date."""
    try:
        year, week, _ = date.fromisoformat(trial.said.date).isocalendar()
    except ValueError:
        return ""
    return f"{year}-{week:02d}"


def split(trials: Sequence[Trial], by: str) -> tuple[Group, ...]:
    """Return the groups into which clips fall, two or more; those of days, months and years in the order of time.

    Raises
    ------
    InputError
        If they fall into fewer than two groups; it is named with its number of clips.
    """
    names = [SPLITS[by](t) or f"{by} not given" for t in trials]
    found = list(dict.fromkeys(names))
    if by in _IN_TIME:
        found.sort()
    if len(found) < 2:
        counts = [f"{name}: {names.count(name)} clip{'s' if names.count(name) != 1 else ''}" for name in found[:12]]
        raise InputError(
            f"the clips fall into {words_of(len(found))} by {by}; two are needed",
            *counts,
            next_step="choose with --first and --second, or narrow the clips down with --kind, --from, --to, --strides",
        )
    return tuple(
        Group(name=name, trials=tuple(t for t, n in zip(trials, names, strict=True) if n == name)) for name in found
    )


def words_of(count: int) -> str:
    """Return 'no group', 'one group' or '3 groups'."""
    return {0: "no group", 1: "one group"}.get(count, f"{count} groups")


def named(first: Wanted, second: Wanted) -> tuple[str, str]:
    """Return the groups' names without what both have in common."""
    if first.choice is None or second.choice is None:
        names = (first.words, second.words)
    else:
        names = (_without(first.choice, second.choice).words, _without(second.choice, first.choice).words)
    return names if names[0] != names[1] else (f"{names[0]} (first)", f"{names[1]} (second)")


def _without(choice: Choice, other: Choice) -> Choice:
    """Return a choice without what it shares with the other one."""
    plain = Choice()
    for field in fields(Choice):
        if getattr(choice, field.name) == getattr(other, field.name):
            choice = replace(choice, **{field.name: getattr(plain, field.name)})
    return choice


def _with_path(log: Logbook, trial: Trial) -> Trial:
    path: HipPath | None = log.hip_path(trial)
    return replace(trial, hip_path=path)
