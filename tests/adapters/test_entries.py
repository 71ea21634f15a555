"""Entries of the logbook one by one: corrected, taken out, and every change taken back to the byte."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from forgetting import rows_of, some
from penult.adapters.logbook import forget
from penult.adapters.logbook.book import Logbook, opened
from penult.adapters.logbook.entries import add_note, add_tape, correct, entries, history, put_profile, take_out, undo
from penult.errors import LogbookError
from penult.model.analysis import Mat
from penult.model.logbook import Athlete, Choice, CoachNote, TapeResult
from penult.model.trial import measures_of


@pytest.fixture
def log(tmp_path: Path) -> Iterator[Logbook]:
    with opened(tmp_path / "log.sqlite", create=True) as log:
        log.put_trials([*some("A1", 2, seed=1), *some("A2", 1, seed=2)], corrections=['{"a": 1}', "", ""])
        log.put_tape([TapeResult(athlete="A1", date="2026-10-04", event="long jump", distance_m=5.61)])
        log.put_note(CoachNote(athlete="A2", date="2026-10-04", text="flat"))
        yield log


def content(log: Logbook) -> dict[str, Any]:
    """Every row of what people put in, without the history."""
    rows = rows_of(log.path)
    return {t: sorted(map(repr, r)) for t, r in rows.items() if t not in ("history", "forgetting", "sqlite_sequence")}


CHANGES: list[tuple[str, dict[str, Any]]] = [
    ("tape-1", {"athlete": "A2", "date": "2026-10-05", "event": "triple jump", "distance_m": 12.5, "note": "x"}),
    ("note-1", {"athlete": "A3", "text": "not flat"}),
    ("clip-1", {"athlete": "A2", "date": "2026-10-09", "session": "outside", "kind": "mat drill", "note": "n",
                "approach_strides": 9, "official_distance_m": 5.5}),
    ("athlete-1", {"label": "A9"}),
]  # fmt: skip


@pytest.mark.parametrize(("name", "changes"), CHANGES, ids=lambda c: str(c)[:10])
def test_a_correction_changes_the_entry_alone_and_is_taken_back(
    log: Logbook, name: str, changes: dict[str, Any]
) -> None:
    before = content(log)

    correct(log, name, changes)
    during = content(log)
    undo(log)

    assert during != before
    assert {t for t in before if during[t] != before[t]} <= {name.split("-", maxsplit=1)[0], "athlete", "session"}
    assert content(log) == before
    assert [c.is_undone for c in history(log)] == [True]


@pytest.mark.parametrize("name", ["tape-1", "note-1", "clip-1", "clip-3"])
def test_an_entry_taken_out_comes_back_whole(log: Logbook, name: str) -> None:
    """A clip with its contacts, measures, reasons, path and corrections."""
    before = content(log)
    trials = {t.analysis.clip.sha256: measures_of(t.analysis) for t in log.trials(Choice())}
    paths = [log.hip_path(t) for t in log.trials(Choice())]

    take_out(log, name)
    assert name not in {e.name for e in entries(log)}
    undo(log)

    assert content(log) == before
    assert {t.analysis.clip.sha256: measures_of(t.analysis) for t in log.trials(Choice())} == trials
    for was, now in zip(paths, [log.hip_path(t) for t in log.trials(Choice())], strict=True):
        assert was is not None
        assert now is not None
        assert np.array_equal(was.height_m, now.height_m)


def test_a_typo_makes_nobody_who_stays(log: Logbook) -> None:
    """The label goes with the last entry that bore it; a person with a height, or with other entries, stays."""
    name = add_tape(log, TapeResult(athlete="A11", date="2026-10-06", event="long jump", distance_m=5.7))
    assert "A11" in log.labels()

    correct(log, name, {"athlete": "A1"})

    assert log.labels() == ["A1", "A2"]
    assert [r.distance_m for r in log.tape("A1")] == [5.61, 5.7]
    undo(log)
    undo(log)
    assert log.labels() == ["A1", "A2"]
    assert [r.distance_m for r in log.tape("A1")] == [5.61]


def test_an_addition_is_taken_back_only_while_it_is_what_was_added(log: Logbook) -> None:
    """Numbers of entries are used again: another entry under the same number must not go."""
    name = add_note(log, CoachNote(athlete="A1", date="2026-10-06", text="first"))
    log.connection.execute("UPDATE note SET text = 'second' WHERE id = ?", (int(name.split("-")[1]),))

    with pytest.raises(LogbookError, match="cannot be taken back"):
        undo(log)
    assert [n.text for n in log.notes("A1")] == ["second"]


def test_a_profile_is_changed_and_taken_back_as_every_entry(log: Logbook) -> None:
    """Height and sex are used by `analyse --athlete`: a typo there is put right, and stands in the history."""
    before = content(log)
    put_profile(log, Athlete(label="a1", height_m=1.71))
    put_profile(log, Athlete(label="A1", height_m=1.17))
    put_profile(log, Athlete(label="A1", height_m=1.17))  # changes nothing, so it is no change

    assert [c.what.split()[1] for c in history(log)] == ["corrected", "corrected"]
    undo(log)
    assert log.athlete("A1").height_m == 1.71
    undo(log)
    assert content(log) == before


def test_an_athlete_who_was_added_is_taken_back_only_while_nothing_hangs_on_them(log: Logbook) -> None:
    put_profile(log, Athlete(label="A9", sex="female"))
    undo(log)
    assert "A9" not in {a.label for a, _ in log.contents().athletes}
    put_profile(log, Athlete(label="A9", sex="female"))
    log.put_note(CoachNote(athlete="A9", date="2026-10-04", text="ran"))
    with pytest.raises(LogbookError, match="has entries"):
        undo(log)


def test_what_a_profile_was_is_forgotten_with_the_person(log: Logbook) -> None:
    put_profile(log, Athlete(label="A1", height_m=1.71))
    forget.forget(log, "A1")

    assert history(log) == []


def test_a_clip_that_was_added_again_is_not_replaced_by_what_it_was(log: Logbook) -> None:
    take_out(log, "clip-1")
    again = some("A1", 2, seed=1)[:1]
    log.put_trials(some("A5", 1, seed=9))
    log.put_trials(again)

    with pytest.raises(LogbookError, match="cannot be taken back"):
        undo(log)


@pytest.mark.parametrize(
    ("name", "changes", "words"),
    [
        ("tape-99", {"note": "x"}, "no entry tape-99"),
        ("jump-1", {"note": "x"}, "names no entry"),
        ("clip-1", {"event": "x"}, "has no event"),
        ("athlete-1", {"label": "A2"}, "such an entry already"),
    ],
)
def test_what_cannot_be_corrected_is_said_and_nothing_changes(
    log: Logbook, name: str, changes: dict[str, Any], words: str
) -> None:
    before = content(log)

    with pytest.raises(LogbookError, match=words):
        correct(log, name, changes)
    assert content(log) == before


def test_a_person_with_entries_is_not_taken_out_alone(log: Logbook) -> None:
    with pytest.raises(LogbookError, match="has entries"):
        take_out(log, "athlete-1")


def test_the_history_forgets_with_the_person_and_keeps_what_others_were(log: Logbook) -> None:
    """What an entry was before is a trace as well: of the person, and in a text about somebody else."""
    label = "Zora-Beispiel"
    name = add_tape(log, TapeResult(athlete=label, date="2026-10-06", event="long jump", distance_m=5.7))
    take_out(log, name)
    correct(log, "note-1", {"text": f"ran with {label}"})
    correct(log, "note-1", {"text": "ran alone"})

    assert forget.holdings(log, label).mentions
    forget.erase(log, label)
    forget.clean(log, label)

    assert label.encode() not in log.path.read_bytes()
    assert [c.what for c in history(log)] == ["note-1 corrected", "note-1 corrected"]
    undo(log)
    assert [n.text for n in log.notes("A2")] == ["ran with (removed)"]


def test_mats_and_warnings_of_a_clip_come_back(tmp_path: Path) -> None:
    with opened(tmp_path / "log.sqlite", create=True) as log:
        log.put_trials(some("A1", 1, seed=1, kind="mat drill"))
        log.connection.execute("INSERT INTO mat VALUES (1, -1, 0.05)")
        log.connection.execute("INSERT INTO warning VALUES (1, 7, 'c', 't')")
        take_out(log, "clip-1")
        undo(log)
        trial = log.trials(Choice())[0]

    assert Mat(number=-1, thickness_m=0.05) in trial.analysis.run.mats
    assert "c" in {w.code for w in trial.analysis.warnings}
