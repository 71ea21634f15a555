"""compare, season, log and session from the command line: what is printed, where files go, which status bad input gets."""

from __future__ import annotations

import csv
import io
import sqlite3
import zipfile
from collections.abc import Iterator, Sequence
from contextlib import closing
from pathlib import Path

import numpy as np
import pytest
from typer.testing import CliRunner, Result

from penult.adapters.files.result_folder import said_bytes
from penult.adapters.logbook.book import opened
from penult.cli import build
from penult.core.synthetic.invented import Form, trial
from penult.errors import PenultError
from penult.model.analysis import Mat
from penult.model.trial import Said, Trial
from penult.outputs.folder.result import analysis_to_json

EVIL = "<b>A&1</b>\u202e"


@pytest.fixture(autouse=True)
def _own_places(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """Keep logbook, cache and output of every test to itself."""
    monkeypatch.setenv("PENULT_LOGBOOK", str(tmp_path / "book" / "log.sqlite"))
    monkeypatch.setenv("PENULT_CACHE", str(tmp_path / "cache"))
    monkeypatch.chdir(tmp_path)
    return


def penult(*arguments: str, typed: str = "") -> Result:
    return CliRunner().invoke(build(), list(arguments), input=typed)


def failure(result: Result) -> PenultError:
    """Return our error that a command ended with."""
    assert isinstance(result.exception, PenultError), result.exception
    return result.exception


def clips(
    n: int, kind: str, *, athlete: str = "A1", date: str = "2026-10-03", seed: int = 1, strides: int = 18
) -> list[Trial]:
    rng = np.random.default_rng(seed)
    form = Form(
        athlete=athlete,
        kind=kind,
        mats=(Mat(number=-1, thickness_m=0.05),) if "mat" in kind else (),
        drop_m=0.01 if "mat" in kind else 0.05,
    )
    said = Said(date=date, session="hall", approach_strides=strides)
    return [trial(rng, form, said, file=f"{kind}_{i}.mp4") for i in range(n)]


def folders(tmp_path: Path, trials: Sequence[Trial]) -> Path:
    """Write result folders as `analyse` and a session leave them."""
    for i, one in enumerate(trials):
        folder = tmp_path / "results" / f"{i}_{one.analysis.run.kind[:4].strip()}_analysis"
        folder.mkdir(parents=True)
        (folder / "analysis.json").write_text(analysis_to_json(one.analysis), encoding="utf-8")
        (folder / "said.json").write_bytes(said_bytes(one.said))
        assert one.hip_path is not None
        rows = zip(one.hip_path.time_s, one.hip_path.x_m, one.hip_path.height_m, strict=True)
        text = "time_s,x_m,hip_height_m\n" + "".join(f"{t},{x},{h}\n" for t, x, h in rows)
        (folder / "hip_path.csv").write_text(text, encoding="utf-8")
    return tmp_path / "results"


def test_folders_are_compared_by_kind(tmp_path: Path) -> None:
    """Page and tables are written where asked, the terminal says the headline verdict."""
    place = folders(tmp_path, [*clips(4, "mat drill"), *clips(4, "full approach", seed=2)])

    result = penult("compare", str(place), "--out", "out")

    assert result.exit_code == 0, result.output
    assert "hip drop, penultimate" in result.output
    assert "clearly different" in result.output
    assert "The mats differ" in result.output
    page = (tmp_path / "out" / "comparison.html").read_text(encoding="utf-8")
    assert 'class="curve second"' in page
    rows = list(csv.DictReader(io.StringIO((tmp_path / "out" / "comparison.csv").read_text(encoding="utf-8"))))
    assert {r["verdict"] for r in rows} >= {"clearly different"}


def test_no_table_or_page_that_may_be_sent_says_where_things_lie_on_this_computer(tmp_path: Path) -> None:
    place = folders(tmp_path, [*clips(3, "mat drill"), *clips(3, "full approach", seed=2)])
    assert penult("log", "add", str(place)).exit_code == 0
    assert penult("compare", str(place), "--out", "out").exit_code == 0
    assert penult("compare", "--athlete", "A1", "--by", "kind", "--out", "out2").exit_code == 0
    assert penult("season", "--athlete", "A1", "--out", "out3").exit_code == 0

    for page in (p for folder in ("out", "out2", "out3") for p in (tmp_path / folder).iterdir()):
        texts = [page.read_bytes()]
        if page.suffix == ".xlsx":  # a zip: what it says stands in its parts
            with zipfile.ZipFile(page) as book:
                texts = [book.read(name) for name in book.namelist()]
        assert not any(str(tmp_path).encode() in text for text in texts), page
    rows = list(csv.DictReader(io.StringIO((tmp_path / "out" / "comparison_clips.csv").read_text(encoding="utf-8"))))
    assert rows[0]["result_folder"] == "0_mat_analysis"


def test_folders_and_logbook_give_the_same_numbers(tmp_path: Path) -> None:
    """The way over the logbook changes no digit of the table, the result folder's column aside."""
    place = folders(tmp_path, [*clips(4, "mat drill"), *clips(4, "full approach", seed=2)])
    assert penult("log", "add", str(place)).exit_code == 0

    assert penult("compare", str(place), "--out", "one").exit_code == 0
    result = penult(
        "compare", "--athlete", "a1", "--first", "kind=mat drill", "--second", "kind=full approach", "--out", "two"
    )

    assert result.exit_code == 0, result.output
    assert (tmp_path / "one" / "comparison.csv").read_bytes() == (tmp_path / "two" / "comparison.csv").read_bytes()


def test_one_group_from_folders_one_from_the_logbook(tmp_path: Path) -> None:
    """Today's clips against the last month."""
    with opened(tmp_path / "old.sqlite", create=True) as log:
        log.put_trials(clips(5, "full approach", date="2026-09-01", seed=7))
    place = folders(tmp_path, clips(4, "full approach"))

    result = penult("compare", "--first", "to=2026-09-30", "--second", str(place), "--logbook", "old.sqlite")

    assert result.exit_code == 0, result.output
    assert "5 clips) against results (4 clips)" in result.output


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("compare", "nowhere"), "nowhere"),
        (("compare", "--athlete", "A1"), "no logbook"),
        (("compare", "--first", "kind=x"), "both --first and --second"),
        (("compare", "--first", "colour=red", "--second", "kind=x"), "key=value"),
        (("compare", "--first", "strides=many", "--second", "kind=x"), "12-15"),
        (("compare", ".", "--by", "mood"), "kind, athlete"),
        (("season", "--athlete", "A1"), "no logbook"),
        (("season", "--athlete", "A1", "--since", "yesterday"), "2026-10-03"),
        (("log", "show"), "no logbook"),
        (("log", "athlete", "A1", "--height", "17"), "0.8 to 2.5"),
        (("log", "import", "."), "not an exported logbook"),
        (("session", "."), "lane file"),
    ],
)
def test_bad_input_is_named_with_status_2(arguments: tuple[str, ...], words: str) -> None:
    """What, where, got and wanted; never a traceback."""
    error = failure(penult(*arguments))

    assert error.exit_status == 2
    assert words in str(error)


def test_an_unknown_athlete_a_foreign_and_a_damaged_logbook_are_named(tmp_path: Path) -> None:
    """Three logbooks that cannot answer, three different sentences."""
    with opened(tmp_path / "log.sqlite", create=True) as log:
        log.put_trials(clips(3, "full approach"))
    assert "known: A1" in str(failure(penult("season", "--athlete", "A11", "--logbook", "log.sqlite")))
    with closing(sqlite3.connect(tmp_path / "other.sqlite")) as other:
        other.execute("CREATE TABLE t (a)")
        other.commit()
    assert "not a logbook" in str(failure(penult("compare", "--athlete", "A1", "--logbook", "other.sqlite")))
    (tmp_path / "torn.sqlite").write_bytes((tmp_path / "log.sqlite").read_bytes()[:9000])
    assert "damaged" in str(failure(penult("season", "--athlete", "A1", "--logbook", "torn.sqlite")))


def test_three_kinds_stand_side_by_side_and_one_alone_is_refused(tmp_path: Path) -> None:
    """Three kinds: all are named with their number of clips, page and tables are there. One: what there is is said."""
    place = folders(tmp_path, [*clips(2, "a"), *clips(2, "b", seed=2), *clips(1, "c", seed=3)])
    done = penult("compare", str(place), "--out", "three")

    assert done.exit_code == 0
    assert all(f"{name} (" in done.output for name in "abc")
    assert sorted(p.name for p in (tmp_path / "three").iterdir()) == [
        "side_by_side.csv", "side_by_side.html", "side_by_side.xlsx", "side_by_side_clips.csv",
    ]  # fmt: skip
    alone = str(failure(penult("compare", str(place), "--by", "athlete")))
    assert "one group by athlete" in alone
    assert "5 clips" in alone


def test_what_matters_is_set_on_the_command_line_or_beside_the_logbook(tmp_path: Path) -> None:
    """The sentence says what a difference is to it, in the coach's unit; a file that a spreadsheet saved counts as well."""
    place = folders(tmp_path, [*clips(4, "mat drill"), *clips(4, "full approach", seed=2)])
    typed = penult("compare", str(place), "--matters", "hip drop=40 cm").output
    (tmp_path / "book").mkdir(exist_ok=True)
    (tmp_path / "book" / "matters.csv").write_bytes("measure;change\r\nhip drop;40,0 cm\r\n".encode("utf-16"))
    kept = penult("compare", str(place), "--out", "again").output

    for text in (typed, kept):
        assert "certainly smaller than what matters (40 cm)" in " ".join(text.split())
    (tmp_path / "book" / "matters.csv").write_text("measure,change\nwind,3\n", encoding="utf-8")
    assert "wind" in str(failure(penult("compare", str(place), "--out", "third")))
    assert "such as 'hip drop=1 cm'" in str(failure(penult("compare", str(place), "--matters", "hip drop")))


def test_weeks_that_are_none_are_refused(tmp_path: Path) -> None:
    place = folders(tmp_path, clips(2, "a"))
    assert "weeks from 1 to 53" in str(failure(penult("compare", str(place), "--weeks", "40-60")))


def test_a_foreign_file_in_the_output_folder_is_left_alone(tmp_path: Path) -> None:
    """Our own pages are replaced, anybody else's never."""
    place = folders(tmp_path, [*clips(3, "mat drill"), *clips(3, "full approach", seed=2)])
    assert penult("compare", str(place)).exit_code == 0
    assert penult("compare", str(place)).exit_code == 0
    (tmp_path / "comparison" / "comparison.html").write_text("<p>my thesis</p>", encoding="utf-8")
    assert "left as it is" in str(failure(penult("compare", str(place))))
    assert (tmp_path / "comparison" / "comparison.html").read_text(encoding="utf-8") == "<p>my thesis</p>"


def test_the_logbook_from_the_command_line(tmp_path: Path) -> None:
    """add, athlete, tape, note, show, export, import, check, forget; each says where the logbook is."""
    place = folders(tmp_path, clips(3, "full approach"))
    for words in (
        ("log", "add", str(place), "--strides", "18"),
        ("log", "athlete", "A1", "--sex", "female", "--height", "1.71", "--leg-length", "0.9"),
        ("log", "tape", "A1", "13.2", "--event", "four bounds and a jump", "--date", "2026-10-04"),
        ("log", "note", "A1", "flat at last", "--date", "2026-10-04"),
        ("log", "show"),
        ("log", "export", "out"),
        ("log", "import", "out", "--logbook", "second.sqlite"),
        ("log", "check", "--logbook", "second.sqlite"),
    ):
        result = penult(*words)
        assert result.exit_code == 0, result.output
        assert "logbook: " in result.output
    season = penult("season", "--athlete", "A1", "--logbook", "out")
    assert season.exit_code == 0, season.output
    assert "four bounds and a jump" in (tmp_path / "season" / "season.html").read_text(encoding="utf-8")

    assert penult("log", "forget", "A1", "--logbook", "second.sqlite", typed="n\n").exit_code == 1
    assert "A1" in penult("log", "show", "--logbook", "second.sqlite").output
    result = penult("log", "forget", "A1", "--yes")
    assert result.exit_code == 0, result.output
    assert "stands in 0 texts" in result.output
    assert not list(place.iterdir())
    assert "A1" not in penult("log", "show").output


def test_forgetting_leaves_results_of_others_alone(tmp_path: Path) -> None:
    """A folder that was named by mistake, of somebody else, stays and is listed."""
    place = folders(tmp_path, [*clips(1, "full approach"), *clips(1, "mat drill", athlete="A2", seed=2)])
    assert penult("log", "add", str(place)).exit_code == 0

    result = penult("log", "forget", "A1", "--yes", "--results", str(place))

    assert result.exit_code == 0, result.output
    assert "somebody else" in result.output
    assert len(list(place.iterdir())) == 1


def test_names_with_markup_reach_terminal_and_page_as_text(tmp_path: Path) -> None:
    """Also as a label: a season of somebody called like a tag."""
    with opened(tmp_path / "log.sqlite", create=True) as log:
        log.put_trials(clips(4, "full approach", athlete=EVIL))

    result = penult("season", "--athlete", EVIL, "--logbook", "log.sqlite")

    assert result.exit_code == 0, result.output
    assert "<b>A&1</b>:" in result.output
    page = (tmp_path / "season" / "season.html").read_text(encoding="utf-8")
    assert "<b>A&1" not in page
    assert "\u202e" not in page + result.output


def test_the_demo_season_answers(samples: Path) -> None:
    """The command of the README: two months of an invented athlete, what the drill does to the full approach."""
    logbook = samples / "season" / "logbook"
    season = penult("season", "--athlete", "A1", "--logbook", str(logbook))
    assert season.exit_code == 0, season.output
    assert "on 9 days" in season.output

    compared = penult(
        "compare",
        "--logbook",
        str(logbook),
        "--athlete",
        "A1",
        "--first",
        "kind=mat drill",
        "--second",
        "kind=full approach",
    )
    assert compared.exit_code == 0, compared.output
    page = Path("comparison/comparison.html").read_text(encoding="utf-8")
    assert page.count("data:image/jpeg;base64,") == 8
    assert len(page) < 3_000_000


def test_two_results_alone_are_one_against_the_other(tmp_path: Path) -> None:
    """Two runs of one kind: not one group to be split, but one answer, with what the measurement supports."""
    place = folders(tmp_path, clips(2, "full approach"))
    runs = sorted(str(p) for p in place.iterdir())
    text = " ".join(penult("compare", *runs).output.split())

    assert "(1 clip) against" in text
    assert "hip drop" in text
    assert "not known yet" in text or "no difference seen" in text
    assert "one group by kind" in str(failure(penult("compare", *runs, "--by", "kind")))


def test_the_page_of_two_runs_leads_to_their_film_where_there_is_one(tmp_path: Path) -> None:
    place = folders(tmp_path, clips(2, "full approach"))
    runs = sorted(str(p) for p in place.iterdir())
    assert penult("compare", *runs, "--out", "pair").exit_code == 0
    page = tmp_path / "pair" / "comparison.html"
    assert "penult film FIRST SECOND" in page.read_text(encoding="utf-8")
    (tmp_path / "pair" / "pair.mp4").write_bytes(b"")
    assert penult("compare", *runs, "--out", "pair").exit_code == 0
    assert '<a href="pair.mp4">' in page.read_text(encoding="utf-8")
