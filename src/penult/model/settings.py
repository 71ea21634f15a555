"""What a person may say on the command line about one clip."""

from __future__ import annotations

from dataclasses import dataclass

from penult.model.analysis import Mat


@dataclass(frozen=True, slots=True, kw_only=True)
class Settings:
    """Settings of one analysis; None means 'find out' or 'not said'.

    Parameters
    ----------
    capture_rate_hz : float, optional
        True frame rate of the capture, for slow-motion exports.
    kind, athlete : str
        The coach's words; '' when not said.
    sex : {'female', 'male'}, optional
        Chooses the segment table.
    height_m, leg_length_m : float, optional
        Of the athlete.
    mats : tuple of Mat
        As the coach put them down.
    run : int
        Which run of the clip, from 1.
    at : (float, float, float), optional
        Upright pixel x, y and capture time at which the athlete is there.
    date : str
        Day of the clip, year-month-day; '' when not said.
    official_m : float, optional
        Tape-measured distance of the jump or the triple jump, from the board's edge to the mark.
    """

    capture_rate_hz: float | None = None
    kind: str = ""
    athlete: str = ""
    sex: str | None = None
    height_m: float | None = None
    leg_length_m: float | None = None
    mats: tuple[Mat, ...] = ()
    run: int = 1
    at: tuple[float, float, float] | None = None
    date: str = ""
    official_m: float | None = None
