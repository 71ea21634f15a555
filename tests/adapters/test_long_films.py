"""A film of a hundred thousand frames is read frame by frame: memory does not grow with its length."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Any

import av
import numpy as np
import pytest

from penult.adapters.film.video import grey_frames, open_clip

FRAMES, PIECE, SIDE_PX = 100_000, 500, 64


def long_film(piece: Path, path: Path) -> Path:
    """Write a short film's packets again and again, each time later: nothing is encoded twice."""
    with av.open(str(piece)) as short, av.open(str(path), "w") as long:
        source = short.streams.video[0]
        stream = long.add_stream_from_template(source)
        packets = [(bytes(p), p.pts, p.dts, p.is_keyframe) for p in short.demux(source) if p.size]
        tick = round(1 / 30 / source.time_base)
        for turn in range(FRAMES // PIECE):
            later = turn * PIECE * tick
            for data, pts, dts, is_keyframe in packets:
                packet = av.Packet(data)
                packet.stream, packet.time_base = stream, source.time_base
                packet.pts, packet.dts, packet.is_keyframe = pts + later, dts + later, is_keyframe
                long.mux(packet)
    return path


def resident_mb() -> float:
    return int(Path("/proc/self/statm").read_text().split()[1]) * os.sysconf("SC_PAGE_SIZE") / 1e6


@pytest.mark.skipif(not Path("/proc/self/statm").exists(), reason="needs /proc")
def test_a_hundred_thousand_frames_are_read_in_bounded_memory(make_film: Any, tmp_path: Path) -> None:
    """T28: kept, they would fill 410 MB in grey and 1.2 GB in colour; 60 MB are allowed, the frames' times included."""
    options = {"preset": "ultrafast", "crf": "40", "bf": "0"}
    piece = make_film("piece.mp4", count=PIECE, size_px=(SIDE_PX, SIDE_PX), options=options)
    path = long_film(piece, tmp_path / "long.mp4")
    open_clip(piece)  # whatever is loaded once is loaded now
    before_mb = most_mb = resident_mb()

    clip = open_clip(path)
    opened_mb = resident_mb()
    for index, _, _ in grey_frames(path, clip):
        if index % 5000 == 0:
            most_mb = max(most_mb, resident_mb())

    assert index == FRAMES - 1
    assert len(clip.time_s) == FRAMES
    assert np.diff(clip.time_s) == pytest.approx(1 / 30, abs=1e-4)
    assert max(opened_mb, most_mb) - before_mb < 60.0
