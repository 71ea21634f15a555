"""Which small faults do the tests notice? mutants.py [--rooms ROOM ...] [--most N] [--seed N] [--only TEXT] [--jobs N].

Faults are made one at a time in a copy of the source: a constant a fifth too small or too large, `<` for `<=`, plus for minus,
a term of a minimum or maximum left out. Then the test files that import the faulty module run until the first fails. A fault
that no test notices is listed as survived: either the tests are blind there, or the fault changes nothing that matters (say
which in the test or beside the constant). Without --most every fault is made, which takes hours; the choice of --seed is
always the same.
"""

from __future__ import annotations

import argparse
import ast
import os
import random
import re
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from queue import Queue

ROOT = Path(__file__).resolve().parents[2]
ROOMS = ("measures", "clips", "checks", "uncertainty", "trunk", "joints")
"""Rooms of `core`. The first four are run when none is named."""
FLIPPED = {ast.Lt: "<=", ast.LtE: "<", ast.Gt: ">=", ast.GtE: ">"}
SIGNS = {ast.Add: "-", ast.Sub: "+"}
EXTREMES = {"minimum", "maximum", "min", "max"}


@dataclass(frozen=True)
class Mutant:
    """One fault: file, place in its text, what stands there instead, and in words."""

    file: Path
    line: int
    start: int
    end: int
    text: str
    words: str


class _Text:
    """A module's text, by the places that its syntax tree names."""

    def __init__(self, file: Path) -> None:
        self.file, self.bytes = file, file.read_bytes()
        self.tree = ast.parse(self.bytes)
        self.starts = [0]
        for line in self.bytes.splitlines(keepends=True):
            self.starts.append(self.starts[-1] + len(line))

    def span(self, node: ast.expr) -> tuple[int, int]:
        """Return where a node begins and ends."""
        end = self.starts[(node.end_lineno or 1) - 1] + (node.end_col_offset or 0)
        return self.starts[node.lineno - 1] + node.col_offset, end

    def between(self, left: ast.expr, right: ast.expr) -> tuple[int, int]:
        """Return what stands between two nodes."""
        return self.span(left)[1], self.span(right)[0]

    def mutant(self, node: ast.expr, place: tuple[int, int], text: str) -> Mutant:
        """Return the fault of another text at a place."""
        was = self.bytes[slice(*place)].decode().strip()
        words = f"{was} -> {text.strip()}"
        return Mutant(file=self.file, line=node.lineno, start=place[0], end=place[1], text=text, words=words)


def mutants_of(file: Path) -> Iterator[Mutant]:
    """Yield every fault of a module."""
    text = _Text(file)
    for statement in text.tree.body:
        if isinstance(statement, ast.Assign | ast.AnnAssign) and statement.value is not None:
            yield from _constants(text, statement.value)
    for node in ast.walk(text.tree):
        if isinstance(node, ast.Compare) and len(node.ops) == 1 and type(node.ops[0]) in FLIPPED:
            yield text.mutant(node, text.between(node.left, node.comparators[0]), f" {FLIPPED[type(node.ops[0])]} ")
        elif isinstance(node, ast.BinOp):
            yield from _signs(text, node)
        elif isinstance(node, ast.Call) and len(node.args) == 2 and _name(node.func) in EXTREMES and not node.keywords:
            for kept in node.args:
                yield text.mutant(node, text.span(node), text.bytes[slice(*text.span(kept))].decode())


def _constants(text: _Text, value: ast.expr) -> Iterator[Mutant]:
    for node in ast.walk(value):
        if isinstance(node, ast.Constant) and type(node.value) is float and node.value:
            for factor in (0.8, 1.2):
                yield text.mutant(node, text.span(node), f"{node.value * factor:.6g}")


def _signs(text: _Text, node: ast.BinOp) -> Iterator[Mutant]:
    place = text.between(node.left, node.right)
    bare = text.bytes[slice(*place)].decode().strip() in {"+", "-"}  # no bracket between the two
    if type(node.op) in SIGNS and bare and not _is_text(node):
        yield text.mutant(node, place, f" {SIGNS[type(node.op)]} ")


def _is_text(node: ast.BinOp) -> bool:
    sides = (node.left, node.right)
    return any(
        isinstance(s, ast.JoinedStr) or (isinstance(s, ast.Constant) and isinstance(s.value, str)) for s in sides
    )


def _name(function: ast.expr) -> str:
    if isinstance(function, ast.Attribute):
        return function.attr
    return function.id if isinstance(function, ast.Name) else ""


def tests_of(file: Path) -> list[str]:
    """Return the test files that import a module, those with the fewest other subjects first."""
    name = ".".join(file.relative_to(ROOT / "src").with_suffix("").parts)
    named = re.compile(
        rf"^(from {name} import|import {name}\b|from {name.rpartition('.')[0]} import .*\b{file.stem}\b)", re.MULTILINE
    )
    files = sorted((ROOT / "tests").rglob("test_*.py"))
    subjects = {f: text.count("from penult") for f in files if named.search(text := f.read_text())}
    return [str(f) for f in sorted(subjects, key=lambda f: subjects[f])]


def survives(mutant: Mutant, copies: Queue[Path]) -> bool:
    """Run the tests on a copy of the source with the fault in it."""
    copy = copies.get()
    place = copy / mutant.file.relative_to(ROOT / "src")
    sound = place.read_bytes()
    try:
        place.write_bytes(sound[: mutant.start] + mutant.text.encode() + sound[mutant.end :])
        return passes(copy, tests_of(mutant.file))
    finally:
        place.write_bytes(sound)
        copies.put(copy)


def passes(copy: Path, tests: list[str]) -> bool:
    """Run tests on a copy of the source; also True where there are none."""
    words = ("-x", "-q", "-n0", "-p", "no:cacheprovider", "-m", "not slow and not bench", *tests)
    threads = dict.fromkeys(("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"), "1")
    env = {**os.environ, **threads, "PYTHONPATH": str(copy), "PYTHONDONTWRITEBYTECODE": "1"}
    command = [sys.executable, "-m", "pytest", *words]
    try:
        done = subprocess.run(command, cwd=ROOT, env=env, capture_output=True, check=False, timeout=600)
    except subprocess.TimeoutExpired:  # a fault that never ends is noticed
        return False
    return not tests or done.returncode == 0


def main() -> None:
    """Make the faults and print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--rooms", nargs="+", choices=ROOMS, default=list(ROOMS)[:4])
    parser.add_argument("--most", type=int, default=0, help="faults a room; 0 for all")
    parser.add_argument("--seed", type=int, default=18)
    parser.add_argument("--only", default="", help="only faults whose file and words contain this")
    parser.add_argument("--jobs", type=int, default=os.cpu_count() or 1, help="so many at once")
    said = parser.parse_args()
    table = []
    with tempfile.TemporaryDirectory() as folder, ThreadPoolExecutor(said.jobs) as pool:
        copies: Queue[Path] = Queue()
        for number in range(said.jobs):
            shutil.copytree(ROOT / "src" / "penult", Path(folder) / str(number) / "penult")
            copies.put(Path(folder) / str(number))
        for room in said.rooms:
            files = sorted((ROOT / "src" / "penult" / "core" / room).glob("*.py"))
            faults = [m for f in files for m in mutants_of(f) if said.only in f"{f.name}:{m.line} {m.words}"]
            if said.most and said.most < len(faults):
                faults = random.Random(said.seed).sample(faults, said.most)
            for sound in pool.map(lambda f: passes(Path(folder) / "0", tests_of(f)), {m.file: 0 for m in faults}):
                if not sound:
                    sys.exit(f"the tests of {room} fail without a fault: there is nothing to find out")
            left = 0
            for m, blind in zip(faults, pool.map(lambda m: survives(m, copies), faults), strict=True):
                if blind:
                    left += 1
                    print(f"survived  {room}/{m.file.name}:{m.line}  {m.words}", flush=True)
            table.append((room, len(faults), len(faults) - left))
    print(f"\n{'room':12s} made  noticed")
    for room, made, noticed in table:
        print(f"{room:12s} {made:4d}  {noticed:4d} ({noticed / max(made, 1):.0%})")


if __name__ == "__main__":
    main()
