"""Published values for orientation: read in print, and shown only beside a run of a like athlete and a like kind."""

from __future__ import annotations

import json
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from penult.model.analysis import Analysis, Run

LIKE_KINDS = frozenset({"full approach", "competition", "competition jump"})
"""Every band describes jumps in competition from a full approach; beside a drill or a short approach it would mislead."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Band:
    """A published value or range.

    Parameters
    ----------
    measure : str
        Its name in the result.
    number : int, optional
        Of the contact or step that it belongs to; None where there is one a clip.
    group : str
        Whom it describes.
    low, high : float
        In the unit of the result; equal for a single value; mean minus and plus one SD for 'mean and SD'.
    kind : str
        'range', 'mean and SD' or 'single'.
    source, source_short : str
        Where it was published.
    sex : {'female', 'male'}
        Of the athletes.
    note : str
        How it differs, or how it was computed.
    same_definition : bool
        False where the published measure is another one; such a band is listed but never drawn on a scale.
    """

    measure: str
    number: int | None
    group: str
    low: float
    high: float
    kind: str
    source: str
    source_short: str
    sex: Literal["female", "male"]
    note: str = ""
    same_definition: bool = True


@cache
def bands() -> tuple[Band, ...]:
    """Return every band that ships with the package."""
    content = json.loads(files("penult").joinpath("data/reference_bands.json").read_text("utf-8"))
    return tuple(
        Band(
            **{key: value for key, value in row.items() if key != "source"},
            source=content["sources"][row["source"]]["text"],
            source_short=content["sources"][row["source"]]["short"],
        )
        for row in content["bands"]
    )


def bands_beside(run: Run) -> tuple[Band, ...]:
    """Return the bands that describe a run like this one: a jump from a full approach, by athletes of the same sex.

    An athlete whose sex was not given, a drill, a short approach and a run-through have none.
    """
    if not run.has_takeoff or run.kind.strip().casefold() not in LIKE_KINDS:
        return ()
    return tuple(band for band in bands() if band.sex == run.sex)


def drawn_band(run: Run, measure: str, number: int | None = None) -> Band | None:
    """Return the band to be drawn on a scale beside a run: of a like run, of the same definition, with a width."""
    return next(
        (
            b
            for b in bands_beside(run)
            if (b.measure, b.number) == (measure, number) and b.same_definition and b.high > b.low
        ),
        None,
    )


PHASE_RATIOS = {
    "female": (
        "ten women in competition 36.5 : 29.3 : 34.2 % of the sum (Panoutsakopoulos and Kollias 2008); step of women "
        "26.7 ± 2.9 % (mean and SD, Am J Sports Med 1990)"
    ),
    "male": "step of men 29.5 ± 1.5 % (mean and SD, Am J Sports Med 1990)",
}
"""Published hop : step : jump, by the athletes' sex. Contact times of the phases: no source was read, so none are shown."""


def ratio_beside(analysis: Analysis) -> str:
    """Return published shares of hop, step and jump for a triple jump of which all three are measured; '' for anything else."""
    sequence = analysis.sequence
    kinds = [p.kind for p in sorted(analysis.phases, key=lambda p: p.number)]
    if sequence is None or kinds != ["hop", "step", "jump"] or len(sequence.shares_of_whole_phases) != len(kinds):
        return ""
    return PHASE_RATIOS.get(analysis.run.sex or "", "")
