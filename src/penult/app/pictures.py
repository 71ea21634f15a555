"""Everything that a result folder holds, written in one pass over the clip."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import numpy as np

from penult.adapters import video
from penult.adapters.video_writer import write_film
from penult.app.athlete import Progress
from penult.core.pipeline import Outcome
from penult.model.arrays import Image
from penult.model.clip import Clip, Frame
from penult.outputs import charts, result, stills, summary, tables
from penult.outputs.film import film_frames, film_size_px
from penult.outputs.save import Building

FILM_RATE_HZ = 30.0
"""Playback of the annotated film: every captured frame is shown, so that a 240 Hz clip plays eight times slowed."""


def write_pictures(new: Building, clip_path: Path, clip: Clip, outcome: Outcome, progress: Progress) -> None:
    """Write all files of the result into the folder under construction."""
    analysis, motion = outcome.analysis, outcome.motion
    wanted = stills.stills_of(analysis, motion)
    kept: dict[int, Image] = {}
    rows = motion.pixels.frame

    def passing() -> Iterator[Frame]:
        need = set(stills.frames_wanted(wanted))
        for frame in video.frames(clip_path, clip, first=int(rows[0]), last=int(rows[-1])):
            progress("drawing", (frame.index - rows[0]) / len(rows))
            if frame.index in need:
                kept[frame.index] = frame.image.copy()
            yield frame

    painted = film_frames(passing(), analysis, motion)
    times = np.arange(len(rows)) / FILM_RATE_HZ
    write_film(new.path / "overlay.mp4", film_size_px(clip.size_px), zip(painted, times.tolist(), strict=False))
    drawn = {s: stills.draw_still(kept[s.moment.frame], s, analysis, motion) for s in wanted if s.moment.frame in kept}
    for still, image in drawn.items():
        new.write(f"stills/{still.name}", stills.to_jpeg(image))
    new.write("stills/index.json", stills.index_json(drawn, analysis, motion).encode())
    new.write("analysis.json", result.analysis_to_json(analysis).encode())
    new.write("motion.npz", result.motion_to_bytes(motion))
    new.write("contacts.csv", tables.to_csv(tables.contacts_table(analysis)))
    new.write("steps.csv", tables.to_csv(tables.steps_table(analysis)))
    new.write("hip_path.csv", tables.to_csv(tables.hip_path_table(motion)))
    new.write("hip_height.png", charts.hip_chart_png(analysis, motion))
    new.write("summary.html", summary.summary_html(analysis, motion, drawn).encode())
