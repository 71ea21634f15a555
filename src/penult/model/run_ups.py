"""What many run-ups of one athlete show together: scatter of the feet, steering, who makes up for what, and what changed."""

from __future__ import annotations

from dataclasses import dataclass

from penult.model.analysis import Notice
from penult.model.comparison import Interval
from penult.model.measured import Measured, NotMeasured
from penult.model.trial import MeasureKey, Trial


@dataclass(frozen=True, slots=True, kw_only=True)
class Between:
    """A value and the two ends of its 95 % interval, which need not lie alike on both sides."""

    value: float
    low: float
    high: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Scatter:
    """Scatter of the toe's place at one contact over several run-ups.

    Parameters
    ----------
    number : int
        Contact, counted from the board.
    runs : int
        Run-ups in which its toe place is measured.
    mean_m : float
        Mean toe place.
    sd_m : Between or NotMeasured
        Standard deviation, measurement uncertainty taken out, with the interval of an SD.
    measurement_m : float
        What was taken out: standard deviation of the measurement.
    """

    number: int
    runs: int
    mean_m: float
    sd_m: Between | NotMeasured
    measurement_m: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Steering:
    """From which contact on the scatter falls for good.

    Parameters
    ----------
    from_number : int
        Contact of the largest scatter; from it on the athlete steers.
    probability : float
        That it is this contact and no other.
    likely : tuple of int
        Contacts of which one is it with at least 95 % probability, in order.
    runs : int
        Run-ups it rests on.
    first_seen : int
        First contact that all of these runs show: where it is `from_number`, steering may begin earlier.
    """

    from_number: int
    probability: float
    likely: tuple[int, ...]
    runs: int
    first_seen: int

    @property
    def may_be_earlier(self) -> bool:
        """Whether the largest scatter seen is at the first contact seen."""
        return self.from_number == self.first_seen


@dataclass(frozen=True, slots=True, kw_only=True)
class AdjustmentShare:
    """Share of one step in what is made up for between the largest scatter and the board, and its parts.

    `flight` and `contact` are what comes from a longer or shorter flight time and contact time at the step's mean speed;
    the rest of `share` is speed. None where the times are not measured in these runs.
    """

    number: int
    share: Between
    flight: Between | None
    contact: Between | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Trend:
    """How a measure goes with something: slope for each unit of it, and the runs it rests on."""

    slope: Interval
    runs: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Splits:
    """One run's mean speeds between places, by the film and, where there is a timing gate, by the gate.

    Parameters
    ----------
    zones_m : tuple of (float, float)
        From and to, metres along the runway (before the line: below 0).
    film : tuple of (Measured or NotMeasured)
        Mean speed of the mass centre, m/s.
    gate : tuple of (float or None)
        By the gate's own times, m/s.
    """

    zones_m: tuple[tuple[float, float], ...]
    film: tuple[Measured | NotMeasured, ...]
    gate: tuple[float | None, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class ChangedMeasure:
    """One measure in two kinds of run-up: the second minus the first at equal speed.

    `clear` is whether it holds when all measures of the table are judged together (false discovery rate of 5 %).
    """

    key: MeasureKey
    difference: Interval | NotMeasured
    plain: Interval | NotMeasured
    clear: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class PatternChange:
    """The rhythm of the last steps in two kinds of run-up."""

    first: str
    second: str
    first_runs: int
    second_runs: int
    rows: tuple[ChangedMeasure, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Day:
    """The like run-ups of one day, for a season: how the approach stands.

    Parameters
    ----------
    date : str
        ISO date.
    runs : int
        Like run-ups of that day.
    scatter_m : tuple of (int, Between)
        Of the contacts that three run-ups and more of that day show: number and scatter.
    to_board_m : Interval or NotMeasured
        Mean of toe to board.
    speed_m_per_s : Interval or NotMeasured
        Mean of the speed before the last steps.
    """

    date: str
    runs: int
    scatter_m: tuple[tuple[int, Between], ...]
    to_board_m: Interval | NotMeasured
    speed_m_per_s: Interval | NotMeasured


@dataclass(frozen=True, slots=True, kw_only=True)
class RunUps:
    """Many run-ups of one athlete.

    Parameters
    ----------
    name : str
        Label of the athlete, or of the folder.
    trials : tuple of Trial
        In the order in which they were run, as far as it is known.
    group : str
        Kind and strides of the run-ups that scatter and steering rest on.
    members : tuple of int
        Places in `trials` of those run-ups.
    scatter : tuple of Scatter
        By contact, in order.
    steering : Steering or NotMeasured
        From which contact on the athlete steers.
    shares : tuple of AdjustmentShare, or NotMeasured
        By step, in order.
    drift : Trend or NotMeasured
        Toe to board by the number of the run.
    by_strides : Trend or NotMeasured
        Toe to board by the length of the run-up in strides.
    splits : tuple of Splits
        One a trial.
    stride_count : tuple of (int or NotMeasured)
        Contacts of the whole run-up, one a trial.
    changes : tuple of PatternChange
        Short against full, drills against the free run.
    notices : tuple of Notice
        What a reader must know.
    days : tuple of Day
        The like run-ups day by day, where they are of several days.
    """

    name: str
    trials: tuple[Trial, ...]
    group: str
    members: tuple[int, ...]
    scatter: tuple[Scatter, ...]
    steering: Steering | NotMeasured
    shares: tuple[AdjustmentShare, ...] | NotMeasured
    drift: Trend | NotMeasured
    by_strides: Trend | NotMeasured
    splits: tuple[Splits, ...]
    stride_count: tuple[int | NotMeasured, ...]
    changes: tuple[PatternChange, ...]
    notices: tuple[Notice, ...]
    days: tuple[Day, ...] = ()
