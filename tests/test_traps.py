"""The table of traps in tests/README.md is true, and what the source must not use is not in it."""

from __future__ import annotations

import ast
import re
from importlib.metadata import requires
from pathlib import Path

TESTS = Path(__file__).parent
SOURCE = TESTS.parent / "src" / "penult"
ROW = re.compile(r"^\| T(\d+) \| [^|]+ \| `([\w/]+\.py)::(\w+)` \|$", re.MULTILINE)
NOT_OF_FILMS_OR_POSES = {36}
OF_RECORDS = set(range(57, 62))


def test_every_trap_has_a_test_and_every_test_named_is_there() -> None:
    rows = ROW.findall((TESTS / "README.md").read_text(encoding="utf-8"))
    defined = {file: defined_in(TESTS / file) for _, file, _ in rows}

    wanted = set(range(1, 51)) - NOT_OF_FILMS_OR_POSES | OF_RECORDS
    assert {int(number) for number, _, _ in rows} == wanted
    assert [f"{file}::{name}" for _, file, name in rows if name not in defined[file]] == []


def test_every_row_of_the_table_is_read() -> None:
    """A row that the pattern above passes over would be checked by nobody."""
    table = [line for line in (TESTS / "README.md").read_text(encoding="utf-8").splitlines() if line.startswith("| T")]

    assert len(table) == len(ROW.findall("\n".join(table))) > 60


def defined_in(path: Path) -> set[str]:
    tree = ast.parse(path.read_text(encoding="utf-8")) if path.is_file() else ast.Module(body=[], type_ignores=[])
    return {node.name for node in tree.body if isinstance(node, ast.FunctionDef)}


FORBIDDEN = {
    "VideoCapture": "films are read by the one reader that knows every frame's time (T7, T8, T35)",
    "VideoWriter": "films are written where every step is checked (T37, T40)",
    "imshow": "windows hang beside the video library (T35)",
    "namedWindow": "the same",
    "solutions": "the pose library's old interface is gone (T33)",
    "VIDEO": "the pose model's mode that smooths over time (T20)",
    "LIVE_STREAM": "the same",
}


def test_films_windows_and_poses_go_through_one_library_each() -> None:
    """No attribute of such a name is asked for anywhere in the source."""
    found = [
        f"{path.name}:{node.lineno} {node.attr}: {FORBIDDEN[node.attr]}"
        for path in SOURCE.rglob("*.py")
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(node, ast.Attribute) and node.attr in FORBIDDEN
    ]

    assert found == []


def test_one_drawing_library_is_asked_for() -> None:
    """T31: two distributions that both bring cv2 overwrite each other."""
    names = {re.split(r"[^\w-]", line)[0].lower() for line in requires("penult") or ()}

    assert {name for name in names if name.startswith("opencv")} == {"opencv-python"}
