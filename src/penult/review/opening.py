"""Open a page in the browser of this computer, where there is one that shows it."""

from __future__ import annotations

import os
import sys
import webbrowser


def open_in_browser(address: str) -> bool:
    """Open an address; False where there is no screen or no browser, and somebody has to open it by hand.

    Without a screen a browser for terminals would be taken: it runs no scripts, and takes the terminal for itself.
    """
    if not has_screen():
        return False
    try:
        return webbrowser.open(address)
    except (webbrowser.Error, OSError):
        return False


def has_screen() -> bool:
    """Tell whether windows can be shown; $BROWSER is somebody's word that they can."""
    if sys.platform in ("win32", "darwin"):
        return True
    return any(os.environ.get(name) for name in ("DISPLAY", "WAYLAND_DISPLAY", "BROWSER"))
