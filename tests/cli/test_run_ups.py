"""run-ups from the command line: what is printed, the files, and which input is refused."""

from __future__ import annotations

import csv
import io
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from typer.testing import CliRunner, Result

from penult.adapters.files.result_file import read_analysis
from penult.adapters.files.result_folder import said_bytes
from penult.cli import build
from penult.core.synthetic.invented import Form, trial
from penult.errors import PenultError
from penult.model.measured import Measured
from penult.model.trial import Said
from penult.outputs.folder.result import analysis_to_json

EVIL = "<b>A&1</b>"


def penult(*arguments: str) -> Result:
    return CliRunner().invoke(build(), list(arguments))


@pytest.fixture
def place(tmp_path: Path) -> Path:
    """Six full approaches and three short ones of one athlete."""
    rng = np.random.default_rng(1)
    for i in range(9):
        kind = "full approach" if i < 6 else "short approach"
        said = Said(date="2026-10-03", session="hall", approach_strides=18 if i < 6 else 10)
        one = trial(rng, Form(athlete=EVIL, kind=kind), said, file=f"{i}.mp4")
        folder = tmp_path / "results" / f"{i}_analysis"
        folder.mkdir(parents=True)
        (folder / "analysis.json").write_text(analysis_to_json(one.analysis), encoding="utf-8")
        (folder / "said.json").write_bytes(said_bytes(one.said))
    return tmp_path / "results"


def test_page_and_tables_are_written_and_the_terminal_says_what_is_known(place: Path, tmp_path: Path) -> None:
    out = tmp_path / "out"

    result = penult("run-ups", str(place), "--out", str(out))

    assert result.exit_code == 0, result.exception
    assert "9 run-ups, full approach, 18 strides" in result.output
    assert "rest on the 6 like run-ups" in " ".join(result.output.split())
    page = (out / "run_ups.html").read_text(encoding="utf-8")
    assert EVIL not in page
    assert "Beyond speed" in page
    rows = list(csv.DictReader(io.StringIO((out / "run_ups.csv").read_text(encoding="utf-8"))))
    assert [r["approach_strides"] for r in rows] == ["18"] * 6 + ["10"] * 3


def test_gates_of_an_unknown_run_are_refused_with_the_runs_there_are(place: Path, tmp_path: Path) -> None:
    gates = tmp_path / "gates.csv"
    gates.write_text("run,place_m,time_s\nother.mp4,-11,1.0\nother.mp4,-6,1.6\n", encoding="utf-8")

    result = penult("run-ups", str(place), "--gates", str(gates), "--out", str(tmp_path / "out"))

    assert isinstance(result.exception, PenultError)
    assert "other.mp4" in str(result.exception)
    assert "0.mp4" in str(result.exception)


@pytest.mark.parametrize("zone", ["6-11", "eleven", "11"])
def test_a_zone_that_is_none_is_refused(place: Path, tmp_path: Path, zone: str) -> None:
    result = penult("run-ups", str(place), "--zone", zone, "--out", str(tmp_path / "out"))

    assert isinstance(result.exception, PenultError)


def test_the_logbook_gives_the_whole_run_up_and_not_its_last_four_contacts_alone(place: Path, tmp_path: Path) -> None:
    """Steering begins at the fifth- or fourth-last contact (Hay 1988): a logbook that forgets those tells another story."""
    folder = with_an_earlier_contact(place)
    logbook = tmp_path / "log.sqlite"
    assert penult("log", "add", str(folder), "--athlete", "A1", "--logbook", str(logbook)).exit_code == 0
    tables = []
    for asked in ([str(folder)], ["--athlete", "A1", "--logbook", str(logbook)]):
        out = tmp_path / f"out_{len(tables)}"
        assert penult("run-ups", *asked, "--out", str(out)).exit_code == 0
        tables.append(list(csv.DictReader(io.StringIO((out / "scatter.csv").read_text(encoding="utf-8")))))

    assert tables[0][0]["contact"] == "-6"
    assert [r["approach_scatter_m"] for r in tables[1]] == [r["approach_scatter_m"] for r in tables[0]]


def with_an_earlier_contact(place: Path) -> Path:
    """Return the folder, each result with a contact -6 two metres before its first."""
    for path in place.glob("*/analysis.json"):
        analysis = read_analysis(path)
        first = min(analysis.contacts, key=lambda c: c.number)
        toe = first.measures["toe_x_m"]
        assert isinstance(toe, Measured)
        earlier = replace(first, number=-6, measures={"toe_x_m": replace(toe, value=1.1 * toe.value - 2.0)})
        path.write_text(analysis_to_json(replace(analysis, contacts=(earlier, *analysis.contacts))), encoding="utf-8")
    return place
