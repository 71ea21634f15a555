"""The page on which the marks of a sweep are clicked: it holds its pictures, and gives a table to be saved."""

from __future__ import annotations

import base64
from collections.abc import Sequence

from penult.outputs.pages import layout
from penult.outputs.pages.page_files import MARK
from penult.outputs.texts.plain import shown


def clicks_html(
    pictures: Sequence[tuple[int, bytes]], names: Sequence[str], *, source: str, table: str, next_step: str
) -> str:
    """Return the page.

    Parameters
    ----------
    pictures : sequence of (frame, JPEG)
        Of the sweep.
    names : sequence of str
        Marks that have a place.
    source, table, next_step : str
        Name of the sweep, of the table to be saved, and the command that takes it.
    """
    return layout.template("clicks.html.j2").render(
        mark=MARK,
        source=source,
        pictures=[(frame, base64.b64encode(jpeg).decode("ascii")) for frame, jpeg in pictures],
        names=[shown(n, 80) for n in names],
        table=table,
        next_step=next_step,
        shown=shown,
    )
