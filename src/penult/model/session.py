"""A session that was analysed: each clip with its result or the reason why there is none."""

from __future__ import annotations

from dataclasses import dataclass

from penult.model.analysis import Analysis
from penult.model.trial import Said


@dataclass(frozen=True, slots=True, kw_only=True)
class ClipOutcome:
    """One clip of a session.

    Parameters
    ----------
    file : str
        Name of the clip.
    folder : str
        Name of its result folder, beside it.
    said : Said
        What the coach said of it.
    analysis : Analysis, optional
        Its result; None where it failed.
    error : str
        Why it failed, with what to do; '' where it did not.
    exit_status : int
        0, or that of the failure: 2 the input, 3 the clip cannot answer, 1 our own fault.
    is_new : bool
        False when the result was there already.
    """

    file: str
    folder: str
    said: Said
    analysis: Analysis | None = None
    error: str = ""
    exit_status: int = 0
    is_new: bool = True


@dataclass(frozen=True, slots=True, kw_only=True)
class Session:
    """All clips of a session in the order of their names."""

    name: str
    folder: str
    clips: tuple[ClipOutcome, ...]

    @property
    def exit_status(self) -> int:
        """0 when every clip has a result; else our own fault before a fault of the input before a clip that cannot answer."""
        failed = {c.exit_status for c in self.clips} - {0}
        return next((status for status in (1, 2, 3) if status in failed), 0)
