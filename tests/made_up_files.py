"""Files as hypothesis makes them up: odd values put into a sound file, or bytes that are no file of that kind at all."""

from __future__ import annotations

import csv
import io
import json
from typing import Any

from hypothesis import strategies as st

from fuzzing import Target

TEXT = st.text(max_size=40)
NUMBERS = st.one_of(
    st.integers(), st.floats(), st.sampled_from([2**31, 2**63, -(2**63) - 1, 10**400, 1e308, -1e308, 5e-324])
)
VALUES: st.SearchStrategy[Any] = st.recursive(
    st.one_of(st.none(), st.booleans(), NUMBERS, TEXT),
    lambda inner: st.one_of(st.lists(inner, max_size=4), st.dictionaries(TEXT, inner, max_size=4)),
    max_leaves=8,
)


def made_up_file(target: Target) -> st.SearchStrategy[bytes]:
    """Return what a reader is handed."""
    sound = st.sampled_from(target.seeds)
    broken = spliced(sound)
    if target.kind == "json":
        return st.one_of(changed_tree(sound), changed_tree(sound), VALUES.map(_json), broken)
    if target.kind == "csv":
        return st.one_of(changed_table(sound), changed_table(sound), broken)
    return st.one_of(broken, broken, st.binary(max_size=3000))


def _json(value: Any) -> bytes:
    return json.dumps(value, ensure_ascii=False).encode("utf-8", errors="surrogatepass")


@st.composite
def spliced(draw: st.DrawFn, sound: st.SearchStrategy[bytes]) -> bytes:
    """Put bytes in the place of others, once to three times."""
    data = bytearray(draw(sound))
    for _ in range(draw(st.integers(1, 3))):
        at = draw(st.integers(0, len(data)))
        data[at : at + draw(st.integers(0, 40))] = draw(st.binary(max_size=40))
    return bytes(data)


@st.composite
def changed_tree(draw: st.DrawFn, sound: st.SearchStrategy[bytes]) -> bytes:
    """Put any value in the place of another, once to three times."""
    content: Any = {"": json.loads(draw(sound))}
    for _ in range(draw(st.integers(1, 3))):
        node: Any = content
        while True:
            keys: list[Any] = list(node) if isinstance(node, dict) else list(range(len(node)))
            key = draw(st.sampled_from(keys))
            inner = node[key]
            if not (isinstance(inner, dict | list) and inner) or draw(st.integers(0, 9)) == 0:
                break
            node = inner
        node[key] = draw(VALUES)
    return _json(content[""])


@st.composite
def changed_table(draw: st.DrawFn, sound: st.SearchStrategy[bytes]) -> bytes:
    """Put any text in the place of cells, and add and drop cells."""
    rows = list(csv.reader(io.StringIO(draw(sound).decode("utf-8-sig"), newline="")))
    for _ in range(draw(st.integers(1, 4))):
        row = draw(st.sampled_from(rows))
        at = draw(st.integers(0, len(row)))
        row[at : at + draw(st.integers(0, 2))] = draw(st.lists(st.one_of(TEXT, NUMBERS.map(str)), max_size=2))
    out = io.StringIO(newline="")
    writer = csv.writer(out, quoting=csv.QUOTE_ALL, escapechar="\\")
    for row in rows:
        writer.writerow([cell.replace("\0", "") for cell in row])
    return out.getvalue().encode("utf-8", errors="surrogatepass")
