"""Everything that a result folder holds, written in one pass over the clip."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import numpy as np

from penult.adapters import video
from penult.adapters.video_writer import write_film
from penult.app.progress import Progress
from penult.core.pipeline import Outcome
from penult.model.clip import Clip, Frame
from penult.outputs.film import film_frames, film_size_px
from penult.outputs.folder import result_files, wanted_frames
from penult.outputs.save import Building

FILM_RATE_HZ = 30.0
"""Playback of the annotated film: every captured frame is shown, so that a 240 Hz clip plays eight times slowed."""


def write_pictures(new: Building, clip_path: Path, clip: Clip, outcome: Outcome, progress: Progress) -> None:
    """Write all files of the result into the folder under construction."""
    rows = outcome.motion.pixels.frame
    need = set(wanted_frames(outcome.analysis, outcome.motion))
    kept: list[Frame] = []

    def passing() -> Iterator[Frame]:
        for frame in video.frames(clip_path, clip, first=int(rows[0]), last=int(rows[-1])):
            progress("drawing", (frame.index - rows[0]) / len(rows))
            if frame.index in need:
                kept.append(frame)
            yield frame

    painted = film_frames(passing(), outcome.analysis, outcome.motion)
    times = (np.arange(len(rows)) / FILM_RATE_HZ).tolist()
    write_film(new.path / "overlay.mp4", film_size_px(clip.size_px), zip(painted, times, strict=False))
    for name, content in result_files(outcome.analysis, outcome.motion, kept):
        new.write(name, content)
