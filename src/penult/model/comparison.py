"""What comes out of a comparison of two groups of clips, and of an athlete's season."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from penult.model.analysis import Notice
from penult.model.measured import Measured
from penult.model.trial import MeasureKey, Trial

VerdictKind = Literal[
    "clearly different",
    "could be chance",
    "not seen",
    "apart in these runs",
    "not told apart",
    "too few clips",
    "not compared",
]


@dataclass(frozen=True, slots=True, kw_only=True)
class Interval:
    """A difference or mean with its 95 % interval.

    Parameters
    ----------
    value, half_width : float
        The interval is value minus half_width to value plus half_width.
    freedom : float
        Degrees of freedom of the t distribution; infinite where the spread is taken as known.
    how : str
        Which spread it rests on, in plain words.
    """

    value: float
    half_width: float
    freedom: float
    how: str

    @property
    def low(self) -> float:
        """Lower end."""
        return self.value - self.half_width

    @property
    def high(self) -> float:
        """Upper end."""
        return self.value + self.half_width


@dataclass(frozen=True, slots=True, kw_only=True)
class TypicalError:
    """Spread of one athlete's repeated values of one measure (Hopkins 2000).

    Parameters
    ----------
    value : float
        Standard deviation, in the measure's unit.
    freedom : float
        Degrees of freedom; infinite for the measurement uncertainty.
    clips : int
        How many clips it rests on.
    from_repeats : bool
        False when it is the measurement uncertainty alone, without the athlete's own variation.
    """

    value: float
    freedom: float
    clips: int
    from_repeats: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Group:
    """Clips that are compared together, under one name."""

    name: str
    trials: tuple[Trial, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class GroupValues:
    """One group's values of one measure.

    Parameters
    ----------
    values : tuple of (int, Measured)
        Place of the clip in its group, and its value.
    missing : tuple of (int, str)
        Place of each clip without a value, and why.
    mean : float, optional
        None where there are no values, or where they must not be averaged.
    """

    values: tuple[tuple[int, Measured], ...]
    missing: tuple[tuple[int, str], ...]
    mean: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Verdict:
    """What may be said of a difference.

    Parameters
    ----------
    kind : str
        'clearly different': the 95 % interval excludes 0. 'could be chance': it does, but among so many measures some do
        where nothing has changed. 'apart in these runs', 'not told apart': single runs against each other by what the
        measurement supports, where it is not known how much the athlete varies. 'not seen':
        a difference of `limit` or less could not have
        been seen. 'too few clips'. 'not compared': the values must not be averaged, `reason` says why.
    limit : float, optional
        Half-width of the interval, for 'not seen'.
    reason : str
        For 'too few clips' and 'not compared'.
    """

    kind: VerdictKind
    limit: float | None = None
    reason: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class ComparedMeasure:
    """One measure in two groups; the difference is the second group's mean minus the first's.

    Parameters
    ----------
    false_share : float, optional
        Share of false finds expected among all measures at least as clear; see `core.clips.chance`.
    matters : float, optional
        A change from which on it matters, as the coach set it.
    clips_needed : int, optional
        Clips in each group with which a change of that size would be seen in four of five comparisons; None where it is settled,
        nothing was set, or it is not known how much the athlete varies.
    """

    key: MeasureKey
    first: GroupValues
    second: GroupValues
    difference: Interval | None
    typical_error: TypicalError | None
    minimal_detectable_change: float | None
    verdict: Verdict
    notes: tuple[str, ...] = ()
    false_share: float | None = None
    matters: float | None = None
    clips_needed: int | None = None

    @property
    def is_small(self) -> bool:
        """Whether the whole interval lies within what matters: certainly smaller than that."""
        d, most = self.difference, self.matters
        return d is not None and most is not None and max(abs(d.low), abs(d.high)) < most

    @property
    def is_large(self) -> bool:
        """Whether the whole interval lies beyond what matters, to one side."""
        d, least = self.difference, self.matters
        return d is not None and least is not None and (d.low > least or d.high < -least)


@dataclass(frozen=True, slots=True, kw_only=True)
class Comparison:
    """Two groups of clips, measure by measure, with everything that a reader must know about the clips."""

    first: Group
    second: Group
    rows: tuple[ComparedMeasure, ...]
    notices: tuple[Notice, ...]

    def row(self, key: MeasureKey) -> ComparedMeasure | None:
        """Return the row of a measure, or None."""
        return next((row for row in self.rows if row.key == key), None)


@dataclass(frozen=True, slots=True, kw_only=True)
class Several:
    """Three groups and more, each compared with one of them.

    Parameters
    ----------
    groups : tuple of Group
        In the order in which they are shown.
    against : int
        Place of the group that the others are held against.
    pairs : tuple of Comparison
        That group first, each other one second, in their order.
    """

    groups: tuple[Group, ...]
    against: int
    pairs: tuple[Comparison, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Condition:
    """What clips of one athlete must share before they are repeats of one another."""

    kind: str
    approach_strides: int | None
    mats: tuple[tuple[int, float], ...]
    method: tuple[str, str]


@dataclass(frozen=True, slots=True, kw_only=True)
class SeasonPoint:
    """One clip's value of one measure on its date."""

    date: str
    session: str
    condition: Condition
    trial: Trial
    value: Measured


@dataclass(frozen=True, slots=True, kw_only=True)
class SeasonMeasure:
    """One headline measure over a season."""

    key: MeasureKey
    points: tuple[SeasonPoint, ...]
    typical_error: TypicalError | None
    minimal_detectable_change: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """The latest session of a condition against the last one on or before a date, each of one lane file.

    Parameters
    ----------
    before, since : tuple of float
        Values of the clips of both sessions.
    difference : Interval
        Mean of the later minus mean of the earlier session, with its 95 % t interval; with the lane files' uncertainty where
        there are two.
    beyond : bool
        Its interval leaves out zero, and still does once it is counted how many changes were looked at.
    false_share : float
        As of a compared measure.
    """

    key: MeasureKey
    condition: Condition
    before_date: str
    since_date: str
    before: tuple[float, ...]
    since: tuple[float, ...]
    difference: Interval
    typical_error: TypicalError
    beyond: bool
    notes: tuple[str, ...] = ()
    false_share: float = 1.0
    matters: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Slope:
    """Official distance against a speed: the athlete's own straight line, with its 95 % interval where it has one."""

    key: MeasureKey
    points: tuple[tuple[float, float, Trial], ...]
    slope_s: float | None
    half_width_s: float | None
    intercept_m: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Season:
    """One athlete over a season."""

    athlete: str
    trials: tuple[Trial, ...]
    measures: tuple[SeasonMeasure, ...]
    since: str
    changes: tuple[Change, ...]
    slopes: tuple[Slope, ...]
    takeoffs_a_week: tuple[tuple[str, int], ...]
    notices: tuple[Notice, ...]
