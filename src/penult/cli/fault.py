"""What is said when something goes wrong that nobody foresaw: that it is our fault, and what to send (never the film)."""

from __future__ import annotations

import os
import platform
import re
import signal
import sys
import traceback
from pathlib import Path
from types import FrameType

from penult.errors import InputError

STOPPED = 130
"""Exit status after Ctrl-C, as shells have it (128 + SIGINT)."""

_PATH = re.compile(r"(?:[A-Za-z]:)?(?:[\\/][^\\/\s'\":]+){2,}")


class StoppedError(BaseException):
    """Ctrl-C, or a polite request to end; not an Exception, so that nothing on the way takes it for a fault."""


def stop_politely() -> None:
    """Turn Ctrl-C and SIGTERM into StoppedError, so that half-built files are removed on the way out."""
    for name in (signal.SIGINT, signal.SIGTERM):
        signal.signal(name, _stop)


def _stop(_number: int, _frame: FrameType | None) -> None:
    raise StoppedError


def fault_text(error: Exception) -> str:
    """Return what is said of an unexpected exception.

    Parameters
    ----------
    error : Exception
        With its traceback.

    Returns
    -------
    str
        What happened, where in our own code, with which versions, and what to do. Folders of this computer are left
        out of it; with PENULT_TRACEBACK set, the whole traceback follows.
    """
    lines = [
        "something unexpected went wrong inside penult: this is our fault, not yours",
        f"  {type(error).__name__}: {_short(str(error)) or 'no more is known'}",
        *(f"  in {place}" for place in _places(error)),
        f"  {_versions()}",
        "  next: send us these lines; never the film. Nothing that was there before has been changed",
    ]
    if os.environ.get("PENULT_TRACEBACK"):
        lines.append("".join(traceback.format_exception(error)))
    return "\n".join(lines)


def denied(error: PermissionError) -> InputError:
    """Return what is said where the system does not let this user at a file or folder, wherever it stood in our way."""
    place = os.fsdecode(error.filename) if isinstance(error.filename, str | bytes) else "a file"
    return InputError(
        f"{place} cannot be used: no permission",
        error.strerror or str(error),
        next_step="give yourself the right to it (and to the folders it lies in), or copy it elsewhere",
    )


def _short(text: str) -> str:
    """Return the first line, with paths cut to their last part: a folder may bear somebody's name."""
    first = text.strip().splitlines()[0] if text.strip() else ""
    return _PATH.sub(lambda found: Path(found[0].replace("\\", "/")).name, first)[:300]


def _places(error: Exception) -> list[str]:
    """Return the last three places in our own code, innermost first."""
    ours = [f for f in traceback.extract_tb(error.__traceback__) if "penult" in Path(f.filename).parts]
    return [f"{Path(f.filename).name}:{f.lineno} {f.name}" for f in reversed(ours[-3:])]


def _versions() -> str:
    from penult import __version__

    return f"penult {__version__}, Python {platform.python_version()}, {sys.platform} {platform.machine()}"
