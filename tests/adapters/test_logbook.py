"""The logbook: what goes in comes out, whatever happens in between."""

from __future__ import annotations

import os
import re
import signal
import sqlite3
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from penult.adapters.logbook import schema
from penult.adapters.logbook.book import Logbook, opened
from penult.adapters.logbook.connection import connect, read_only
from penult.adapters.logbook.csv_folder import export, import_folder
from penult.adapters.logbook.forget import forget
from penult.core.csv_cells import guarded, unguarded
from penult.core.label import BLACKED_OUT
from penult.core.synthetic.invented import Form, Made, trial
from penult.errors import LogbookError, OutputError
from penult.model.analysis import Mat, Notice
from penult.model.logbook import Athlete, Choice, CoachNote, TapeResult
from penult.model.trial import Said, Trial, measures_of

HOSTILE = "=cmd|'/c x'!A1 <b onclick=\"x\">'; DROP TABLE clip;-- ../../etc \u202egnp.exe 跳 🏃"


def some(
    n: int = 3, athlete: str = "A1", kind: str = "full approach", seed: int = 1, date: str = "2026-10-03"
) -> list[Trial]:
    """Return a few invented clips."""
    rng = np.random.default_rng(seed)
    form = Form(athlete=athlete, kind=kind, mats=(Mat(number=-1, thickness_m=0.05),) if "mat" in kind else ())
    said = Said(date=date, session="hall", approach_strides=18, official_distance_m=6.12, note=HOSTILE)
    made = Made(warnings=(Notice(code="camera-moved", text="the camera moved"),))
    return [trial(rng, form, said, file=f"{athlete}_{kind}_{i}.mp4", made=made) for i in range(n)]


@contextmanager
def filled(path: Path) -> Iterator[Logbook]:
    """Open a small logbook of two athletes."""
    with opened(path, create=True) as log:
        log.put_athlete(Athlete(label="A1", sex="female", height_m=1.71))
        log.put_trials(
            [*some(3), *some(2, kind="mat drill", seed=2), *some(2, "A12", seed=3)], session_folder="/films/x"
        )
        log.put_tape([TapeResult(athlete="A1", date="2026-10-04", event="four bounds and a jump", distance_m=13.4)])
        log.put_note(CoachNote(athlete="A12", date="2026-10-04", text="ran behind A1 all evening"))
        yield log


def test_a_clip_comes_back_as_it_went_in(tmp_path: Path) -> None:
    """Every measure, reason, contact, mat, warning and word of the coach survives, hostile text included."""
    one = some(1, kind="mat drill")[0]
    with opened(tmp_path / "log.sqlite", create=True) as log:
        log.put_trials([one])
        back = log.trials(Choice(athlete="A1"))[0]
        path = log.hip_path(back)

    assert measures_of(back.analysis) == measures_of(one.analysis)
    assert [(c.number, c.foot, c.strike, c.span_s, c.lowest_s) for c in back.analysis.contacts] == [
        (c.number, c.foot, c.strike, c.span_s, c.lowest_s) for c in one.analysis.contacts
    ]
    assert (back.analysis.run, back.analysis.clip, back.analysis.warnings) == (
        one.analysis.run,
        one.analysis.clip,
        one.analysis.warnings,
    )
    assert back.said == one.said
    assert dict(back.analysis.method) == dict(one.analysis.method)
    assert path is not None
    assert one.hip_path is not None
    assert np.interp(0.7, path.time_s, path.height_m) == pytest.approx(
        np.interp(0.7, one.hip_path.time_s, one.hip_path.height_m), abs=0.001
    )


def test_an_analysis_done_again_replaces_the_earlier_one(tmp_path: Path) -> None:
    """The same run of the same clip never stands twice in the logbook."""
    clips = some(2)
    with opened(tmp_path / "log.sqlite", create=True) as log:
        assert log.put_trials(clips) == 0
        assert log.put_trials(clips) == 2
        assert log.contents().counts["clip"] == 2


def test_choices_pick_by_athlete_kind_date_strides_and_mats(tmp_path: Path) -> None:
    """Each filter alone and their combination; capitals do not matter."""
    with filled(tmp_path / "log.sqlite") as log:
        count = lambda **choice: len(log.trials(Choice(**choice)))  # noqa: E731
        assert count() == 7
        assert count(athlete="a1") == 5
        assert count(athlete="A1", kind="MAT drill") == 2
        assert count(has_mats=True) == 2
        assert count(has_mats=False, athlete="A1") == 3
        assert count(date_from="2026-10-04") == 0
        assert count(date_to="2026-10-03", strides_from=18, strides_to=18) == 7
        assert count(strides_to=17) == 0


def test_an_unknown_athlete_is_named_with_the_nearest_labels(tmp_path: Path) -> None:
    """Not an empty answer: an error that says who is known."""
    with filled(tmp_path / "log.sqlite") as log, pytest.raises(LogbookError, match="no athlete 'A11'") as error:
        log.trials(Choice(athlete="A11"))
    assert "A1" in str(error.value)


@pytest.mark.parametrize(
    "content", [b"", b"not a database at all", b"SQLite format 3\x00" + b"\x00" * 2000, os.urandom(5000)]
)
def test_files_that_are_no_logbook_are_refused_and_left_alone(tmp_path: Path, content: bytes) -> None:
    """An empty, foreign or broken file gets one of our errors and keeps its bytes."""
    path = tmp_path / "log.sqlite"
    path.write_bytes(content)

    with pytest.raises(LogbookError), opened(path):
        pass

    assert path.read_bytes() == content


def test_another_programs_sqlite_file_is_refused_and_left_alone(tmp_path: Path) -> None:
    """A sound SQLite file without our mark is not written to, even when a logbook may be made."""
    path = tmp_path / "other.sqlite"
    with closing(sqlite3.connect(path)) as other:
        other.execute("CREATE TABLE recipe (name TEXT)")
        other.commit()
    before = path.read_bytes()

    with pytest.raises(LogbookError, match="not a logbook of penult"), opened(path, create=True):
        pass

    assert path.read_bytes() == before


def test_a_trigger_smuggled_into_a_logbook_is_refused(tmp_path: Path) -> None:
    """A logbook from somebody else may not bring code that runs with our writes."""
    path = tmp_path / "log.sqlite"
    with filled(path):
        pass
    with closing(sqlite3.connect(path)) as other:
        other.execute("CREATE TRIGGER bad AFTER INSERT ON note BEGIN DELETE FROM clip; END")
        other.commit()

    with pytest.raises(LogbookError, match="bad"), opened(path):
        pass


def test_a_logbook_of_a_newer_version_is_refused(tmp_path: Path) -> None:
    """An older penult must not write into tables that it does not know."""
    path = tmp_path / "log.sqlite"
    with filled(path) as log:
        log.connection.execute(f"PRAGMA user_version = {schema.VERSION + 1}")

    with pytest.raises(LogbookError, match="newer penult"), opened(path):
        pass


def test_damage_anywhere_in_the_file_gives_our_own_error_or_none(tmp_path: Path) -> None:
    """Bytes overwritten at 40 places: reading either works or says 'damaged', and never anything else."""
    path = tmp_path / "log.sqlite"
    with filled(path):
        pass
    sound = path.read_bytes()
    rng = np.random.default_rng(5)
    outcomes = set()
    for _ in range(40):
        broken = bytearray(sound)
        at = int(rng.integers(100, len(sound) - 600))
        broken[at : at + 500] = rng.bytes(500)
        path.write_bytes(bytes(broken))
        for companion in ("-wal", "-shm"):
            path.with_name(path.name + companion).unlink(missing_ok=True)
        try:
            with opened(path) as log:
                log.trials(Choice(athlete="A1"))
                log.check()
            outcomes.add("read")
        except LogbookError:
            outcomes.add("named")
    assert "named" in outcomes


def test_an_older_logbook_is_brought_up_to_date_with_a_backup_first(tmp_path: Path) -> None:
    """Version 1 to today: the rows are there, and the copy beside it is the file as it was."""
    path = tmp_path / "log.sqlite"
    with closing(sqlite3.connect(path, isolation_level=None)) as old:
        old.execute("BEGIN")
        schema.create(old, version=1)
        old.execute("INSERT INTO athlete (label) VALUES ('A1')")
        old.execute("COMMIT")

    with opened(path) as log:
        assert log.athlete("A1").label == "A1"
        assert log.contents().counts["hip_path"] == 0

    backups = schema.backups_of(path)
    assert [b.name.split(".")[1] for b in backups] == ["before-v2"]
    with closing(sqlite3.connect(backups[0])) as copy:
        assert copy.execute("PRAGMA user_version").fetchone() == (1,)
        assert copy.execute("SELECT label FROM athlete").fetchall() == [("A1",)]


def test_a_migration_that_fails_changes_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The old version stays readable when a step breaks in the middle."""
    path = tmp_path / "log.sqlite"
    with closing(sqlite3.connect(path, isolation_level=None)) as old:
        old.execute("BEGIN")
        schema.create(old, version=1)
        old.execute("COMMIT")
    broken = (schema.MIGRATIONS[0], ("CREATE TABLE half (id INTEGER) STRICT", "CREATE NONSENSE"))
    with monkeypatch.context() as patch:
        patch.setattr(schema, "MIGRATIONS", broken)
        with pytest.raises(LogbookError), opened(path):
            pass

    with closing(sqlite3.connect(path)) as same:
        assert same.execute("PRAGMA user_version").fetchone() == (1,)
        assert same.execute("SELECT count(*) FROM sqlite_schema WHERE name = 'half'").fetchone() == (0,)
    with opened(path) as log:
        assert log.contents().counts["athlete"] == 0


WRITER = """
import sys
from pathlib import Path
from tests_data import some
from penult.adapters.logbook.book import opened
path, label, n = Path(sys.argv[1]), sys.argv[2], int(sys.argv[3])
for i in range(n):
    with opened(path, create=True) as log:
        log.put_trials(some(2, label, seed=1000 * len(label) + i))
    print(i, flush=True)
"""


def _start_writer(tmp_path: Path, path: Path, label: str, n: int) -> subprocess.Popen[str]:
    """Start a program that adds two clips at a time and prints after each that it is written."""
    data = Path(__file__).read_text(encoding="utf-8").split("@contextmanager")[0]
    (tmp_path / "tests_data.py").write_text(data, encoding="utf-8")
    (tmp_path / "writer.py").write_text(WRITER, encoding="utf-8")
    command = [sys.executable, str(tmp_path / "writer.py"), str(path), label, str(n)]
    environment = {**os.environ, "PYTHONPATH": os.pathsep.join([str(tmp_path), os.environ.get("PYTHONPATH", "")])}
    return subprocess.Popen(command, stdout=subprocess.PIPE, text=True, env=environment)


def test_two_programs_write_at_once_and_nothing_is_lost(tmp_path: Path) -> None:
    """Two writers of 15 x 2 clips each from the very first moment: all 60 are there, the file is sound."""
    path = tmp_path / "log.sqlite"
    writers = [_start_writer(tmp_path, path, label, 15) for label in ("A1", "A22")]
    for writer in writers:
        writer.communicate(timeout=120)
        assert writer.returncode == 0

    with opened(path) as log:
        log.check()
        assert [(a.label, n) for a, n in log.contents().athletes] == [("A1", 30), ("A22", 30)]


def test_killed_in_the_middle_keeps_all_that_was_said_to_be_written(tmp_path: Path) -> None:
    """kill -9 at twelve moments: what was announced is there, whole, and the next run just works."""
    path = tmp_path / "log.sqlite"
    announced = 0
    rng = np.random.default_rng(8)
    for round_number in range(12):
        writer = _start_writer(tmp_path, path, f"B{'x' * round_number}", 1000)
        assert writer.stdout is not None
        writer.stdout.readline()
        time.sleep(float(rng.uniform(0.0, 0.08)))
        writer.send_signal(signal.SIGKILL)
        announced += 1 + len(writer.communicate(timeout=60)[0].split())

        with opened(path) as log:
            log.check()
            clips = log.contents().counts["clip"]
            measures = log.contents().counts["measure"]
        assert clips >= 2 * announced
        assert clips % 2 == 0
        assert measures == clips * len(measures_of(some(1)[0].analysis))
        announced = clips // 2


def test_export_and_import_give_the_same_bytes(tmp_path: Path) -> None:
    """Logbook to CSV to another logbook to CSV: no byte differs, hostile text included."""
    with filled(tmp_path / "log.sqlite") as log:
        log.connection.execute("UPDATE clip SET note = ?", ("\t'+1,5;\r\n" + HOSTILE,))
        export(log, tmp_path / "out")
        trials = [(t.said, measures_of(t.analysis)) for t in log.trials(Choice())]
    with opened(tmp_path / "second.sqlite", create=True) as log:
        counts = import_folder(log, tmp_path / "out")
        assert counts.added["clip"] == 7
        assert [(t.said, measures_of(t.analysis)) for t in log.trials(Choice())] == trials
        assert log.tape("A1")[0].distance_m == 13.4
        export(log, tmp_path / "again")

    for path in sorted((tmp_path / "out").iterdir()):
        assert path.read_bytes() == (tmp_path / "again" / path.name).read_bytes(), path.name


def test_importing_twice_adds_nothing(tmp_path: Path) -> None:
    """Clips that are there stay as they are, and are counted."""
    with filled(tmp_path / "log.sqlite") as log:
        export(log, tmp_path / "out")
        again = import_folder(log, tmp_path / "out")
    assert again.kept_clips == 7
    assert not any(again.added.values())


def test_no_exported_cell_begins_a_formula(tmp_path: Path) -> None:
    """OWASP's list of first characters never opens a text cell."""
    import csv  # noqa: PLC0415

    with filled(tmp_path / "log.sqlite") as log:
        export(log, tmp_path / "out")
    for path in (tmp_path / "out").glob("*.csv"):
        with path.open(encoding="utf-8", newline="") as stream:
            for row in csv.reader(stream):
                for cell in row:
                    assert not cell.startswith(("=", "+", "@", "\t", "\r")), cell
                    assert not cell.startswith("-") or cell[1:2].isdigit(), cell


@given(st.text())
def test_the_guard_against_formulas_can_be_taken_off(text: str) -> None:
    """guarded and unguarded are each other's inverse, and a guarded cell starts no formula."""
    assert unguarded(guarded(text)) == text
    assert guarded(text)[:1] not in {"=", "+", "-", "@", "\t", "\r"}


def test_faults_in_an_import_are_all_named_and_nothing_is_kept(tmp_path: Path) -> None:
    """A wrong number, a missing parent and a strange column: three lines, and the logbook stays empty."""
    with filled(tmp_path / "log.sqlite") as log:
        export(log, tmp_path / "out")
    measure = (tmp_path / "out" / "measure.csv").read_text(encoding="utf-8").splitlines()
    measure[5] = "999,contacts,0,toe_x_m,1.0,0.1,0,"
    measure[6] = measure[6].rsplit(",", 4)[0] + ",far,0.1,0,"
    (tmp_path / "out" / "measure.csv").write_text("\n".join(measure), encoding="utf-8")
    (tmp_path / "out" / "tape.csv").write_text("id,who\n1,A1\n", encoding="utf-8")

    with opened(tmp_path / "new.sqlite", create=True) as log:
        with pytest.raises(LogbookError, match="nothing was imported") as error:
            import_folder(log, tmp_path / "out")
        assert log.contents().counts["clip"] == 0

    text = str(error.value)
    assert "measure.csv, line 6: clip_id 999" in text
    assert "measure.csv, line 7: value: 'far'" in text
    assert "tape.csv: columns" in text


@pytest.mark.parametrize(
    "hostile",
    [
        *(
            f"UPDATE clip SET method = '{text}' WHERE id = 7"
            for text in ("", "{", "[1, 2]", "[" * 100_000, "7", "null")
        ),
        "UPDATE clip SET direction = 'up' WHERE id = 7",
        "UPDATE clip SET takeoff_foot = '<b>' WHERE id = 7",
        "UPDATE contact SET foot = 'third' WHERE clip_id = 7 AND number = -1",
    ],
    ids=lambda sql: sql[:40],
)
def test_a_clip_that_could_not_be_read_again_is_not_imported(hostile: str, tmp_path: Path) -> None:
    """Found by fuzzing: one such row, once in, made the whole logbook a damaged one. The good clips beside it are welcome."""
    with filled(tmp_path / "log.sqlite") as log:
        export(log, tmp_path / "out")
        log.connection.execute(hostile)
        export(log, tmp_path / "hostile")

    with opened(tmp_path / "mine.sqlite", create=True) as log:
        log.put_trials(some(2, "A3", seed=4))
        with pytest.raises(LogbookError, match="nothing was imported") as error:
            import_folder(log, tmp_path / "hostile")
        assert len(log.trials(Choice())) == 2
        import_folder(log, tmp_path / "out")
        assert len(log.trials(Choice())) == 9

    assert len(error.value.details) == 1
    assert re.fullmatch(r"clip\.csv, id \d: it cannot be read back: .*", error.value.details[0], re.DOTALL)


def test_an_uncertainty_below_nothing_is_not_imported(tmp_path: Path) -> None:
    with filled(tmp_path / "log.sqlite") as log:
        log.connection.execute("UPDATE measure SET u95 = -0.5 WHERE clip_id = 7 AND value IS NOT NULL AND number = 0")
        export(log, tmp_path / "out")

    with (
        opened(tmp_path / "mine.sqlite", create=True) as log,
        pytest.raises(LogbookError, match=r"u95 -0\.5 is below 0"),
    ):
        import_folder(log, tmp_path / "out")


def test_an_export_never_replaces_foreign_files(tmp_path: Path) -> None:
    """A folder with anything else in it is refused."""
    (tmp_path / "out").mkdir()
    (tmp_path / "out" / "thesis.docx").write_text("x", encoding="utf-8")
    with filled(tmp_path / "log.sqlite") as log, pytest.raises(OutputError, match="other files"):
        export(log, tmp_path / "out")


def test_forgetting_removes_the_person_and_nobody_else(tmp_path: Path) -> None:
    """Rows gone, label blacked out in others' notes, A12 untouched, a backup cleaned too."""
    path = tmp_path / "log.sqlite"
    with filled(path) as log:
        log.connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        backup = tmp_path / "log.before-v2.20260101T000000.sqlite"
        backup.write_bytes(path.read_bytes())
        done = forget(log, "A1")
        left = log.trials(Choice())
        note = log.notes("A12")[0].text
        with pytest.raises(LogbookError, match="no athlete"):
            log.athlete("A1")

    assert {t.analysis.run.athlete for t in left} == {"A12"}
    assert note == f"ran behind {BLACKED_OUT} all evening"
    assert (done.rows["clip"], done.rows["tape"], done.left_in_text) == (5, 1, 0)
    assert str(backup) in done.files
    with closing(sqlite3.connect(backup)) as copy:
        assert copy.execute("SELECT label FROM athlete").fetchall() == [("A12",)]


def test_nothing_of_a_forgotten_label_stands_in_any_byte(tmp_path: Path) -> None:
    """A long label: its bytes are nowhere in the files afterwards, in no encoding, although they were before."""
    path = tmp_path / "log.sqlite"
    label = "Löwin-Zwölf"
    with filled(path) as log:
        log.put_trials(some(3, label, seed=9))
        log.put_note(CoachNote(athlete="A1", date="2026-10-05", text=f"together with {label}"))
        before = b"".join(p.read_bytes() for p in tmp_path.iterdir())
        assert label.encode() in before
        forget(log, label)
        after = b"".join(p.read_bytes() for p in tmp_path.iterdir())

    for form in (label.encode(), label.encode("utf-16-le"), label.lower().encode()):
        assert form not in after


def test_forgetting_says_when_another_program_holds_on_to_the_old_rows(tmp_path: Path) -> None:
    """An open reader keeps the deleted rows alive in the file of changes: that is an error, not a proof."""
    path = tmp_path / "log.sqlite"
    with filled(path) as log, closing(connect(path, create=False)) as reader:
        reader.execute("BEGIN")
        reader.execute("SELECT count(*) FROM clip").fetchone()
        log.connection.execute("PRAGMA busy_timeout = 100")
        with pytest.raises(LogbookError, match="open in another program"):
            forget(log, "A1")


@settings(max_examples=60, deadline=None)
@given(label=st.text(min_size=1, max_size=40).filter(lambda t: "\x00" not in t), note=st.text(max_size=80))
def test_any_label_and_note_come_back(label: str, note: str) -> None:
    """Unicode of every kind goes through SQL untouched."""
    with closing(sqlite3.connect(":memory:", isolation_level=None)) as connection:
        schema.create(connection)
        log = Logbook(connection, Path("memory"))
        try:
            label.encode()
            note.encode()
        except UnicodeEncodeError:
            return
        log.put_note(CoachNote(athlete=label, date="2026-10-03", text=note))
        assert [(n.athlete, n.text) for n in log.notes(label)] == [(label, note)]


def test_a_full_disk_is_named_and_nothing_is_half_written(tmp_path: Path) -> None:
    """SQLite is told that the file may not grow: the clips of that call are not there, the earlier ones are."""
    with filled(tmp_path / "log.sqlite") as log:
        before = log.contents().counts
    with pytest.raises(LogbookError, match="disk is full"):
        _add_where_the_file_may_not_grow(tmp_path / "log.sqlite")
    with opened(tmp_path / "log.sqlite") as log:
        log.check()
        assert log.contents().counts == before


def _add_where_the_file_may_not_grow(path: Path) -> None:
    with opened(path) as log:
        pages = log.connection.execute("PRAGMA page_count").fetchone()[0]
        log.connection.execute(f"PRAGMA max_page_count = {pages + 3}")
        log.put_trials(some(20, "A3", seed=20))


def test_a_logbook_that_cannot_be_written_is_still_read(tmp_path: Path) -> None:
    """As on a read-only disk, where SQLite may not even make its companion files."""
    path = tmp_path / "log.sqlite"
    with filled(path) as log:
        log.connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    with closing(read_only(path)) as connection:
        assert len(Logbook(connection, path).trials(Choice(athlete="A1"))) == 5
        with pytest.raises(sqlite3.OperationalError, match="readonly"):
            connection.execute("DELETE FROM clip")
