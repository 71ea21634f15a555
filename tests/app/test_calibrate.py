"""Lane files from markers and tables, the check, and the lens: against the samples' true camera and OpenCV's pictures."""

from __future__ import annotations

import json
import shutil
import subprocess
from dataclasses import replace
from pathlib import Path

import av
import cv2
import numpy as np
import pytest

from penult.adapters.files.lane_file import read_lane, read_still, write_lane
from penult.adapters.files.lens_file import read_lens
from penult.adapters.pictures.chessboard import LensFit
from penult.adapters.pictures.markers import find_markers
from penult.app.calibrate import calibrate_from_csv, calibrate_from_markers, picture_of, write_markers
from penult.app.check import check_lane
from penult.app.lanes import LaneFacts
from penult.app.lens import into_lane, lens_from, write_lens
from penult.core.lane.camera import at_depth, project
from penult.core.lane.fit import fit_lane
from penult.core.lane.trust_map import advice, expected_map
from penult.errors import CalibrationError, OutputError
from penult.model.calibration import Lens
from penult.model.marker import MarkerPlace
from penult.outputs.pictures.ink import RUNWAY, SUPPORT

CHESSBOARDS = sorted(Path("/usr/share/doc/opencv-doc/examples/data").glob("left[0-1][0-9].jpg"))
needs_chessboards = pytest.mark.skipif(len(CHESSBOARDS) < 10, reason="needs Debian's opencv-doc")
SIDE_M = 0.3
PLACES = [
    MarkerPlace(number=2 * i + j, centre_m=(x, y, 0.0), side_m=SIDE_M)
    for i, x in enumerate((-6.5, -3.5, -0.25))
    for j, y in enumerate((0.4, 1.3))
]
"""Of the sample film with one mat."""


def test_markers_alone_give_the_true_camera_of_a_sample(samples: Path, tmp_path: Path) -> None:
    """The run plane of the fitted camera is that of the film's own camera, to half a centimetre, everywhere in it."""
    done = calibrate_from_markers(samples / "mat_one_240/still.jpg", PLACES, tmp_path / "lane3.json", LaneFacts())

    truth = json.loads((samples / "mat_one_240/truth.json").read_text())["camera"]
    x, y = np.meshgrid(np.linspace(-7.0, 1.5, 9), [0.0, 1.0, 2.0])
    places = np.stack([x, y, np.zeros_like(x)], axis=-1).reshape(-1, 3)
    seen = places @ np.array(truth["R"]).T + np.ravel(truth["t"])
    pixels = (seen @ np.array(truth["K"]).T)[:, :2] / seen[:, 2:]
    read_m = at_depth(done.fit.camera, pixels)
    assert np.abs(read_m - places[:, :2]).max() < 0.005
    again = read_lane(tmp_path / "lane3.json")
    assert again.still == "lane3.jpg"
    assert read_still(tmp_path / "lane3.json", again) is not None
    assert at_depth(fit_lane(again).camera, pixels) == pytest.approx(read_m, abs=5e-4)


def test_a_table_of_places_serves_as_well_and_its_faults_are_named(samples: Path, tmp_path: Path) -> None:
    table = tmp_path / "places.csv"
    rows = [f"{p.number},{p.centre_m[0]},{p.centre_m[1]},0,0.3" for p in PLACES]
    table.write_text("marker,x_m,y_m,z_m,side_m\n" + "\n".join(rows) + "\n")
    still = samples / "mat_one_240/still.jpg"

    assert len(calibrate_from_markers(still, table, tmp_path / "lane.json", LaneFacts()).fit.residuals) == 24

    table.write_text("marker,x_m,y_m,z_m\n0,-6.5,far,0\n")
    with pytest.raises(CalibrationError) as caught:
        calibrate_from_markers(still, table, tmp_path / "lane.json", LaneFacts())
    assert "line 2: y_m is 'far'" in str(caught.value)


def test_squares_of_another_size_than_given_are_told_in_centimetres(samples: Path, tmp_path: Path) -> None:
    """The squares of the samples are 30 cm: given as 27, the lane is right all the same; as 21, the file is refused."""
    still, out = samples / "mat_one_240/still.jpg", tmp_path / "lane.json"

    near = calibrate_from_markers(still, [replace(p, side_m=0.27) for p in PLACES], out, LaneFacts())

    said = " ".join(near.notes)
    assert "27 cm was given" in said
    assert float(said.split("look ")[1].split(" cm")[0]) == pytest.approx(30.0, abs=0.4)
    assert not any(r.disagrees for r in near.fit.residuals)
    with pytest.raises(CalibrationError, match="21 cm was given") as caught:
        calibrate_from_markers(still, [replace(p, side_m=0.21) for p in PLACES], tmp_path / "b.json", LaneFacts())
    assert "--side 0.30" in caught.value.next_step


def test_a_mistyped_marker_is_named(samples: Path, tmp_path: Path) -> None:
    wrong = [replace(p, centre_m=(p.centre_m[0] - 0.5, *p.centre_m[1:])) if p.number == 2 else p for p in PLACES]

    done = calibrate_from_markers(samples / "mat_one_240/still.jpg", wrong, tmp_path / "lane.json", LaneFacts())

    assert {r.name[:8] for r in done.fit.residuals if r.disagrees} == {"marker 2"}
    assert any("marker 2" in line for line in advice(done.fit, expected_map(done.fit)))


def test_a_clip_gives_its_median_as_still(samples: Path) -> None:
    """The runner is nowhere in the median: it is nearly the picture of the empty runway."""
    image = picture_of(samples / "mat_one_240/clip.mp4").astype(float)
    empty = picture_of(samples / "mat_one_240/still.jpg").astype(float)

    runway = np.s_[300:700, 900:1250]  # where no poles and markers stood in the still
    assert np.abs(image[runway] - empty[runway]).mean() < 12.0


def test_a_table_of_marks_gives_the_lane_they_came_from(samples: Path, tmp_path: Path) -> None:
    lane = read_lane(samples / "full_240/lane.json")
    lines = [",".join(map(str, (m.name, *m.pixel_px, *m.runway_m))) for m in lane.marks]
    table = tmp_path / "marks.csv"
    table.write_text("name,pixel_x,pixel_y,x_m,y_m,z_m\n" + "\n".join(lines) + "\n")

    done = calibrate_from_csv(samples / "full_240/still.jpg", table, tmp_path / "lane.json", LaneFacts())

    assert done.fit.lane.marks == lane.marks


def test_what_is_no_lane_file_is_never_replaced(samples: Path, tmp_path: Path) -> None:
    out = tmp_path / "lane3.json"
    out.write_text("my notes")
    still = samples / "mat_one_240/still.jpg"
    with pytest.raises(OutputError, match="left as it is"):
        calibrate_from_markers(still, PLACES, out, LaneFacts())
    assert out.read_text() == "my notes"

    (tmp_path / "other.jpg").write_bytes(b"a photograph")
    with pytest.raises(OutputError, match="belongs to no lane file"):
        calibrate_from_markers(still, PLACES, tmp_path / "other.json", LaneFacts())
    assert (tmp_path / "other.jpg").read_bytes() == b"a photograph"


def test_a_still_in_its_place_already_is_kept_byte_for_byte(samples: Path, tmp_path: Path) -> None:
    still = tmp_path / "lane3.jpg"
    shutil.copy(samples / "mat_one_240/still.jpg", still)
    before = still.read_bytes()

    calibrate_from_markers(still, PLACES, tmp_path / "lane3.json", LaneFacts())

    assert still.read_bytes() == before


def test_marks_at_one_height_and_close_together_are_told(samples: Path, tmp_path: Path) -> None:
    low = [p for p in PLACES if p.centre_m[1] < 1.0]
    done = calibrate_from_markers(samples / "mat_one_240/still.jpg", low[:2], tmp_path / "lane.json", LaneFacts())

    said = " ".join(advice(done.fit, expected_map(done.fit), 60.0))

    for words in ("at one height", "The marks span", "How far away", "60 frames a second"):
        assert words in said
    # each end of a contact falls evenly within a frame: SD 1 / (60 sqrt 6) s, doubled
    assert "14 ms" in said


def test_marks_close_together_leave_far_steps_uncertain(samples: Path) -> None:
    """Steps 3 m beyond a metre of marks are several times less certain than with marks all along."""
    lane = read_lane(samples / "full_240/lane.json")
    near = tuple(m for m in lane.marks if m.runway_m[0] > -2.5 and m.runway_m[0] < 0.5)

    along = {s.x_m: s.step_u95_m for s in expected_map(fit_lane(lane))}
    close = {s.x_m: s.step_u95_m for s in expected_map(fit_lane(replace(lane, marks=near)))}

    assert close[-5.0] > 1.5 * along[-5.0]


def test_check_draws_the_grid_and_knows_the_place_of_a_clip(samples: Path, tmp_path: Path) -> None:
    for name in ("lane.json", "still.jpg"):
        shutil.copy(samples / "full_240" / name, tmp_path)

    done = check_lane(tmp_path / "lane.json", samples / "full_240/clip.mp4")

    assert done.place == "same"
    assert done.picture is not None
    drawn, still = picture_of(done.picture).astype(int), picture_of(tmp_path / "still.jpg").astype(int)
    changed = np.abs(drawn - still).max(axis=2) > 40
    assert 0.01 < changed.mean() < 0.1
    fit = fit_lane(read_lane(tmp_path / "lane.json"))
    ahead, low = (np.round(project(fit.camera, place)).astype(int) for place in ((-0.02, 1.5, 0.0), (-3.5, 0.0, 0.61)))
    assert (abs(drawn[ahead[1], ahead[0] - 4 : ahead[0] + 12] - SUPPORT).max(axis=1) < 40).any()  # the line at 0
    assert (abs(drawn[low[1] - 4 : low[1] + 5, low[0]] - RUNWAY).max(axis=1) < 40).any()  # the near edge, 0.61 m aside


@needs_chessboards
def test_the_lens_of_opencvs_chessboards_is_the_published_one(tmp_path: Path) -> None:
    """OpenCV's tutorial on camera calibration: fx 532, fy 532, cx 342, cy 234 px; k1 -0.28 (from memory)."""
    found = lens_from(CHESSBOARDS, (9, 6))

    lens = found.lens
    assert (lens.fx_px, lens.fy_px) == pytest.approx((532.0, 532.0), rel=0.01)
    assert (lens.cx_px, lens.cy_px) == pytest.approx((342.0, 234.0), abs=3.0)
    assert lens.k1 == pytest.approx(-0.28, abs=0.02)
    assert found.rms_px < 0.5
    write_lens(found, tmp_path / "lens.json")
    assert read_lens(tmp_path / "lens.json") == (lens, (640, 480))


LENS = Lens(fx_px=620.0, fy_px=620.0, cx_px=325.0, cy_px=236.0, k1=-0.2, k2=0.03)
LENS_SIZE_PX = (640, 480)


def board_clip(place: Path) -> Path:
    """Film a drawn board of 10 by 7 squares of 4 cm, moved by hand before a lens that is known exactly (OpenCV's model)."""
    cells = 255 * ((np.add.outer(np.arange(7), np.arange(10))) % 2).astype(np.uint8)
    board = np.pad(np.kron(cells, np.ones((40, 40), np.uint8)), 40, constant_values=255)  # a millimetre a pixel
    matrix = np.array([[LENS.fx_px, 0.0, LENS.cx_px], [0.0, LENS.fy_px, LENS.cy_px], [0.0, 0.0, 1.0]])
    pixels = np.stack(np.meshgrid(np.arange(640.0), np.arange(480.0)), axis=-1).reshape(-1, 1, 2)
    rays = cv2.undistortPoints(pixels, matrix, np.array([LENS.k1, LENS.k2, 0.0, 0.0]))[:, 0]
    rays = np.column_stack([rays, np.ones(len(rays))])
    with av.open(str(place), "w") as container:
        stream = container.add_stream("libx264", rate=30, options={"crf": "12"})
        stream.width, stream.height = LENS_SIZE_PX
        for i in range(40):
            a = 2.0 * np.pi * i / 40.0
            turn = cv2.Rodrigues(np.array([0.5 * np.sin(2 * a), 0.5 * np.cos(a), 0.2 * np.sin(a)]))[0]
            middle = np.array([120.0 * np.sin(a), 90.0 * np.cos(3 * a), 560.0 + 60.0 * np.cos(2 * a)])
            to_board = np.linalg.inv(np.column_stack([turn[:, :2], middle - turn @ (240.0, 180.0, 0.0)]))
            at = rays @ to_board.T
            at = (at[:, :2] / at[:, 2:]).astype(np.float32).reshape(480, 640, 2)
            grey = cv2.remap(board, at[..., 0], at[..., 1], cv2.INTER_LINEAR, borderValue=90)
            frame = av.VideoFrame.from_ndarray(np.repeat(grey[..., None], 3, axis=2), format="rgb24")
            container.mux(stream.encode(frame))
        container.mux(stream.encode())
    return place


def test_a_clip_of_a_moved_board_gives_the_lens_that_filmed_it(tmp_path: Path) -> None:
    """Focal length within half a percent, principal point within 3 px, distortion within 0.02; then into a lane file."""
    found = lens_from([board_clip(tmp_path / "board.mp4")], (9, 6))

    assert found.image_size_px == LENS_SIZE_PX
    assert found.views >= 12
    assert (found.lens.fx_px, found.lens.fy_px) == pytest.approx((620.0, 620.0), rel=0.005)
    assert (found.lens.cx_px, found.lens.cy_px) == pytest.approx((325.0, 236.0), abs=3.0)
    assert found.lens.k1 == pytest.approx(-0.2, abs=0.02)
    assert abs(found.lens.fx_px - 620.0) < 4.0 * found.focal_sd_px


def test_a_lens_goes_into_a_lane_file_and_its_marks_still_fit(samples: Path, tmp_path: Path) -> None:
    """The true lens of the sample (its truth file's K, no distortion): the file holds it, the camera takes it as given."""
    matrix = np.array(json.loads((samples / "full_240/truth.json").read_text())["camera"]["K"])
    lens = Lens(fx_px=matrix[0, 0], fy_px=matrix[1, 1], cx_px=matrix[0, 2], cy_px=matrix[1, 2])
    write_lane(tmp_path / "lane.json", read_lane(samples / "full_240/lane.json"))
    size_px = (1920, 1080)

    fit = into_lane(
        LensFit(lens=lens, image_size_px=size_px, rms_px=0.2, focal_sd_px=1.0, bend_px=0.0, views=12, cover_share=0.9),
        tmp_path / "lane.json",
    )

    assert read_lane(tmp_path / "lane.json").lens == lens
    assert np.exp(fit.camera.parameters[6]) == pytest.approx(matrix[0, 0], rel=0.01)
    assert fit.rms_px < 1.5


@needs_chessboards
def test_a_lens_of_another_picture_size_stays_out_of_a_lane_file(samples: Path, tmp_path: Path) -> None:
    found = lens_from(CHESSBOARDS[:6], (9, 6))
    write_lane(tmp_path / "lane.json", read_lane(samples / "full_240/lane.json"))

    with pytest.raises(CalibrationError, match="does not fit"):
        into_lane(found, tmp_path / "lane.json")
    assert read_lane(tmp_path / "lane.json").lens is None


@needs_chessboards
def test_a_board_of_another_size_is_not_found_and_said_so() -> None:
    with pytest.raises(CalibrationError, match="whole in 0 pictures"):
        lens_from(CHESSBOARDS[:5], (5, 4))


def test_the_sheets_are_a_pdf_with_a_page_a_marker(tmp_path: Path) -> None:
    data = write_markers(tmp_path / "markers.pdf", [0, 1, 2], "a4").read_bytes()

    assert data.startswith(b"%PDF")
    assert data.count(b"/Type /Page ") == 4  # and one for all places


@pytest.mark.skipif(shutil.which("pdftoppm") is None, reason="needs poppler-utils")
@pytest.mark.parametrize(("paper", "side_mm"), [("a4", 150.0), ("letter", 150.0), ("a3", 210.0), ("tabloid", 200.0)])
def test_a_printed_marker_and_its_bar_have_the_size_that_the_sheet_says(
    paper: str, side_mm: float, tmp_path: Path
) -> None:
    """Printed at 150 dots an inch (by poppler), OpenCV finds the number; side and bar are true to half a millimetre."""
    sheet = write_markers(tmp_path / "m.pdf", [7], paper)
    subprocess.run(["pdftoppm", "-r", "150", "-gray", "-singlefile", sheet, tmp_path / "page"], check=True)
    page = cv2.imread(str(tmp_path / "page.pgm"), cv2.IMREAD_GRAYSCALE)

    seen = find_markers(np.repeat(page[..., None], 3, axis=2))

    corners_mm = seen[7].corners_px * 25.4 / 150.0
    sides_mm = np.linalg.norm(corners_mm - np.roll(corners_mm, 1, axis=0), axis=1)
    assert sides_mm == pytest.approx(side_mm, abs=0.5)
    below = page[round(seen[7].corners_px[:, 1].max()) + 10 :] < 128
    assert max(map(longest_run, below)) * 25.4 / 150.0 == pytest.approx(100.0, abs=0.5)


def longest_run(row: np.ndarray) -> int:
    """Return how many dots in a row are inked without a gap."""
    edges = np.flatnonzero(np.diff(np.r_[0, row, 0].astype(int)))
    return int(np.max(edges[1::2] - edges[::2], initial=0))
