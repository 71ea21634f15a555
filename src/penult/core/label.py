"""A person's label as a word in texts: found in every Unicode form, never inside a longer word, never by digits of a date.

A word ends at anything that is neither a letter nor a digit: `A1_jump.mp4` names A1. `annalong` and `Hannah` do not name Anna, nor
does `A12` name A1: what stands inside a longer word is as a rule somebody else's name, and blacking it out cannot be undone.

Comes in: a label and texts that people typed. Goes out: whether the label stands there, and the text without it.
"""

from __future__ import annotations

import html
import re
import unicodedata
from collections.abc import Iterable
from urllib.parse import unquote

BLACKED_OUT = "(removed)"

_WORDS = (
    "approach athlete away board bound bounds calibration camera clip contact day drill drop fall feet film flat foot "
    "forefoot forward full group hall heel high hip hop jump jumps knee lane left leg long lowest mass mat mats measure "
    "metre metres month note off out penultimate pole removed result right run runs runway season session short side "
    "spring start step strides summer tape test the through time toe to training triple up video warm week winter with "
    "without year analysis corrections said img vid mov mp4 dsc gopro pxl trim "
    "january february march april may june july august september october november december "
    "jan feb mar apr jun jul aug sep sept oct nov dec "
    "monday tuesday wednesday thursday friday saturday sunday mon tue wed thu fri sat sun"
)
PLAIN_WORDS = frozenset(_WORDS.split())
"""Words of the trade, of file names and of the calendar: a label like one of these is found in texts about anybody."""

_IGNORED = re.compile(
    "[\u00ad\u034f\u061c\u115f\u1160\u17b4\u17b5\u180b-\u180f\u200b-\u200f\u202a-\u202e\u2060-\u206f\ufe00-\ufe0f\ufeff]"
)
"""Signs that are not drawn (Unicode 16, Default_Ignorable_Code_Point): they may lie within a word."""

_UNSPACED = re.compile(
    "[\u0e00-\u0eff\u1000-\u109f\u1100-\u11ff\u1780-\u17ff\u3040-\u30ff\u3400-\u9fff\uac00-\ud7ff\uf900-\ufaff]"
)
"""Thai, Lao, Burmese, Khmer, kana, Han; and Korean, whose particles follow a name without a space."""

_PICTURE = re.compile(r"base64,[A-Za-z0-9+/=]{40,}")
_JSON_ESCAPE = re.compile(r"(?:\\u[0-9a-fA-F]{4})+")


def folded(text: str) -> str:
    """Return a text so that all its Unicode forms and cases give the same (Unicode 16, 3.13, compatibility caseless)."""
    return text.lower() if text.isascii() else "".join(part for part, _, _ in _clusters(text))


def is_plain(label: str) -> bool:
    """Tell whether a label is also a number, a letter or a word of the trade: a text with it may not mean the person."""
    core = folded(label).strip()
    letters = unicodedata.normalize("NFC", core)
    is_letter = len(letters) < 2 and letters.lower() != letters.upper()
    return (
        not core or is_letter or core.isnumeric() or bool(re.fullmatch(r"[\d\s.,:/_-]+", core)) or core in PLAIN_WORDS
    )


class Label:
    """A label to be looked for.

    Parameters
    ----------
    text : str
        As recorded, in any Unicode form.
    """

    def __init__(self, text: str) -> None:
        self.text = text
        words = [re.escape(w) for w in re.split(r"[\s_]+", folded(text)) if w]
        # between the words of a label, a file name has _ or - where people type a space
        self._pattern = re.compile(r"[\s_.+-]+".join(words) or r"(?!)")

    def is_of(self, other: str) -> bool:
        """Tell whether another label is the same one."""
        return folded(other).strip() == folded(self.text).strip()

    def spans(self, text: str) -> list[tuple[int, int]]:
        """Return where the label stands as a word of its own: 'A1' in 'A1_drill.mp4', not in 'A12'."""
        if text.isascii():
            line = text.lower()
            hits = [(h.start(), h.end()) for h in self._pattern.finditer(line) if h.end() > h.start()]
            return [(a, b) for a, b in hits if not (_joined(line, a) or _joined(line, b))]
        clusters = _clusters(text)
        starts, plain, at = {}, [], 0
        for i, (part, _, _) in enumerate(clusters):
            if part:
                starts[at] = i
            plain.append(part)
            at += len(part)
        starts[at] = len(clusters)
        line = "".join(plain)
        found = []
        for hit in self._pattern.finditer(line):
            first, after = starts.get(hit.start()), starts.get(hit.end())
            if first is None or after is None or hit.start() == hit.end():
                continue
            if not (_joined(line, hit.start()) or _joined(line, hit.end())):
                found.append((clusters[first][1], clusters[after - 1][2]))
        return found

    def stands_in(self, text: str) -> bool:
        """Tell whether the label stands in a text."""
        return bool(self.spans(text))

    def stands_in_file(self, text: str) -> bool:
        """Tell whether it stands in a file's text, written plainly or with the escapes of pages, links and JSON."""
        text = _PICTURE.sub("", text)
        ways: Iterable[str] = dict.fromkeys((text, html.unescape(text), unquote(text), _unescaped(text)))
        return any(self.stands_in(way) for way in ways)

    def blacked_out(self, text: str) -> str:
        """Return a text with `BLACKED_OUT` in the label's place."""
        out, at = [], 0
        for start, end in self.spans(text):
            out += [text[at:start], BLACKED_OUT]
            at = end
        return "".join([*out, text[at:]]) if out else text


def _clusters(text: str) -> list[tuple[str, int, int]]:
    """Return (folded, start, end) of every letter with the marks that belong to it."""
    ends = [i for i, c in enumerate(text) if not (unicodedata.combining(c) or _IGNORED.match(c))] or [0]
    ends[0] = 0
    out = []
    for start, end in zip(ends, [*ends[1:], len(text)], strict=True):
        plain = unicodedata.normalize("NFKD", _IGNORED.sub("", text[start:end]))
        plain = unicodedata.normalize("NFKD", plain.casefold()).replace("i\u0307", "i").replace("\u0131", "i")
        out.append((plain, start, end))
    return out


def _joined(line: str, at: int) -> bool:
    """Tell whether the signs before and after a place belong to one word; scripts without spaces between words never do."""
    pair = line[max(0, at - 1) : at + 1]
    return 0 < at < len(line) and all(c.isalnum() and not _UNSPACED.match(c) for c in pair)


def _unescaped(text: str) -> str:
    def plain(found: re.Match[str]) -> str:
        units = bytes.fromhex(found[0].replace("\\u", ""))
        return units.decode("utf-16-be", errors="replace")

    return _JSON_ESCAPE.sub(plain, text)
