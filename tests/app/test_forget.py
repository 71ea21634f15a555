"""Forgetting a person: nothing of others is touched, nothing of hers is left, and it can be finished after any interruption."""

from __future__ import annotations

import json
import os
import re
import sqlite3
import unicodedata
from contextlib import closing
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import openpyxl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from forgetting import LABEL, TYPED, gone, killed, made, plainly, put_result, rows_of, some, without
from penult.adapters.caches import keypoint_cache
from penult.adapters.files.session_state import read_state, write_state
from penult.adapters.logbook import forget as steps
from penult.adapters.logbook.book import opened
from penult.adapters.logbook.connection import connect
from penult.app.forget import forget_athlete, plan
from penult.app.log import export_logbook
from penult.app.plan import cache_key
from penult.app.season import write_season
from penult.app.traces import shared_digest
from penult.core.label import BLACKED_OUT, Label
from penult.errors import LogbookError
from penult.model.logbook import Choice, CoachNote, TapeResult
from penult.outputs.folder.result import analysis_to_json
from penult.outputs.texts.workbook import Column, Sheet, workbook

LABELS = ("1", "10", "2026", "left", "A", "October", "7", "clip", "Löwin Zwölf", "A1", "Grete", "video", "-1", "true")
TEXTS = st.lists(
    st.sampled_from(["ran", "10", "strides", "left", "A", "clip", "2026-10-03", "1.5", "Löwin Zwölf", "lo\u0308win_ZWÖLF",
                     "grete", "GRETE's", "A1", "A12", "7", "October", "=x", "{", '"1"', "flat"]),
    max_size=5,
).map(" ".join)  # fmt: skip


def names(text: str, label: str) -> bool:
    """Whether a label stands in a text as a word, by the standard's normal form and a plain search."""
    word = re.escape(plainly(label)).replace(r"\ ", "[ _]")
    return bool(re.search(rf"(?<![^\W_]){word}(?![^\W_])", plainly(text)))


@pytest.fixture(autouse=True)
def _own_places(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("PENULT_CACHE", str(tmp_path / "cache"))
    monkeypatch.setenv("PENULT_LOGBOOK", str(tmp_path / "default" / "log.sqlite"))


@settings(max_examples=60, deadline=None)
@given(label=st.sampled_from(LABELS), texts=st.lists(TEXTS, min_size=6, max_size=6), everywhere=st.booleans())
def test_every_row_of_others_is_what_it_was_but_for_typed_texts_that_name_the_person(
    tmp_path_factory: pytest.TempPathFactory, label: str, texts: list[str], everywhere: bool
) -> None:
    """Byte for byte: dates, directions, versions, measures; and typed texts that do not hold the label as a word."""
    path = tmp_path_factory.mktemp("book") / "log.sqlite"
    with opened(path, create=True) as log:
        log.put_trials(some(label, 1, seed=1, file=label))
        for i, other in enumerate(("B7", "C left", "D-10")):
            log.put_trials(
                some(other, 1, seed=2 + i, kind=texts[i] or "full approach", note=texts[i + 1], file=texts[i + 2])
            )
            log.put_note(CoachNote(athlete=other, date="2026-10-10", text=texts[3]))
            log.put_tape([TapeResult(athlete=other, date="2026-10-01", event=texts[4], distance_m=6.10, note=texts[5])])
        before = without(rows_of(path), label)
        steps.forget(log, label, everywhere=everywhere)
    after = without(rows_of(path), label)

    assert without(rows_of(path), label)["athlete"] == rows_of(path)["athlete"]
    for table, rows in before.items():
        assert len(after[table]) == len(rows), table
        for was, now in zip(rows, after[table], strict=True):
            for column, value in was.items():
                typed = column in TYPED.get(table, ()) or (table, column) in {("clip", "method"), ("warning", "text")}
                if typed and everywhere and names(str(value), label):
                    assert not names(str(now[column]).replace(BLACKED_OUT, ""), label) or column == "method"
                else:
                    assert now[column] == value, (table, column)


@pytest.mark.parametrize("label", LABELS)
def test_by_itself_a_plain_word_is_blacked_out_in_nobody_elses_text_and_a_name_is(tmp_path: Path, label: str) -> None:
    """T57: `forget 10` made dates of others unreadable, `forget left` the whole logbook."""
    path = tmp_path / "log.sqlite"
    with opened(path, create=True) as log:
        log.put_trials(some(label, 1, seed=1))
        log.put_trials(some("B7", 2, seed=2, note=f"beside {label} from 2026-10-03"))
        steps.forget(log, label)
        log.check()
        trials = log.trials(Choice(athlete="B7"))
    is_name = label in {"Löwin Zwölf", "A1", "Grete", "true"}

    assert {t.said.note for t in trials} == {f"beside {BLACKED_OUT if is_name else label} from 2026-10-03"}
    assert [t.said.date for t in trials] == ["2026-10-03"] * 2
    assert [t.analysis.run.direction for t in trials] == ["left to right"] * 2


FORMS = (
    "Löwin Zwölf",
    unicodedata.normalize("NFD", "Löwin Zwölf"),
    "LÖWIN ZWÖLF",
    "löwin_zwölf",
    "Lo\u0308win\u200b Zwölf",
)


def test_all_unicode_forms_and_cases_of_a_label_are_one_person(tmp_path: Path) -> None:
    """T58: as rows of their own, put there by hand as an older version did, and in texts of others."""
    path = tmp_path / "log.sqlite"
    with opened(path, create=True) as log:
        for i, form in enumerate(FORMS[:3]):
            log.connection.execute("INSERT INTO athlete (id, label) VALUES (?, ?)", (i + 1, form))
        log.put_note(CoachNote(athlete="A2", date="2026-10-03", text=" / ".join(FORMS)))
        steps.forget(log, "löwin zwölf")
        notes, labels = log.notes("A2"), log.labels()

    assert labels == ["A2"]
    assert notes[0].text == " / ".join([BLACKED_OUT] * len(FORMS))


@pytest.mark.parametrize(
    ("label", "text"),
    [
        ("Straße", "STRASSE 1"),
        ("ﬁn", "fin ran"),
        ("각", unicodedata.normalize("NFD", "각")),
        ("Grete", "page <bdi>Gr&#101;te</bdi>"),
        ("Löwin", r'{"athlete": "L\u00f6win"}'),
        ("Löwin", "L%C3%B6win_analysis/summary.html"),
        ("李雷", "今天李雷跑得快"),
        ("철수", "철수는 빨랐다"),
        ("A1", "A1跑得快"),
    ],
)
def test_a_label_is_found_however_a_file_writes_it(label: str, text: str) -> None:
    assert Label(label).stands_in_file(text)


@pytest.mark.parametrize("text", ["A1_jump.mp4", "jump-A1.mov", "2026-10-03_A1_2.mp4", "(A1)", "A1's run", "a1.MP4"])
def test_a_label_is_found_between_the_signs_that_file_names_put_between_words(text: str) -> None:
    assert Label("A1").stands_in(text)


@pytest.mark.parametrize("text", ["annalong", "Hannah", "Susanna ran", "annas", "IMG_annalong.mp4"])
def test_longer_words_are_left_for_they_name_somebody_else_as_a_rule(text: str) -> None:
    """What is blacked out cannot be put back: Hannah's notes are not to lose half her name when Anna is forgotten."""
    assert not Label("Anna").stands_in(text)
    assert Label("Anna").blacked_out(text) == text


def entry_of(key: str, **arrays: object) -> Path:
    keypoint_cache.write_arrays(key, {name: np.asarray(value) for name, value in arrays.items()})
    return keypoint_cache.cache_folder() / f"{key}.npz"


def test_the_cache_of_joints_loses_what_is_theirs_and_keeps_what_is_of_others(tmp_path: Path) -> None:
    """Fails where forgetting one person throws away everybody's joints, minutes of looking for each clip."""
    place = made(tmp_path / "play", seed=3)
    with opened(place.logbook) as log:
        theirs = steps.holdings(log, LABEL).clips[0][0]
    other = "ab" * 32
    gone_ = [entry_of(cache_key(theirs), frame=[1]), entry_of(keypoint_cache.of_clip("k1", theirs), outline=[1])]
    gone_ += [entry_of("first_look_of_nobody_knows_whom", outline=[1])]
    kept = [entry_of(cache_key(other), frame=[1]), entry_of(keypoint_cache.of_clip("k2", other), outline=[1])]
    done = forget_athlete(LABEL, logbook=place.logbook)

    assert not any(p.exists() for p in gone_)
    assert all(p.exists() for p in kept)
    assert done.cache_clips >= 1


def test_the_cache_is_emptied_whole_where_nothing_tells_what_is_theirs(tmp_path: Path) -> None:
    path = tmp_path / "log.sqlite"
    with opened(path, create=True) as log:
        log.put_note(CoachNote(athlete="Grete", date="2026-10-04", text="ran"))
    entry = entry_of(cache_key("ab" * 32), frame=[1])
    done = forget_athlete("Grete", logbook=path)

    assert not entry.exists()
    assert done.cache_clips == 0


@pytest.mark.parametrize("text", ["A12", "xA1", "A1\u0301", "a", "A 1", "CA1D", "Ä1"])
def test_a_label_is_not_found_within_other_words(text: str) -> None:
    assert not Label("A1").stands_in(text)


def test_sessions_that_differ_by_the_label_alone_become_one(tmp_path: Path) -> None:
    """Blacked out, both would have the same name on the same day, which the table does not allow twice."""
    path = tmp_path / "log.sqlite"
    with opened(path, create=True) as log:
        log.put_trials(some("Grete", 1, seed=1))
        for i, session in enumerate(("with Grete", "with GRETE")):
            found = some("B7", 1, seed=2 + i)
            log.put_trials([replace(t, said=replace(t.said, session=session)) for t in found])
        steps.forget(log, "Grete")
        trials = log.trials(Choice(athlete="B7"))

    assert [t.said.session for t in trials] == [f"with {BLACKED_OUT}"] * 2


def everything(tmp_path: Path) -> tuple[Any, dict[str, Path]]:
    """A season's worth of traces of LABEL: moved, renamed, unnamed, copied, exported, drawn; and things of others."""
    place = made(tmp_path / "play", seed=3)
    extra = some(LABEL, 4, seed=77, file="walk")
    with opened(place.logbook) as log:
        log.put_trials(extra[:1])
    where = {
        "moved": put_result(place.films / "elsewhere" / "deep" / "x", extra[0]),
        "renamed without a label": place.films / "r2",
        "shared": tmp_path / "to_send",
        "inside": place.films / f"{LABEL}_30_0_analysis",
    }
    first = next(p for p in sorted(place.films.glob(f"{LABEL}_30_0_analysis")))
    unnamed = json.loads((first / "analysis.json").read_text())
    unnamed["run"]["athlete"] = ""
    where["renamed without a label"].mkdir()
    (where["renamed without a label"] / "analysis.json").write_text(json.dumps(unnamed))
    clip = replace(extra[0].analysis.clip, file="clip.mp4", sha256=shared_digest(extra[0].analysis.clip.sha256))
    copy = replace(
        extra[0].analysis, clip=clip, run=replace(extra[0].analysis.run, athlete="A"), method={"shared": True}
    )
    where["shared"].mkdir()
    (where["shared"] / "analysis.json").write_text(analysis_to_json(copy))
    (first / "my notes.txt").write_text("wind 1.2")
    put_result(first / "nested_analysis", some("A2", 1, seed=88)[0])
    write_state(place.films, {"a.mp4": {"sha256": extra[0].analysis.clip.sha256}, "b.mp4": {"sha256": "f" * 64}})
    (place.films / "session.csv").write_text(f"file,athlete\nx.mp4,{LABEL}\n")
    (place.films / "session.html").write_text(f"<!-- made with penult --><bdi>{LABEL}</bdi>, full")
    (place.films / "other.html").write_text("<!-- made with penult --><bdi>A2</bdi>")
    export_logbook(tmp_path / "out", logbook=place.logbook)
    write_season(Choice(athlete=LABEL), since="", logbook=place.logbook, out=tmp_path / "season")
    write_season(Choice(athlete="A2"), since="", logbook=place.logbook, out=tmp_path / "season of A2")
    entry_of(cache_key(extra[0].analysis.clip.sha256), frame=[1])
    return place, where


def test_all_that_penult_made_of_a_person_is_found_and_nothing_of_others(tmp_path: Path) -> None:
    """T58: a result knows its clip; pages, exports, copies and the state of a session hold people too."""
    place, where = everything(tmp_path)

    done = forget_athlete(LABEL, logbook=place.logbook, results=[place.films, where["shared"]])

    assert not list(place.films.glob(f"{LABEL}*/analysis.json"))
    assert not any((where[k] / "analysis.json").exists() for k in ("moved", "renamed without a label", "shared"))
    assert (where["inside"] / "my notes.txt").read_text() == "wind 1.2"
    assert (where["inside"] / "nested_analysis" / "analysis.json").exists()
    assert not (place.films / "session.html").exists()
    assert (place.films / "other.html").exists()
    assert read_state(place.films) == {"b.mp4": {"sha256": "f" * 64}}
    assert not list((tmp_path / "season").iterdir())
    assert len(list((tmp_path / "season of A2").iterdir())) == 3  # page, table, workbook
    assert LABEL not in (tmp_path / "out" / "athlete.csv").read_text()
    assert "A2" in (tmp_path / "out" / "athlete.csv").read_text()
    assert keypoint_cache.kept() == (0, 0)
    left = {path.name: why for path, why in done.left}
    assert "session.csv" in left
    assert "my notes.txt" in left
    assert len(list(place.films.glob("A2_*_analysis/analysis.json"))) == 4


def test_a_dry_run_lists_the_same_and_changes_nothing(tmp_path: Path) -> None:
    place, where = everything(tmp_path)
    before = {p: p.read_bytes() for p in tmp_path.rglob("*") if p.is_file() and ".sqlite" not in p.name}

    found = plan(LABEL, logbook=place.logbook, results=[place.films, where["shared"]])

    assert {p: p.read_bytes() for p in tmp_path.rglob("*") if p.is_file() and ".sqlite" not in p.name} == before
    listed = {t.path for t in found.found.traces}
    done = forget_athlete(LABEL, logbook=place.logbook, results=[place.films, where["shared"]])
    assert {t.path for t in done.removed} == listed


def test_places_that_could_not_be_looked_at_are_said(tmp_path: Path) -> None:
    """A link to another folder, a disk that is gone, a pipe under the name of a table: no waiting, and no silence."""
    place = made(tmp_path, seed=3)
    (tmp_path / "other").mkdir()
    (place.films / "link").symlink_to(tmp_path / "other")
    os.mkfifo(place.films / "session.csv")

    done = forget_athlete(LABEL, logbook=place.logbook, results=[place.films, tmp_path / "unplugged"])

    said = {path.name for path, _ in done.not_looked_at}
    assert {"link", "unplugged"} <= said


def test_an_open_reader_is_named_what_was_done_is_said_and_saying_it_again_finishes(tmp_path: Path) -> None:
    place = made(tmp_path, seed=3)
    with closing(connect(place.logbook, create=False)) as reader:
        reader.execute("BEGIN")
        reader.execute("SELECT count(*) FROM clip").fetchone()
        with pytest.MonkeyPatch.context() as patch:
            patch.setattr("penult.adapters.logbook.connection.WAIT_S", 0.1)
            with pytest.raises(LogbookError, match="open in another program") as error:
                forget_athlete(LABEL, logbook=place.logbook, results=[place.films])
        reader.execute("ROLLBACK")
    text = str(error.value)
    with opened(place.logbook) as log:
        assert LABEL not in log.labels()
        assert len(steps.unfinished(log)) == 1
    kept = place.logbook.read_bytes() + b"".join(p.read_bytes() for p in place.logbook.parent.glob("*-wal"))

    assert "their rows are out of the logbook" in text
    assert "removed before that: 4 results" in text
    assert "same again" in text
    assert place.logbook.exists()
    assert kept
    forget_athlete(LABEL, logbook=place.logbook, results=[place.films])
    assert gone(place) == ""


def test_a_label_under_way_is_kept_as_a_hash_alone(tmp_path: Path) -> None:
    place = made(tmp_path, seed=3)
    with opened(place.logbook) as log:
        steps.erase(log, LABEL)
        row = log.connection.execute("SELECT salt, digest, begun, content FROM forgetting").fetchone()
        held = steps.holdings(log, LABEL.upper())
        other = steps.holdings(log, "Zora")

    assert LABEL.encode() not in b"".join(v if isinstance(v, bytes) else v.encode() for v in row)
    assert held.begun
    assert len(held.clips) == 4
    assert not other.begun


def test_backups_lose_the_person_and_one_that_cannot_be_cleaned_keeps_it_unfinished(tmp_path: Path) -> None:
    place = made(tmp_path, seed=3)
    good, bad = (place.logbook.with_name(f"log.before-v3.{n}.sqlite") for n in ("1", "2"))
    with closing(sqlite3.connect(place.logbook)) as source, closing(sqlite3.connect(good)) as copy:
        source.backup(copy)
    bad.write_bytes(good.read_bytes()[:8192])
    half = place.logbook.with_name("log.before-v3.3.partial")
    half.write_bytes(good.read_bytes())

    with pytest.raises(LogbookError, match="not everything could be removed") as error:
        forget_athlete(LABEL, logbook=place.logbook, results=[place.films])
    bad.unlink()
    forget_athlete(LABEL, logbook=place.logbook, results=[place.films])

    assert str(bad) in str(error.value)
    assert not half.exists()
    assert gone(place) == ""


def test_a_result_that_cannot_be_deleted_is_said_and_the_next_try_goes_on(tmp_path: Path) -> None:
    place = made(tmp_path, seed=3)
    stuck = place.films / f"{LABEL}_30_0_analysis"
    with pytest.MonkeyPatch.context() as patch:
        rename = Path.rename

        def refusing(self: Path, target: Path) -> Path:
            if self == stuck:
                raise PermissionError(13, "Permission denied", str(self))
            return rename(self, target)

        patch.setattr(Path, "rename", refusing)
        with pytest.raises(LogbookError, match="not everything") as error:
            forget_athlete(LABEL, logbook=place.logbook, results=[place.films])
    with opened(place.logbook) as log:
        assert len(steps.unfinished(log)) == 1
    forget_athlete(LABEL, logbook=place.logbook, results=[place.films])

    assert f"{stuck}: Permission denied" in str(error.value)
    assert gone(place) == ""


def test_kills_at_random_moments_are_made_up_for_by_saying_it_again(tmp_path: Path) -> None:
    """A hundred kills and a hundred full disks: tests/bench/forget.py."""
    found = killed(tmp_path, count=4)

    assert found.broken == []
    assert found.done == 4


def test_a_workbook_that_was_moved_away_from_its_page_goes_too(tmp_path: Path) -> None:
    """Ours with the label in a cell goes, also in another Unicode form; ours of others and a coach's own stay, which is named."""
    place, _ = everything(tmp_path)
    sheet = [Column(head="Athlete"), Column(head="Note")]
    there = place.films / "tables"
    there.mkdir()
    for name, label in (("moved.xlsx", LABEL), ("other.xlsx", "A2")):
        (there / name).write_bytes(workbook([Sheet(name="Clips", columns=sheet, rows=[[label, "fine"]])]))
    own = openpyxl.Workbook()
    own.active["A1"] = f"ran with {LABEL}"  # type: ignore[index]
    own.save(there / "own.xlsx")
    (there / "torn.xlsx").write_bytes(b"PK\x03\x04 no workbook")

    done = forget_athlete(LABEL, logbook=place.logbook, results=[place.films])

    assert sorted(p.name for p in there.iterdir()) == ["other.xlsx", "own.xlsx", "torn.xlsx"]
    assert "own.xlsx" in {path.name for path, _ in done.left}
    assert "torn.xlsx" in {path.name for path, _ in done.not_looked_at}
