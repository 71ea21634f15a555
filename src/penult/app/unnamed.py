"""An analysis in which every text is one of our own: what a shared copy holds.

A text stays if it is one of a few fixed words, or if each of its words stands in a sentence of our own source and it quotes
nothing that the coach typed. Everything else is dropped or exchanged for a fixed sentence.
"""

from __future__ import annotations

import ast
import dataclasses
import importlib.abc
import importlib.resources
import importlib.util
import pkgutil
import re
from collections.abc import Iterable, Iterator, Mapping
from functools import cache
from pathlib import Path
from typing import Any

from penult.app.traces import shared_digest
from penult.core.checks.said_kind import plain_kind
from penult.core.checks.scale import SCALE_CHECK
from penult.core.label import Label, folded, is_plain
from penult.model.analysis import Analysis, JumpSequence, Notice
from penult.model.measured import Measures, NotMeasured

KINDS = ("full approach", "short approach", "mat drill", "run-through", "run through")
"""Other kinds are the coach's own words, which may hold a name."""

OWN_KIND, CLIP_NAME = "own kind", "clip.mp4"
LEFT_OUT = "the reason is left out of this copy"
WARNED = "the original has a warning here, whose words are left out of this copy"
STRIKES = frozenset({"heel first", "flat", "forefoot", ""})
VERSION = r"[0-9][0-9a-z.+-]{0,39}"
METHOD_TEXTS = {"penult": VERSION, "pose_model": "lite|full|heavy", "pose_model_sha256": r"[0-9a-f]{0,64}"}
LIBRARIES = ("ai-edge-litert", "mediapipe", "opencv-python", "av", "numpy", "scipy")
NUMBERS = frozenset({"capture_rate_hz", "height_m", "leg_length_m", "run", "at", "mats", "official_m"})
"""Settings that hold numbers alone."""

_WORD = re.compile(r"[^\W\d_]+")
_SOURCES = ("penult.core", "penult.adapters.film")
"""Where warnings and reasons are written."""


def without_names(analysis: Analysis, label: str, typed: Iterable[str] = ()) -> Analysis:
    """Return the analysis with a label for the athlete, and no other word that the coach typed.

    Parameters
    ----------
    analysis : Analysis
    label : str
        Stands for the athlete.
    typed : iterable of str
        What was typed elsewhere: names of lanes and marks, the session, the note.
    """
    run, words = analysis.run, _Words(analysis, typed)
    own = plain_kind(run.kind) or OWN_KIND
    kind = run.kind if run.kind.lower() in KINDS or not run.kind else own
    clip = dataclasses.replace(
        analysis.clip,
        file=CLIP_NAME,
        sha256=shared_digest(analysis.clip.sha256),
        capture_rate_from=words.kept(analysis.clip.capture_rate_from, "not told"),
    )
    contacts = tuple(
        dataclasses.replace(c, strike=c.strike if c.strike in STRIKES else "", measures=words.measures(c.measures))
        for c in analysis.contacts
    )
    sex = run.sex if run.sex in ("female", "male") else None
    return dataclasses.replace(
        analysis,
        clip=clip,
        run=dataclasses.replace(run, athlete=label if run.athlete else "", kind=kind, sex=sex),
        contacts=contacts,
        steps=tuple(dataclasses.replace(s, measures=words.measures(s.measures)) for s in analysis.steps),
        phases=tuple(dataclasses.replace(p, measures=words.measures(p.measures)) for p in analysis.phases),
        sequence=_sequence(analysis.sequence, words),
        **{part: words.measures(getattr(analysis, part)) for part in ("penultimate", "takeoff", "run_up", "checks")},
        warnings=tuple(words.notice(w) for w in analysis.warnings),
        method=_method(analysis.method, words),
    )


def names_in(analysis: Analysis, typed: Iterable[str] = ()) -> list[str]:
    """Return the words that must not stand in any file of a copy."""
    clip, method = Path(analysis.clip.file), analysis.method
    words = [analysis.run.athlete, clip.name, clip.stem, analysis.clip.sha256, *typed]
    words.append(Path(str(method.get("calibration", ""))).stem)
    if analysis.run.kind.lower() not in KINDS:
        words.append(analysis.run.kind)
    return [w for w in dict.fromkeys(words) if w and not is_plain(w) and not set(_words_of(w)) <= page_words()]


class _Words:
    """The texts of one result, judged."""

    def __init__(self, analysis: Analysis, typed: Iterable[str]) -> None:
        self._typed = [Label(w) for w in names_in(analysis, typed)]
        own = analysis.run.kind
        if own and own.lower() not in KINDS:  # quoted as a whole it is the coach's, whatever words it is made of
            self._typed.append(Label(own))

    def kept(self, text: str, instead: str) -> str:
        """Return a text of our own as it is, `instead` for any other."""
        return text if _is_ours(text) and not any(w.stands_in(text) for w in self._typed) else instead

    def measures(self, measures: Measures) -> Measures:
        """Return the measures that we know, each with a reason of our own where it has no value."""
        return {
            name: NotMeasured(reason=self.kept(m.reason, LEFT_OUT)) if isinstance(m, NotMeasured) else m
            for name, m in measures.items()
            if _is_ours(name)
        }

    def notice(self, notice: Notice) -> Notice:
        """Return a warning in words of our own."""
        code = notice.code if _is_ours(notice.code) else "other"
        return Notice(code=code, text=self.kept(notice.text, WARNED))


def _sequence(found: JumpSequence | None, words: _Words) -> JumpSequence | None:
    if found is None:
        return None
    feet = found.feet if re.fullmatch(r"[LR?]*", found.feet) else ""
    return dataclasses.replace(found, feet=feet, measures=words.measures(found.measures))


def _method(method: Mapping[str, Any], words: _Words) -> dict[str, Any]:
    """Return the versions, and the settings that are numbers: nothing typed in words, nothing of the computer."""
    texts = {k: method[k] for k, form in METHOD_TEXTS.items() if re.fullmatch(form, str(method.get(k, "-/-")))}
    libraries = method.get("libraries")
    known = libraries if isinstance(libraries, Mapping) else {}
    settings = method.get("settings")
    said = settings if isinstance(settings, Mapping) else {}
    out: dict[str, Any] = {
        **texts,
        "libraries": {k: v for k, v in known.items() if k in LIBRARIES and re.fullmatch(VERSION, str(v))},
        "settings": {
            **{k: v for k, v in said.items() if k in NUMBERS and _is_numbers(v)},
            **{k: v for k, v in said.items() if k == "sex" and v in ("female", "male")},
        },
        "shared": True,
    }
    sentence = words.kept(str(method.get(SCALE_CHECK) or ""), "")
    more = {"method": method["method"]} if isinstance(method.get("method"), int) else {}
    return {**out, **more, **({SCALE_CHECK: sentence} if sentence else {})}


def _is_numbers(value: Any) -> bool:
    if isinstance(value, Mapping):
        return set(value) <= {"number", "thickness_m"} and all(map(_is_numbers, value.values()))
    return all(map(_is_numbers, value)) if isinstance(value, list | tuple) else isinstance(value, int | float)


def _is_ours(text: str) -> bool:
    """Tell whether every word of a text stands in a sentence of our own."""
    return set(_words_of(text)) <= own_words()


def _words_of(text: str) -> list[str]:
    return _WORD.findall(folded(text))


@cache
def own_words() -> frozenset[str]:
    """Return the words of all texts in the source of warnings and reasons; comments and docstrings are none."""
    return frozenset(word for source in _sources(_SOURCES) for text in _texts(source) for word in _words_of(text))


@cache
def page_words() -> frozenset[str]:
    """Return these words and those of pages and tables, which stand in every copy whoever is in it."""
    pages = importlib.resources.files("penult.outputs").joinpath("templates")
    layouts = (p.read_text(encoding="utf-8") for p in pages.iterdir() if p.is_file())
    texts = [text for source in _sources(("penult.outputs",)) for text in _texts(source)]
    return own_words() | {word for text in (*texts, *layouts) for word in _words_of(text)}


def _sources(packages: Iterable[str]) -> Iterator[str]:
    for name in packages:
        package = importlib.util.find_spec(name)
        for found in pkgutil.walk_packages(package.submodule_search_locations if package else None, f"{name}."):
            spec = importlib.util.find_spec(found.name)
            loader = spec.loader if spec else None
            source = loader.get_source(found.name) if isinstance(loader, importlib.abc.InspectLoader) else None
            yield source or ""


def _texts(source: str) -> Iterator[str]:
    tree = ast.parse(source)
    said = {id(node.value) for node in ast.walk(tree) if isinstance(node, ast.Expr)}  # docstrings: nobody's sentence
    for node in ast.walk(tree):
        if isinstance(node, ast.Constant) and isinstance(node.value, str) and id(node) not in said:
            yield node.value
