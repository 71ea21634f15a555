"""Where the logbook lies; apart from it, because whoever only asks where it is needs no database."""

from __future__ import annotations

import os
import sys
from pathlib import Path

PLACE_VARIABLE = "PENULT_LOGBOOK"


def default_place() -> Path:
    """Return where the logbook lies when nobody says otherwise: $PENULT_LOGBOOK, else in the user's data folder."""
    said = os.environ.get(PLACE_VARIABLE)
    if said:
        return Path(said).expanduser()
    if sys.platform == "win32":
        base = Path(os.environ.get("APPDATA", Path.home()))
    elif sys.platform == "darwin":
        base = Path.home() / "Library" / "Application Support"
    else:
        base = Path(os.environ.get("XDG_DATA_HOME") or Path.home() / ".local" / "share")
    return base / "penult" / "logbook.sqlite"
