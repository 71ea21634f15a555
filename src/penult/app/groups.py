"""Put clips together as a person asked for them: from result folders, or from the logbook."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, fields, replace
from pathlib import Path
from typing import TYPE_CHECKING

from penult.adapters.files.result_folder import find_results, read_trial
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
}
"""By what a set of clips can be split into two groups."""

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


def split(trials: Sequence[Trial], by: str) -> tuple[Group, Group]:
    """Return the two groups into which clips fall.

    Raises
    ------
    InputError
        If they fall into one group or more than two; all of them are named with their number of clips.
    """
    names = [SPLITS[by](t) or f"{by} not given" for t in trials]
    found = list(dict.fromkeys(names))
    if len(found) != 2:
        counts = [f"{name}: {names.count(name)} clips" for name in found[:12]]
        raise InputError(
            f"the clips fall into {len(found)} groups by {by}; two are needed",
            *counts,
            next_step="choose with --first and --second, or narrow the clips down with --kind, --from, --to, --strides",
        )
    first, second = (
        Group(name=name, trials=tuple(t for t, n in zip(trials, names, strict=True) if n == name)) for name in found
    )
    return first, second


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
