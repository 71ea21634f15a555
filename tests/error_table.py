"""Every error that penult can raise, read from its source, as the list that `penult help errors` prints.

`python tests/error_table.py` prints the list; with --write it goes into the package's data.
"""

from __future__ import annotations

import ast
import sys
from dataclasses import dataclass
from pathlib import Path

from penult import errors
from penult.adapters.logbook.connection import DAMAGED_NEXT

ROOT = Path(__file__).resolve().parents[1]
LIST = ROOT / "src" / "penult" / "data" / "errors.txt"
CLASSES = {
    name: kind for name, kind in vars(errors).items() if isinstance(kind, type) and issubclass(kind, errors.PenultError)
}
TITLES = {
    2: "Exit 2: what was handed over is at fault",
    3: "Exit 3: the clip cannot answer",
    1: "Exit 1: our own fault",
}
SHARED_TEXTS = {"DAMAGED_NEXT": DAMAGED_NEXT}


@dataclass(frozen=True, order=True)
class Said:
    """One place that makes an error: class, first line, what next, and where it is."""

    status: int
    what: str
    next_step: str
    kind: str
    place: str


def errors_of(root: Path = ROOT / "src" / "penult") -> list[Said]:
    """Return every error that the source makes, in the order of file and line."""
    out = []
    for file in sorted(root.rglob("*.py")):
        if file.name == "errors.py":
            continue
        tree = ast.parse(file.read_text(encoding="utf-8"))
        texts = _constants(tree)
        for node in ast.walk(tree):
            name = node.func.id if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) else ""
            if name not in CLASSES or not isinstance(node, ast.Call) or not node.args:
                continue
            told = next((k.value for k in node.keywords if k.arg == "next_step"), None)
            for what in _first_lines(node.args[0], tree):
                out.append(
                    Said(
                        status=CLASSES[name].exit_status,
                        what=_text(what, texts),
                        next_step=_text(told, texts) if told else "",
                        kind=name,
                        place=f"{file.relative_to(root)}:{node.lineno}",
                    )
                )
    return out


def _first_lines(what: ast.expr, tree: ast.Module) -> list[ast.expr]:
    """Return the first line, or, where it is a parameter of its function, what the callers in the file hand over."""
    if not isinstance(what, ast.Name):
        return [what]
    for function in (n for n in ast.walk(tree) if isinstance(n, ast.FunctionDef)):
        names = [a.arg for a in function.args.args if a.arg != "self"]
        inside = any(n is what for n in ast.walk(function))
        if inside and what.id in names:
            at = names.index(what.id)
            calls = [n for n in ast.walk(tree) if isinstance(n, ast.Call) and _called(n) == function.name]
            return [c.args[at] for c in calls if len(c.args) > at]
    return [what]


def _called(node: ast.Call) -> str:
    return node.func.id if isinstance(node.func, ast.Name) else getattr(node.func, "attr", "")


def _constants(tree: ast.Module) -> dict[str, str]:
    """Return the module's text constants."""
    out = {}
    for node in ast.walk(tree):
        targets = (
            node.targets if isinstance(node, ast.Assign) else [node.target] if isinstance(node, ast.AnnAssign) else []
        )
        value = node.value if isinstance(node, ast.Assign | ast.AnnAssign) else None
        if isinstance(value, ast.Constant) and isinstance(value.value, str):
            out.update({t.id: value.value for t in targets if isinstance(t, ast.Name)})
    return out


def _text(node: ast.expr, texts: dict[str, str]) -> str:
    """Return a message with its facts as words in capitals."""
    match node:
        case ast.Constant():
            out = str(node.value)
        case ast.Name():
            out = texts.get(node.id) or SHARED_TEXTS.get(node.id) or _fact(node)
        case ast.JoinedStr():
            parts = [v for v in node.values if not _is_plural(v)]
            out = "".join(str(v.value) if isinstance(v, ast.Constant) else _fact(v.value) for v in parts)
        case ast.BoolOp():
            out = _text(node.values[-1], texts)
        case ast.IfExp():
            out = f"{_text(node.body, texts)} / {_text(node.orelse, texts)}"
        case ast.BinOp():
            out = _text(node.left, texts) + _text(node.right, texts)
        case _:
            out = _fact(node)
    return out


def _is_plural(node: ast.expr) -> bool:
    return isinstance(node, ast.FormattedValue) and isinstance(node.value, ast.IfExp) and "'s'" in ast.dump(node.value)


def _fact(node: ast.expr) -> str:
    """Name a fact by the last telling word of its expression: FILE, FOLDER, COUNT."""
    if any(isinstance(n, ast.BinOp) for n in ast.walk(node)):
        return "N"
    if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id in {"len", "int", "float"}:
        return "N"
    if isinstance(node, ast.Call):
        return "REASON" if not isinstance(node.func, ast.Attribute) or node.func.attr != "format" else "N"
    words = [w for n in ast.walk(node) for w in _names(n) if w not in {"self", "name", "str", "error"}]
    word = words[0] if words else "REASON"
    word = {
        "path": "file",
        "clip_path": "clip",
        "lane_path": "lane file",
        "there": "file",
        "where": "file",
        "damaged next": "go back to a copy of it",
    }.get(word, word)
    return word.strip("_").replace("_", " ").upper()


def _names(node: ast.AST) -> list[str]:
    if isinstance(node, ast.Name):
        return [node.id]
    return [node.attr] if isinstance(node, ast.Attribute) else []


def table() -> str:
    """Return the list that `penult help errors` prints: under each exit status a line an error, and under it what next."""
    said = errors_of()
    parts = []
    for status, title in TITLES.items():
        rows: dict[str, str] = {}
        for error in sorted(e for e in said if e.status == status and not e.what.isupper()):
            rows[error.what] = rows.get(error.what) or error.next_step
        if status == 1:
            rows["something unexpected went wrong inside penult"] = "send us the lines it prints; never the film"
        lines = [f"{_line(what)}\n    {_line(step) or DETAILS}" for what, step in rows.items()]
        parts.append("\n".join([title, "", *lines]))
    return "\n\n".join(parts) + "\n"


DETAILS = "the lines under the message say what was found and what was wanted"


def _line(text: str) -> str:
    return text.replace("\n", " ").strip()


def main() -> None:
    """Print the list, or write it."""
    if "--write" in sys.argv:
        LIST.write_text(table(), encoding="utf-8")
    else:
        sys.stdout.write(table())


if __name__ == "__main__":
    main()
