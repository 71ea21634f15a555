"""All files of a result but the film, as names and bytes, in the order in which they are ready.

with save.building(folder, sha256=clip.sha256) as new:
    for name, content in folder.result_files(analysis, motion, frames_for_stills):
        new.write(name, content)
    write_film(new.path / folder.FILM, film.film_frames(frames, analysis, motion), ...)
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from penult.model.analysis import Analysis
from penult.model.arrays import Image
from penult.model.clip import Frame
from penult.model.track import Motion
from penult.outputs.charts import hip_height
from penult.outputs.folder import result, tables
from penult.outputs.folder.sheets import result_sheets
from penult.outputs.pages import layout, summary
from penult.outputs.pictures import stills
from penult.outputs.texts import workbook

FILM = "overlay.mp4"


def load() -> None:
    """Load what the files are made with, before there is a result: half of the time that making them takes."""
    hip_height.load()
    workbook.load()
    layout.template(summary.LAYOUT)


def wanted_frames(analysis: Analysis, motion: Motion) -> tuple[int, ...]:
    """Return the indices of the frames that `result_files` needs, rising: at most nine."""
    return stills.frames_wanted(stills.stills_of(analysis, motion))


def result_files(analysis: Analysis, motion: Motion, frames: Iterable[Frame]) -> Iterator[tuple[str, bytes]]:
    """Yield every file of a result folder except the film.

    Parameters
    ----------
    analysis, motion : Analysis, Motion
        The result.
    frames : iterable of Frame
        The frames of `wanted_frames`; others are passed over. A still whose frame does not come is left out.

    Yields
    ------
    (str, bytes)
        Name relative to the folder, with forward slashes, and content.
    """
    drawn = draw_all(analysis, motion, frames)
    yield "analysis.json", result.analysis_to_json(analysis).encode("utf-8")
    yield "motion.npz", result.motion_to_bytes(motion)
    yield "contacts.csv", tables.to_csv(tables.contacts_table(analysis))
    yield "steps.csv", tables.to_csv(tables.steps_table(analysis))
    if analysis.phases:
        yield "phases.csv", tables.to_csv(tables.phases_table(analysis))
    yield "whole.csv", tables.to_csv(tables.whole_table(analysis))
    yield "tables.xlsx", workbook.workbook(result_sheets(analysis))
    yield "hip_path.csv", tables.to_csv(tables.hip_path_table(motion))
    for still, image in drawn:
        yield f"stills/{still.name}", stills.to_jpeg(image)
    yield "stills/index.json", stills.index_json((s for s, _ in drawn), analysis, motion).encode("utf-8")
    yield "hip_height.png", hip_height.hip_chart_png(analysis, motion)
    yield "summary.html", summary.summary_html(analysis, motion, drawn).encode("utf-8")


def draw_all(analysis: Analysis, motion: Motion, frames: Iterable[Frame]) -> list[tuple[stills.Still, Image]]:
    """Return the drawn stills in the order of the run; only the drawn crops are kept, not the frames."""
    wanted = stills.stills_of(analysis, motion)
    found: dict[str, Image] = {}
    for frame in frames:
        for still in wanted:
            if still.moment.frame == frame.index:
                found[still.name] = stills.draw_still(frame, still, analysis, motion)
    return [(still, found[still.name]) for still in wanted if still.name in found]
