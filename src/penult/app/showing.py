"""The language of this computer, as its user set it."""

from __future__ import annotations

import locale
import os
from collections.abc import Mapping

from penult.model.showing import LANGUAGES, Language


def language_here(surroundings: Mapping[str, str] = os.environ) -> Language:
    """Return the first language that the user asks for and that there is a catalogue of, else English.

    In the order of gettext: LANGUAGE (several, by preference), LC_ALL, LC_MESSAGES, LANG; else what the system says.
    """
    said = [*surroundings.get("LANGUAGE", "").split(":")]
    said.append(next((v for n in ("LC_ALL", "LC_MESSAGES", "LANG") if (v := surroundings.get(n))), ""))
    if not any(said):
        said.append(locale.getlocale()[0] or "")
    words = [word.replace("-", "_").split("_")[0].split(".")[0].lower() for word in said if word]
    words = [_WINDOWS.get(word, word) for word in words]
    return next((known for word in words for known in LANGUAGES if word == known), "en")


_WINDOWS = {"english": "en", "german": "de", "french": "fr", "spanish": "es"}
"""As that system names them."""
