"""Last time, out of the logbook: the same athlete, kind and method, the latest before this run."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any, cast

import pytest

from penult.app.film import Run
from penult.app.groups import logbook_at
from penult.app.sheet import last_time
from penult.model.logbook import Choice
from penult.model.trial import Trial


@pytest.fixture(scope="module")
def trials(samples: Path) -> list[Trial]:
    """The demo athlete's clips by date."""
    with logbook_at(samples / "season" / "logbook") as log:
        return log.trials(Choice(athlete="A1"))


def run_of(trial: Trial, **changed: Any) -> Run:
    """A new clip like one of the logbook."""
    analysis = replace(trial.analysis, clip=replace(trial.analysis.clip, sha256="f" * 64), **changed)
    return Run(analysis=analysis, motion=cast("Any", None), clip=cast("Any", None), film=Path())


def test_it_is_the_latest_of_its_kind_before_this_day(trials: list[Trial], samples: Path) -> None:
    book = samples / "season" / "logbook"
    kind = trials[-1].analysis.run.kind
    alike = [t for t in trials if t.analysis.run.kind == kind and t.method == trials[-1].method]
    assert len(alike) > 2

    later = last_time(run_of(alike[-1]), "2999-01-01", book)
    assert later is not None
    assert later.date == max(t.said.date for t in alike)
    assert later.analysis.run.kind == kind

    middle = alike[len(alike) // 2].said.date
    before = last_time(run_of(alike[-1]), middle, book)
    assert before is not None
    assert before.date <= middle


def test_nothing_is_said_of_another_method_kind_or_person(trials: list[Trial], samples: Path, tmp_path: Path) -> None:
    book, trial = samples / "season" / "logbook", trials[-1]
    run = trial.analysis.run

    assert last_time(run_of(trial, method={**trial.analysis.method, "method": 10_000}), "", book) is None
    assert last_time(run_of(trial, run=replace(run, kind="a kind of its own")), "", book) is None
    assert last_time(run_of(trial, run=replace(run, athlete="nobody of that label")), "", book) is None
    assert last_time(run_of(trial, run=replace(run, athlete="")), "", book) is None
    assert last_time(run_of(trial), "", tmp_path / "none.sqlite") is None
    assert last_time(run_of(trial), "1990-01-01", book) is None
