"""session.csv as coaches and their spreadsheets write it."""

from __future__ import annotations

import contextlib
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from penult.adapters.files.session_file import COLUMNS, read_session, template
from penult.errors import LogbookError
from penult.model.analysis import Mat

FILES = ["IMG_1.mp4", "Läufer 跳.MOV"]


def written(tmp_path: Path, text: str, encoding: str = "utf-8") -> Path:
    path = tmp_path / "session.csv"
    path.write_bytes(text.encode(encoding))
    return path


def test_every_column_is_read(tmp_path: Path) -> None:
    """All thirteen, in any order of capitals, with units in brackets."""
    text = (
        "File,athlete,Kind,approach_strides,mats,Take-off foot,Official distance (m),note,date,sex,height,capture rate,run\n"
        'IMG_1.mp4,A1,mat drill,13,"third-last 5 cm; take-off 0.03",L,6.42,"good, flat",2026-10-03,f,1.71,240,2\n'
    )

    row = read_session(written(tmp_path, text), FILES).row("IMG_1.mp4")

    assert (row.athlete, row.kind, row.approach_strides, row.takeoff_foot) == ("A1", "mat drill", 13, "left")
    assert row.mats == (Mat(number=-2, thickness_m=0.05), Mat(number=0, thickness_m=0.03))
    assert (row.official_distance_m, row.note, row.date) == (6.42, "good, flat", "2026-10-03")
    assert (row.sex, row.height_m, row.capture_rate_hz, row.run) == ("female", 1.71, 240.0, 2)


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "cp1252"])
@pytest.mark.parametrize("separator", [";", ",", "\t"])
def test_spreadsheets_of_other_countries_are_read(tmp_path: Path, encoding: str, separator: str) -> None:
    """Semicolons, tabs, decimal commas, byte order marks and Windows Latin."""
    cells = ["file", "official distance", "note"], ["IMG_1.mp4", "6,42" if separator != "," else "6.42", "Fuß flach"]
    text = "\r\n".join(separator.join(row) for row in cells)

    row = read_session(written(tmp_path, text, encoding), FILES).row("IMG_1.mp4")

    assert (row.official_distance_m, row.note) == (6.42, "Fuß flach")


def test_a_row_without_a_file_holds_for_the_clips_without_one(tmp_path: Path) -> None:
    """So one line can say whose session it was."""
    said = read_session(written(tmp_path, "file,athlete,kind\n,A1,full approach\nIMG_1.mp4,A2,mat drill\n"), FILES)

    assert said.row("Läufer 跳.MOV").athlete == "A1"
    assert said.row("img_1.MP4").athlete == "A2"


def test_every_fault_is_named_with_its_place_and_the_nearest_word(tmp_path: Path) -> None:
    """Unknown column, missing clip, number, foot, mat, date: one message for all of them."""
    text = (
        "file,athlet,strides,mats,take-off foot,official distance,date\n"
        "IMG_2.mp4,A1,18,penultimate 5,both,far,3.13.2026\n"
    )

    with pytest.raises(LogbookError) as error:
        read_session(written(tmp_path, text), FILES)

    message = str(error.value)
    for part in ("'athlet'; nearest: athlete", "'strides'; nearest: approach strides", "no clip 'IMG_2.mp4'", "nearest: IMG_1.mp4",
                 "line 2, mats", "line 2, take-off foot", "line 2, official distance", "line 2, date"):  # fmt: skip
        assert part in message, part


def test_what_a_spreadsheet_makes_of_it_is_read_as_it_was_meant(tmp_path: Path) -> None:
    """Semicolons, decimal commas, days turned round and 14.0 for 14, as spreadsheets of other languages save them."""
    text = (
        "file;athlete;approach strides;mats;official distance;date\r\n"
        "# example, passed over;A9;x;y;z;soon\r\n"
        "IMG_1.mp4;A1;14,0;penultimate 0,05;6,45;28.11.2026\r\n"
    )

    said = read_session(written(tmp_path, text), ["IMG_1.mp4"]).row("IMG_1.mp4")

    assert (said.athlete, said.approach_strides, said.official_distance_m, said.date) == ("A1", 14, 6.45, "2026-11-28")
    assert said.mats == (Mat(number=-1, thickness_m=0.05),)


REWRITTEN = {
    "semicolons, days turned round": "IMG_1.mp4;A1;mat drill;14;penultimate 5 cm;left;6,45;gut;28.11.2026\r\n",
    "decimal commas": "IMG_1.mp4;A1;mat drill;14,0;penultimate 0,05;left;6,45 m;gut;28-11-2026\r\n",
    "quoted, empty columns added": (
        '"IMG_1.mp4";"A1";"mat drill";"14";"penultimate = 5 cm";"left";"6,45";"gut";"2026-11-28";;;\r\n;;;;;;\r\n'
    ),
    "a day with its hour": "IMG_1.mp4;A1;mat drill;14;-1=0,05;left;6,45;gut;28.11.2026 00:00\r\n",
    "strokes": "IMG_1.mp4;A1;mat drill;14;penultimate 5cm;left;645 cm;gut;28/11/2026\r\n",
}
"""What spreadsheet programs make of the template in other languages when they save it as CSV: rules of RFC 4180 with the list
separator, decimal sign and short date of the region; a first line 'sep=;'; columns and rows without content."""


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "cp1252"])
@pytest.mark.parametrize("which", REWRITTEN)
def test_a_rewritten_template_says_what_it_said(tmp_path: Path, which: str, encoding: str) -> None:
    first = "sep=;\r\n" if which.startswith("a day") else ""
    text = f"{first}{';'.join(COLUMNS[:9])}{';;;' if 'quoted' in which else ''}\r\n{REWRITTEN[which]}"

    said = read_session(written(tmp_path, text, encoding), FILES).row("IMG_1.mp4")

    assert (said.athlete, said.kind, said.approach_strides, said.takeoff_foot) == ("A1", "mat drill", 14, "left")
    assert said.mats == (Mat(number=-1, thickness_m=0.05),)
    assert (said.official_distance_m, said.note, said.date) == (6.45, "gut", "2026-11-28")


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16"])
def test_the_template_saved_again_with_semicolons_is_the_template(tmp_path: Path, encoding: str) -> None:
    """The example row is passed over whatever became of its day and its length, and names the kinds."""
    text = template(["IMG_1.mp4"]).decode("utf-8-sig")
    rows = [line.split(",") for line in text.splitlines()]
    assert all(kind in text for kind in ("full approach", "short approach", "mat drill", "run-through"))
    assert "penultimate 5 cm" in text
    turned = text.replace(",", ";").replace("6.45", "6,45").replace("2026-10-03", "03.10.2026")

    said = read_session(written(tmp_path, turned, encoding), ["IMG_1.mp4"])

    assert len(rows) >= 3
    assert said.row("IMG_1.mp4").athlete == ""


@pytest.mark.parametrize("name", ["../IMG_1.mp4", "/etc/passwd", "a\\b.mp4", ".."])
def test_a_file_name_is_never_a_path(tmp_path: Path, name: str) -> None:
    """A session file from somebody else cannot point outside the folder."""
    with pytest.raises(LogbookError, match="bare file name"):
        read_session(written(tmp_path, f"file,athlete\n{name},A1\n"), FILES)


def test_the_template_reads_back_as_it_is(tmp_path: Path) -> None:
    """A fresh template is a sound session file that says nothing, even for a name that starts a formula."""
    files = ["IMG_1.mp4", "=1+1.mp4"]
    path = tmp_path / "session.csv"
    path.write_bytes(template(files))

    said = read_session(path, files)

    assert set(said.rows) == {"img_1.mp4", "=1+1.mp4"}
    assert b"\n'=1+1.mp4" in path.read_bytes()
    assert path.read_text("utf-8-sig").split("\n")[0] == ",".join(COLUMNS[:9])


@settings(max_examples=200)
@given(st.binary(max_size=400))
def test_any_bytes_give_a_session_or_our_own_error(tmp_path_factory: pytest.TempPathFactory, data: bytes) -> None:
    """No file of others brings the reader down."""
    path = tmp_path_factory.mktemp("fuzz") / "session.csv"
    path.write_bytes(data)
    with contextlib.suppress(LogbookError):
        read_session(path, FILES)
