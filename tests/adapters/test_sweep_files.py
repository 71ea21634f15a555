"""Tables of a sweep, the panorama's file, and the page of clicks."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from penult.adapters.files.panorama_file import read_panorama, write_panorama
from penult.adapters.files.sweep_csv import is_table_of_names, read_clicks, read_named_places
from penult.errors import CalibrationError
from penult.model.panorama import Panorama
from penult.model.sweep_picture import Key


def written(place: Path, text: str) -> Path:
    place.write_text(text, encoding="utf-8")
    return place


def test_places_and_clicks_find_each_other_whatever_their_spelling(tmp_path: Path) -> None:
    places = read_named_places(
        written(tmp_path / "p.csv", "name,x_m,z_m\ncone -7 near,-7.01,0.9\nboard_back_far,-0.2,-0.61\n")
    )

    clicks = read_clicks(
        written(
            tmp_path / "c.csv",
            "name;frame;pixel_x;pixel_y\ncone_-7_near;12;100,5;700\nboard back far;;3;4\n".replace(
                "board back far;;", "board back far;13;"
            ),
        ),
        places,
    )

    assert places["cone -7 near"] == (-7.01, 0.0, 0.9)
    assert [(c.name, c.frame, c.pixel_px) for c in clicks] == [
        ("cone -7 near", 12, (100.5, 700.0)),
        ("board back far", 13, (3.0, 4.0)),
    ]


def test_every_fault_of_the_clicks_is_named_with_its_line(tmp_path: Path) -> None:
    with pytest.raises(CalibrationError) as told:
        read_clicks(
            written(tmp_path / "c.csv", "name,frame,pixel_x,pixel_y\nwall,1,2,3\ncone,,2,3\n"),
            {"cone": (0.0, 0.0, 0.0)},
        )

    said = str(told.value)
    assert "line 2: 'wall' has no place" in said
    assert "line 3: frame or time_s is missing" in said


def test_a_table_of_markers_is_no_table_of_names(tmp_path: Path) -> None:
    assert not is_table_of_names(written(tmp_path / "m.csv", "marker,x_m,y_m,z_m\n0,1,2,3\n"))
    assert is_table_of_names(written(tmp_path / "n.csv", "name,x_m,z_m\ncone,1,2\n"))


def panorama() -> tuple[Panorama, list[Key]]:
    rng = np.random.default_rng(1)
    keys = [
        Key(
            frame=10 * i,
            small=rng.integers(0, 255, (54, 96), dtype=np.uint8),
            at_px=np.array([20.0 * i, 0.0]),
            corners_px=rng.uniform(9.0, 45.0, (20 + i, 2)).astype(np.float32).astype(np.float64),
            key_points_px=rng.uniform(0.0, 54.0, (5, 2)).astype(np.float32).astype(np.float64),
            words=rng.integers(0, 255, (5, 128)).astype(np.float32),
        )
        for i in range(3)
    ]
    place = Panorama(
        centre_m=np.array([-5.5, 1.45, 15.5]),
        log_focal=8.2,
        k1=0.001,
        turns=np.stack([np.eye(3)] * 3),
        covariance=np.eye(14),
        image_size_px=(192, 108),
        reference=1,
        noise_px=0.2,
    )
    return place, keys


def test_a_panorama_comes_back_from_its_file(tmp_path: Path) -> None:
    place, keys = panorama()
    write_panorama(tmp_path / "lane_panorama.npz", place, keys, 2)

    again, pictures, factor = read_panorama(tmp_path / "lane_panorama.npz")

    assert factor == 2
    assert again.reference == 1
    assert (again.covariance == place.covariance).all()
    assert [(p.frame, (p.small == k.small).all()) for p, k in zip(pictures, keys, strict=True)] == [
        (0, True),
        (10, True),
        (20, True),
    ]
    assert all(
        (p.corners_px == k.corners_px).all() and (p.words == k.words).all() for p, k in zip(pictures, keys, strict=True)
    )


@pytest.mark.parametrize("cut", [10, 2000])
def test_a_damaged_panorama_is_an_error_of_ours(tmp_path: Path, cut: int) -> None:
    place, keys = panorama()
    path = tmp_path / "lane_panorama.npz"
    write_panorama(path, place, keys, 2)
    path.write_bytes(path.read_bytes()[:cut])

    with pytest.raises(CalibrationError):
        read_panorama(path)
