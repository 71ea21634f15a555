"""Names with markup, quotes, path parts, right-to-left and emoji: never unescaped on a page, never a path out of the folder."""

from __future__ import annotations

import csv
import dataclasses
import io
import re
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import pytest

from penult.errors import OutputError
from penult.outputs.folder import save, tables
from penult.outputs.pages import summary

NAMES = (
    '<script>alert("x")</script>',
    "<img src=x onerror=alert(1)>",
    '"><svg onload=alert(1)>',
    "' onmouseover='alert(1)",
    "javascript:alert(1)",
    "../../../etc/passwd",
    "C:\\Windows\\con",
    "\u202egpj.4pm",
    "👟🏃‍♀️ läufer 跳",
    "{{ 7 * 7 }} {% raw %}",
    "&lt;b&gt;",
    "a\x00b\x1b[31m",
    "=cmd|'/c calc'!A1",
    "x" * 300,
)


class Tags(HTMLParser):
    """Gathers tags and the attributes that could act."""

    def __init__(self) -> None:
        super().__init__()
        self.tags: list[str] = []
        self.acting: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        self.acting += [f"{tag} {k}={v}" for k, v in attrs if k.startswith("on") or "javascript:" in (v or "").lower()]


def tags_of(page: str) -> Tags:
    found = Tags()
    found.feed(page)
    return found


def named(analysis: Any, file: str, athlete: str, kind: str) -> Any:
    return dataclasses.replace(
        analysis,
        clip=dataclasses.replace(analysis.clip, file=f"{file}.mp4"),
        run=dataclasses.replace(analysis.run, athlete=athlete, kind=kind),
    )


@pytest.fixture(scope="module")
def plain(scene: Any) -> Tags:
    """The page with plain names."""
    return tags_of(summary.summary_html(named(scene.analysis, "clip", "A1", "drill"), scene.motion, []))


@pytest.mark.parametrize("first", range(0, len(NAMES), 3))
def test_names_add_no_tag_and_no_action_to_the_page(first: int, plain: Tags, scene: Any) -> None:
    """The page with three of the names (file, athlete, kind) has exactly the tags of the page with plain ones."""
    three = [NAMES[(first + i) % len(NAMES)] for i in range(3)]
    hostile = tags_of(summary.summary_html(named(scene.analysis, *three), scene.motion, []))

    assert hostile.tags == plain.tags
    assert hostile.acting == plain.acting


@pytest.mark.parametrize("name", NAMES)
def test_no_cell_of_a_table_begins_a_formula(name: str, scene: Any) -> None:
    """A spreadsheet runs cells that begin with =, +, - or @ (OWASP, CSV injection); numbers may begin with a sign."""
    text = tables.to_csv(tables.contacts_table(named(scene.analysis, name, name, name))).decode("utf-8-sig")
    for row in csv.reader(io.StringIO(text)):
        for cell in row:
            assert not re.match(r"[=@\t\r]|[+-](?![\d.])", cell), cell


@pytest.mark.parametrize("name", ["../out.txt", "/etc/x", "a/../../b", "stills/../../x"])
def test_no_file_of_a_result_leaves_its_folder(name: str, tmp_path: Path) -> None:
    with (
        save.building(tmp_path / "result", sha256="0" * 64, commit=False) as new,
        pytest.raises((ValueError, OutputError)),
    ):
        new.write(name, b"x")

    assert [p for p in tmp_path.rglob("*") if p.is_file()] == []
