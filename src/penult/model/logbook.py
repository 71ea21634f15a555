"""What a logbook keeps beside the clips (athletes, tape results, notes), and how clips are chosen from it."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Athlete:
    """An athlete under a label, which need not be a name.

    Parameters
    ----------
    label : str
        Unique in a logbook.
    sex : {'female', 'male'}, optional
        Chooses the segment table for the centre of mass.
    height_m, leg_length_m : float, optional
        Standing height, and hip joint to floor.
    """

    label: str
    sex: str | None = None
    height_m: float | None = None
    leg_length_m: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class TapeResult:
    """A result measured with a tape: a jump, or a bound series such as four bounds and a jump."""

    athlete: str
    date: str
    event: str
    distance_m: float
    note: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class CoachNote:
    """A note on an athlete, on a day."""

    athlete: str
    date: str
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Choice:
    """Which clips of a logbook are wanted; None and '' mean 'any'.

    Parameters
    ----------
    athlete, kind, session : str
        Exactly as recorded, capitals aside.
    date_from, date_to : str
        ISO dates, both included.
    strides_from, strides_to : int, optional
        Approach strides, both included.
    has_mats : bool, optional
        Only clips with, or only clips without mats.
    """

    athlete: str = ""
    kind: str = ""
    session: str = ""
    date_from: str = ""
    date_to: str = ""
    strides_from: int | None = None
    strides_to: int | None = None
    has_mats: bool | None = None

    @property
    def words(self) -> str:
        """The choice as a group's name."""
        parts = [self.athlete, self.kind, self.session]
        if self.strides_from is not None or self.strides_to is not None:
            ends = dict.fromkeys(str(s) for s in (self.strides_from, self.strides_to) if s is not None)
            parts.append(f"{' to '.join(ends)} strides")
        if self.date_from or self.date_to:
            parts.append(
                " ".join(
                    w for w in (self.date_from and f"from {self.date_from}", self.date_to and f"to {self.date_to}") if w
                )
            )
        if self.has_mats is not None:
            parts.append("with mats" if self.has_mats else "without mats")
        return ", ".join(p for p in parts if p) or "all clips"


@dataclass(frozen=True, slots=True, kw_only=True)
class Contents:
    """How much a logbook holds: rows a table, first and last date, and the athletes with their clips."""

    counts: dict[str, int]
    first_date: str
    last_date: str
    athletes: tuple[tuple[Athlete, int], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """One entry of a logbook: its name ('tape-12'), whose it is, its day, and what it says in a line."""

    name: str
    athlete: str
    date: str
    words: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Changed:
    """One change of an entry in the history of a logbook: its number, when, what was done, and whether it was undone."""

    number: int
    made_at: str
    what: str
    is_undone: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Mention:
    """A text about somebody else in which a label stands: which entry and column, and the text as it is and as it would be."""

    place: str
    text: str
    blacked_out: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Holdings:
    """What a logbook holds of one person, before it is removed.

    Parameters
    ----------
    labels : tuple of str
        As recorded: forms that differ in capitals or in their Unicode form alone are one person.
    rows : dict
        Rows of that person a table.
    clips : tuple of (str, int)
        Hash and run of every clip.
    folders : tuple of str
        Where their results and sessions were when they were recorded.
    mentions : tuple of Mention
        Texts of others in which the label stands.
    begun : str
        When a forgetting of this label was begun and not finished; '' if none was.
    """

    labels: tuple[str, ...]
    rows: dict[str, int]
    clips: tuple[tuple[str, int], ...]
    folders: tuple[str, ...]
    mentions: tuple[Mention, ...]
    begun: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Erased:
    """What `forget` did to a logbook, and the proof.

    Parameters
    ----------
    rows : dict
        Rows removed a table.
    rewritten : int
        Texts of others in which the label was blacked out.
    files : tuple of str
        Logbook files that hold, byte by byte, nothing but rows that were searched afterwards.
    left_in_text : int
        Texts in those files that still hold the label: 0, unless it is a plain word and was to be left in texts of others.
    not_looked_at : tuple of (str, str)
        Backups that could not be cleaned, and why.
    """

    rows: dict[str, int]
    rewritten: int
    files: tuple[str, ...]
    left_in_text: int
    not_looked_at: tuple[tuple[str, str], ...] = ()
