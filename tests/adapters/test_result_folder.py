"""Result folders of others: what is broken is named or left out, nothing outside the folder is read."""

from __future__ import annotations

import contextlib
import json
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from penult.adapters.files.result_folder import find_results, read_hip_path, read_said, read_stills, said_bytes
from penult.adapters.logbook.book import opened
from penult.adapters.logbook.csv_folder import export, import_folder
from penult.errors import LogbookError, ResultError
from penult.model.logbook import CoachNote
from penult.model.trial import Said

JPEG = bytes.fromhex("ffd8ffc0000b080010002001011100")  # the head of a grey picture, 32 x 16 (ITU-T T.81, B.2.2)
ROW = {
    "file": "contact_1.jpg", "contact": -1, "instant": "lowest", "metres_per_px": 0.003, "ground_y_px": 12.0,
    "hip_px": [10.0, 5.0], "direction": "left to right",
}  # fmt: skip


def with_stills(folder: Path, rows: object, jpeg: bytes = JPEG) -> Path:
    (folder / "stills").mkdir(parents=True, exist_ok=True)
    (folder / "stills" / "contact_1.jpg").write_bytes(jpeg)
    (folder / "stills" / "index.json").write_text(json.dumps(rows), encoding="utf-8")
    return folder


@pytest.mark.parametrize("wrapped", [False, True])
def test_stills_are_read_with_the_size_that_the_picture_says(tmp_path: Path, wrapped: bool) -> None:
    """The index may be a list or an object; the size comes from the JPEG itself."""
    rows = {"format": "penult-stills/1", "stills": [ROW]} if wrapped else [ROW]

    found = read_stills(with_stills(tmp_path, rows), [(-1, "lowest")])

    assert found[-1, "lowest"].size_px == (32, 16)


@pytest.mark.parametrize(
    "change",
    [
        {"file": "../../secret.jpg"}, {"file": "/etc/hostname"}, {"metres_per_px": 0.0}, {"metres_per_px": "far"},
        {"ground_y_px": 1e9}, {"hip_px": [1.0]}, {"contact": "x"},
    ],
)  # fmt: skip
def test_a_row_that_is_not_sound_is_left_out(tmp_path: Path, change: dict[str, object]) -> None:
    """A path that leaves the folder, an impossible scale, a missing number: no picture, no error."""
    (tmp_path / "secret.jpg").write_bytes(JPEG)
    assert read_stills(with_stills(tmp_path / "a" / "b", [{**ROW, **change}]), [(-1, "lowest")]) == {}


def test_what_is_no_jpeg_is_left_out(tmp_path: Path) -> None:
    """Whatever its name says."""
    assert read_stills(with_stills(tmp_path, [ROW], jpeg=b"<svg onload=alert(1)>"), [(-1, "lowest")]) == {}


def test_what_was_said_comes_back(tmp_path: Path) -> None:
    """said.json there and back."""
    said = Said(date="2026-10-03", session="hall", approach_strides=18, official_distance_m=6.12, note="flat 跳")
    (tmp_path / "said.json").write_bytes(said_bytes(said))
    assert read_said(tmp_path) == said


def test_results_are_found_up_to_three_folders_below(tmp_path: Path) -> None:
    """And a place without any is named with what to do."""
    for folder in ("a/one_analysis", "a/b/two_analysis", "a/b/c/d/too_deep"):
        (tmp_path / folder).mkdir(parents=True)
        (tmp_path / folder / "analysis.json").write_text("{}", encoding="utf-8")
    assert [p.name for p in find_results(tmp_path)] == ["two_analysis", "one_analysis"]
    (tmp_path / "empty").mkdir()
    with pytest.raises(ResultError, match="holds no result"):
        find_results(tmp_path / "empty")


@settings(max_examples=150)
@given(st.binary(max_size=300), st.binary(max_size=300), st.binary(max_size=200))
def test_any_bytes_in_a_result_folder_give_nothing_or_our_own_error(
    tmp_path_factory: pytest.TempPathFactory, index: bytes, jpeg: bytes, path: bytes
) -> None:
    """Readers of pictures, words and hip paths never fail in another way."""
    folder = tmp_path_factory.mktemp("fuzz")
    (folder / "stills").mkdir()
    (folder / "stills" / "index.json").write_bytes(index)
    (folder / "stills" / "contact_1.jpg").write_bytes(b"\xff\xd8" + jpeg)
    (folder / "said.json").write_bytes(index)
    (folder / "hip_path.csv").write_bytes(path)
    read_stills(folder, [(-1, "lowest")])
    with_stills(folder, [ROW], b"\xff\xd8\xff" + jpeg)
    read_stills(folder, [(-1, "lowest")])
    read_said(folder)
    with contextlib.suppress(ResultError):
        read_hip_path(folder / "hip_path.csv")


@settings(max_examples=80)
@given(table=st.sampled_from(["athlete", "clip", "note", "tape", "hip_path"]), data=st.text(max_size=200))
def test_any_text_in_an_exported_logbook_is_read_or_named(
    tmp_path_factory: pytest.TempPathFactory, table: str, data: str
) -> None:
    """A table of others with anything in it: imported, or refused with nothing kept."""
    folder = tmp_path_factory.mktemp("fuzz")
    with opened(folder / "log.sqlite", create=True) as log:
        log.put_note(CoachNote(athlete="A1", date="2026-10-03", text="x"))
        export(log, folder / "out")
    file = folder / "out" / f"{table}.csv"
    file.write_bytes(file.read_bytes() + data.encode("utf-8", errors="replace"))
    with opened(folder / "new.sqlite", create=True) as log:
        try:
            import_folder(log, folder / "out")
        except LogbookError:
            assert log.contents().counts["note"] == 0
        log.check()


def test_a_label_that_is_too_long_for_the_logbook_is_named(tmp_path: Path) -> None:
    """Not a database error."""
    with pytest.raises(LogbookError, match="does not fit"), opened(tmp_path / "log.sqlite", create=True) as log:
        log.put_note(CoachNote(athlete="A" * 300, date="2026-10-03", text="x"))


def test_a_text_that_is_no_unicode_is_named(tmp_path: Path) -> None:
    """Bytes that a terminal handed over as half a character."""
    with pytest.raises(LogbookError, match="cannot be written"), opened(tmp_path / "log.sqlite", create=True) as log:
        log.put_note(CoachNote(athlete="A1", date="2026-10-03", text="\udcff"))
