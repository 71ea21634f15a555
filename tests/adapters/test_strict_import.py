"""An import takes in what an export of ours can hold, and nothing else: format, tables, ranges, dates."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Iterator
from pathlib import Path

import pytest

from forgetting import some
from penult.adapters.files.csv_text import number_of
from penult.adapters.logbook.book import Logbook, opened
from penult.adapters.logbook.csv_folder import export, import_folder
from penult.errors import LogbookError
from penult.model.analysis import Mat
from penult.model.logbook import Athlete, CoachNote, TapeResult


@pytest.fixture
def exported(tmp_path: Path) -> Path:
    with opened(tmp_path / "log.sqlite", create=True) as log:
        log.put_athlete(Athlete(label="A1", sex="female", height_m=1.7, leg_length_m=0.9))
        log.put_trials(some("A1", 1, seed=1), corrections=['{"a": 1}'])
        log.connection.execute("INSERT INTO mat VALUES (1, -1, ?)", (Mat(number=-1, thickness_m=0.05).thickness_m,))
        log.connection.execute("INSERT INTO warning VALUES (1, 7, 'c', 't')")
        log.connection.execute("UPDATE clip SET official_distance_m = 5.5")
        log.put_tape([TapeResult(athlete="A1", date="2026-10-04", event="long jump", distance_m=5.61)])
        log.put_note(CoachNote(athlete="A1", date="2026-10-04", text="flat"))
        export(log, tmp_path / "out")
    return tmp_path / "out"


@pytest.fixture
def empty(tmp_path: Path) -> Iterator[Logbook]:
    with opened(tmp_path / "new.sqlite", create=True) as log:
        yield log


def changed(folder: Path, table: str, column: str, cell: str) -> None:
    path = folder / f"{table}.csv"
    rows = list(csv.reader(io.StringIO(path.read_bytes().decode(), newline="")))
    rows[1][rows[0].index(column)] = cell
    with path.open("w", encoding="utf-8", newline="") as stream:
        csv.writer(stream).writerows(rows)


def refused(log: Logbook, folder: Path) -> LogbookError:
    with pytest.raises(LogbookError) as error:
        import_folder(log, folder)
    assert not any(log.contents().counts.values())
    return error.value


@pytest.mark.parametrize(
    ("table", "column", "cell"),
    [
        ("athlete", "height_m", "17.1"),
        ("athlete", "height_m", "-1.7"),
        ("athlete", "leg_length_m", "9"),
        ("athlete", "sex", "f"),
        ("athlete", "label", ""),
        ("athlete", "label", "x" * 201),
        ("session", "date", "3.10.2026"),
        ("session", "date", "2026-02-30"),
        ("clip", "sha256", "../../etc"),
        ("clip", "run", "0"),
        ("clip", "run", "1_0"),
        ("clip", "run", "1e1"),
        ("clip", "approach_strides", "400"),
        ("clip", "official_distance_m", "612"),
        ("clip", "frames", "-3"),
        ("clip", "capture_rate_hz", "-240"),
        ("clip", "has_takeoff", "2"),
        ("clip", "kind", "x" * 2001),
        ("mat", "thickness_m", "50"),
        ("mat", "number", "99999"),
        ("contact", "by_hand", "7"),
        ("contact", "start_s", "1e7"),
        ("measure", "part", "elsewhere"),
        ("measure", "name", "Robert'); DROP TABLE clip;--"),
        ("measure", "u95", "-0.1"),
        ("measure", "by_hand", "9"),
        ("correction", "content", "not JSON"),
        ("note", "date", ""),
        ("note", "date", "yesterday"),
        ("tape", "date", "2026-13-01"),
        ("tape", "distance_m", "0"),
        ("tape", "distance_m", "nan"),
        ("tape", "distance_m", "5_0"),
        ("tape", "distance_m", "٥"),
    ],
)
def test_a_value_that_no_penult_writes_is_named_with_its_place(
    exported: Path, empty: Logbook, table: str, column: str, cell: str
) -> None:
    changed(exported, table, column, cell)

    error = refused(empty, exported)

    assert any(line.startswith(f"{table}.csv, line 2") for line in error.details), error.details


@pytest.mark.parametrize(
    "mark",
    [
        {"format": "penult-logbook/2", "tables": 2},
        {"format": "penult-logbook/1", "tables": 99},
        {"format": "penult-logbook/1", "tables": "2"},
        {"format": "penult-logbook/1"},
        {"format": "penult-logbook/1", "tables": 0},
    ],
    ids=str,
)
def test_another_format_or_newer_tables_are_not_guessed_at(exported: Path, empty: Logbook, mark: object) -> None:
    (exported / "logbook.json").write_text(json.dumps(mark))

    assert "another version of penult" in refused(empty, exported).what


def test_a_missing_table_is_a_fault_but_for_an_export_from_before_it_was_there(exported: Path, empty: Logbook) -> None:
    (exported / "hip_path.csv").unlink()
    assert "hip_path.csv is missing" in refused(empty, exported).details

    (exported / "logbook.json").write_text(json.dumps({"format": "penult-logbook/1", "tables": 1}))
    rows = list(csv.DictReader(io.StringIO((exported / "contact.csv").read_text(encoding="utf-8"), newline="")))
    known = [c for c in rows[0] if c not in ("kind", "foot_sure")]
    lines = [",".join(known), *(",".join(r[c] for c in known) for r in rows)]
    (exported / "contact.csv").write_text("\n".join(lines), encoding="utf-8")
    assert import_folder(empty, exported).added["clip"] == 1


@pytest.mark.parametrize("text", ["1_0", "٥", "0x10", "inf", "nan", "1,2,3", "", "1e9999"])
def test_what_is_no_number_in_a_table_is_none(text: str) -> None:
    with pytest.raises(ValueError, match="not a number"):
        number_of(text)
