"""Every error that penult raises on purpose.

PenultError                      what, where, got and wanted, what next
|-- InputError (exit 2)          what was handed over is at fault
|   |-- ClipError                a clip that cannot be read, or does not fit
|   |-- CalibrationError         a lane file with faults; lists every one of them
|   |-- LogbookError             a logbook or session file with faults
|   +-- ResultError              a result folder that is missing, foreign or damaged
|-- NotMeasurableError (exit 3)  the input is sound but cannot answer the question
|   |-- NoAthleteError           nobody runs along the calibrated lane
|   |-- NoContactError           somebody runs, but no foot is seen to stand
|   |-- ViewError                frontal or oblique view, or the calibrated scene is lost
|   +-- HorizonError             a point on or past the vanishing line, where metres mean nothing
+-- OutputError (exit 2)         a place that cannot be written

The command line alone catches PenultError and prints it; anything else is our own fault (exit 1).
"""

from __future__ import annotations


class PenultError(Exception):
    """A fault with its place and what to do about it.

    Parameters
    ----------
    what : str
        One line: what is wrong and with which file or thing.
    details : sequence of str
        Lines that say what was found and what was wanted.
    next_step : str
        What the person can do next.
    """

    exit_status = 1

    def __init__(self, what: str, *details: str, next_step: str = "") -> None:
        super().__init__(what)
        self.what = what
        self.details = details
        self.next_step = next_step

    def __str__(self) -> str:
        lines = [self.what, *(f"  {line}" for line in self.details)]
        if self.next_step:
            lines.append(f"  next: {self.next_step}")
        return "\n".join(lines)


class InputError(PenultError):
    """What was handed over is at fault."""

    exit_status = 2


class ClipError(InputError):
    """A clip that cannot be read, or does not fit the calibration."""


class CalibrationError(InputError):
    """A lane file, or marks for one, with faults; every fault is listed."""


class LogbookError(InputError):
    """A logbook or a session file with faults."""


class ResultError(InputError):
    """A result folder that is missing, foreign or damaged."""


class OutputError(InputError):
    """A place that cannot be written, or holds something that must not be replaced."""


class NotMeasurableError(PenultError):
    """The input is sound but cannot answer the question."""

    exit_status = 3


class NoAthleteError(NotMeasurableError):
    """Nobody runs along the calibrated lane."""


class NoContactError(NotMeasurableError):
    """Somebody runs along the lane, but no foot is seen to stand on it."""


class ViewError(NotMeasurableError):
    """The view is frontal or oblique, or the calibrated scene is not (or no longer) in the picture."""


class HorizonError(NotMeasurableError):
    """A point on or past the vanishing line, where metres mean nothing."""
