"""`penult markers`, `calibrate`, `check`, `lens`: what is printed, and what is said of bad input."""

from __future__ import annotations

from pathlib import Path

import pytest

from penult.adapters.files.lane_file import read_lane
from penult.cli import main, run
from penult.core.lane.camera import position_m
from penult.core.lane.fit import fit_lane

HEAD = "name,pixel_x,pixel_y,x_m,y_m,z_m\n"
TYPED = [
    f"--marker={number}={x},{y},0"
    for number, (x, y) in enumerate((x, y) for x in (-6.5, -3.5, -0.25) for y in (0.4, 1.3))
]


def ended(arguments: list[str]) -> int:
    with pytest.raises(SystemExit) as left:
        run(arguments)
    return int(left.value.code or 0)


@pytest.fixture
def still(samples: Path) -> str:
    return str(samples / "mat_one_240/still.jpg")


def test_markers_calibrate_and_check_from_start_to_end(
    still: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    lane = str(tmp_path / "lane3.json")

    assert ended(["calibrate", still, "-o", lane, "--side", "0.3", *TYPED]) == 0
    assert ended(["check", lane]) == 0

    out = capsys.readouterr().out
    assert "24 marks" in out
    assert "step length +- cm" in out
    assert (tmp_path / "lane3_check.jpg").exists()
    assert max(len(line) for line in out.splitlines() if str(tmp_path) not in line) <= 80


@pytest.mark.parametrize(
    ("rows", "said"),
    [
        ("a,10,10,0,0,0\nb,x5,30,1,0,0\n", "line 3: pixel_x is 'x5'; a number is wanted"),
        ("a,1,700,0,0,0\nb,200,700,1,0,0\nc,400,600,2,1,0\n", "3 marks; at least 4"),
        ("".join(f"m{i},{100 * i + 50},700,{i},0,0\n" for i in range(5)), "stand in one line"),
        ("a,1,700,0,0,0\nb,200,600,1,1,0\nc,300,600,2,1,0\nd,400,700,3,0,0\ne,5,710,0,0,0\n", "the same place"),
        ("a,1,700,0,0,0\nb,200,600,1,1,0\nc,300,600,2,1,0\nd,4000,700,3,0,0\n", "outside the 1920 x 1080 picture"),
    ],
    ids=["text", "three", "line", "twice", "outside"],
)
def test_a_bad_table_is_told_which_and_what(
    rows: str, said: str, still: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    table = tmp_path / "marks.csv"
    table.write_text(HEAD + rows)

    assert ended(["calibrate", still, "--marks", str(table), "-o", str(tmp_path / "lane.json")]) == 2

    told = capsys.readouterr().err
    assert said in told
    assert "next:" in told
    assert not (tmp_path / "lane.json").exists()


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ([], "marker 0, 1, 2, 3, 4, 5"),
        (["--marker", "0=-6.5,a,0"], "'a' is not a number of metres"),
        (["--marker", "0=1,2"], "three numbers are wanted"),
        (["--marker", "0=1,1,0", "--marker", "0=2,1,0"], "given twice"),
        (["--marker", "40=1,1,0"], "none of the markers"),
        (["--marker", "0=1,1,0", "--places", "p.csv"], "more than one way"),
        ([*TYPED, "--distance", "twelve"], "--distance cannot be 'twelve'"),
        ([*TYPED, "--distance", "0,3"], "0.5 to 300 metres"),
        ([*TYPED, "--side", "15"], "--side cannot be '15'"),
        (TYPED, "look 29.8 cm large from where they stand, but 15 cm was given"),
        ([*(word.replace("-6.5", "-8.5") for word in TYPED), "--side", "0.2"], "do not fit together"),
    ],
    ids=[
        "none typed",
        "text",
        "two numbers",
        "twice",
        "not there",
        "two ways",
        "distance text",
        "too near",
        "centimetres",
        "side",
        "places",
    ],
)
def test_a_bad_place_is_told_which_and_what(
    words: list[str], said: str, still: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert ended(["calibrate", still, "-o", str(tmp_path / "lane.json"), *words]) == 2
    assert said in capsys.readouterr().err


def test_a_clip_of_another_picture_size_is_refused_with_both_sizes(
    samples: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    lane = (
        (samples / "full_240/lane.json")
        .read_text()
        .replace("1920", "3840")
        .replace("1080", "2160")
        .replace('"still.jpg"', "null")
    )
    (tmp_path / "lane.json").write_text(lane)

    assert ended(["check", str(tmp_path / "lane.json"), str(samples / "full_240/clip.mp4")]) == 2

    told = capsys.readouterr().err
    assert "3840 x 2160" in told
    assert "1920 x 1080" in told


@pytest.mark.parametrize("board", ["9", "9x", "axb", "1x6"])
def test_a_board_that_cannot_be_read_is_told(board: str, still: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert ended(["lens", still, "--board", board]) == 2
    assert "inner corners" in capsys.readouterr().err


CHESSBOARDS = sorted(map(str, Path("/usr/share/doc/opencv-doc/examples/data").glob("left[01]*.jpg")))


@pytest.mark.skipif(len(CHESSBOARDS) < 12, reason="Debian's opencv-doc is not installed")
def test_a_lens_says_what_to_do_with_it(
    still: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """From OpenCV's chessboards with the default board, as the help says it; a lens of another size is refused by name."""
    monkeypatch.chdir(tmp_path)

    assert ended(["lens", *CHESSBOARDS]) == 0

    out = capsys.readouterr().out
    assert "13 views" in out
    assert "next: penult calibrate ... --lens lens.json" in out
    assert ended(["calibrate", still, "-o", "lane.json", "--side", "0.3", *TYPED, "--lens", "lens.json"]) == 2
    assert "lens.json does not fit the picture" in capsys.readouterr().err


def test_one_degree_is_no_degrees(samples: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "lane.json").write_text((samples / "mat_two_240/lane.json").read_text().replace('"still.jpg"', "null"))

    assert ended(["check", str(tmp_path / "lane.json")]) == 0

    assert "turned 1 degree from square" in " ".join(capsys.readouterr().out.split())


def test_sheets_say_their_size_and_an_unknown_paper_is_refused(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    with pytest.raises(SystemExit):
        main(["markers", "-o", str(tmp_path / "m.pdf"), "--count", "2", "--paper", "letter"])
    assert "15 cm" in capsys.readouterr().out

    assert ended(["markers", "-o", str(tmp_path / "n.pdf"), "--paper", "napkin"]) == 2
    assert "a4, letter" in capsys.readouterr().err


@pytest.mark.parametrize(
    "words", [["--places", "calibration/places.csv", "--distance", "12"], ["--marks", "calibration/marks.csv"]]
)
def test_the_tables_that_the_instructions_name_calibrate_the_sample(
    words: list[str], samples: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """As calibration/README.md says it, from the root of the sources; the film's own camera stood 12.0 m away, 1.2 m up."""
    monkeypatch.chdir(samples.parent)
    lane = tmp_path / "a.json"

    assert ended(["calibrate", "samples/full_240/still.jpg", "-o", str(lane), *words, "--quiet"]) == 0

    place = position_m(fit_lane(read_lane(lane)).camera)
    assert place == pytest.approx((-2.6, 1.2, 12.0), abs=0.15)
    assert " ".join(words) in " ".join((samples.parent / "calibration/README.md").read_text().split())
