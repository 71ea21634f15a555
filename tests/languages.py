"""The catalogues of languages: what the source says, what the .po files say, and the .mo files that Python reads.

    python tests/languages.py            say what is missing
    python tests/languages.py --write    add new texts to the .po files (untranslated) and write every .mo anew

The .mo format is that of the GNU gettext manual, chapter "The Format of GNU MO Files": the same .po gives the same bytes
everywhere.
"""

from __future__ import annotations

import ast
import re
import struct
import sys
from pathlib import Path

SOURCE = Path(__file__).parents[1] / "src" / "penult"
PLACE = SOURCE / "data" / "languages"
LANGUAGES = ("de", "fr", "es")
SAYING = frozenset({"mark", "say", "_line"})
HEAD = "Content-Type: text/plain; charset=UTF-8\nLanguage: {}\n"


def texts_in_source() -> list[str]:
    """Return every text given to `mark`, `say` or `_line`, sorted; also those chosen by a condition and those of templates."""
    found: set[str] = set()
    for path in sorted(SOURCE.rglob("*.py")):
        tree = ast.parse(path.read_text(encoding="utf-8"))
        speaks = "tongue" in path.read_text(encoding="utf-8")
        for node in ast.walk(tree):
            if speaks and isinstance(node, ast.Call) and _name(node.func) in SAYING:
                found |= {c.value for a in node.args for c in _texts(a)}
            if speaks and isinstance(node, ast.Assign) and any(_name(t) == "title" for t in node.targets):
                found |= {c.value for c in _texts(node.value)}
    for path in sorted((SOURCE / "outputs" / "templates").glob("sheet*.j2")):
        found |= set(re.findall(r"say\('([^']*)'\)", path.read_text(encoding="utf-8")))
    return sorted(t for t in found if not re.fullmatch(r"[a-z_0-9]+_(m|s|deg|per_s)", t))


def _name(node: ast.expr) -> str:
    return node.attr if isinstance(node, ast.Attribute) else node.id if isinstance(node, ast.Name) else ""


def _texts(node: ast.expr) -> list[ast.Constant]:
    if isinstance(node, ast.Constant) and isinstance(node.value, str):
        return [node]
    return [*_texts(node.body), *_texts(node.orelse)] if isinstance(node, ast.IfExp) else []


def read_po(path: Path) -> dict[str, str]:
    """Return the texts of a .po file with their translations, '' where there is none."""
    pairs = re.findall(r'^msgid "(.*)"\nmsgstr "(.*)"$', path.read_text(encoding="utf-8"), re.MULTILINE)
    return {_plain(a): _plain(b) for a, b in pairs}


def _plain(text: str) -> str:
    return text.replace("\\n", "\n").replace('\\"', '"').replace("\\\\", "\\")


def _quoted(text: str) -> str:
    return text.replace("\\", "\\\\").replace('"', '\\"').replace("\n", "\\n")


def mo_bytes(texts: dict[str, str]) -> bytes:
    """Return a .mo file: header, two tables of lengths and offsets sorted by text, and the texts, each ended by a zero."""
    pairs = sorted((a.encode(), b.encode()) for a, b in texts.items() if b)
    head, count = 7 * 4, len(pairs)
    at = head + 16 * count
    tables, body = [b"", b""], b""
    for which in (0, 1):
        for pair in pairs:
            tables[which] += struct.pack("<II", len(pair[which]), at + len(body))
            body += pair[which] + b"\0"
    return struct.pack("<7I", 0x950412DE, 0, count, head, head + 8 * count, 0, at) + tables[0] + tables[1] + body


def po_path(language: str) -> Path:
    return PLACE / language / "LC_MESSAGES" / "penult.po"


def write() -> None:
    """Bring every .po up to the source and write every .mo."""
    for language in LANGUAGES:
        path = po_path(language)
        path.parent.mkdir(parents=True, exist_ok=True)
        known = read_po(path) if path.is_file() else {}
        texts = {"": HEAD.format(language), **{t: known.get(t, "") for t in texts_in_source()}}
        rows = [f'msgid "{_quoted(a)}"\nmsgstr "{_quoted(b)}"\n' for a, b in texts.items()]
        path.write_text("\n".join(rows), encoding="utf-8")
        path.with_suffix(".mo").write_bytes(mo_bytes(texts))
        print(language, "untranslated:", [t for t, b in texts.items() if not b])


if __name__ == "__main__":
    if "--write" in sys.argv:
        write()
    else:
        for word in LANGUAGES:
            print(word, "missing:", sorted(set(texts_in_source()) - set(read_po(po_path(word)))))
