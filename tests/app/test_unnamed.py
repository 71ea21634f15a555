"""T59: a shared copy holds no word that the coach typed but the label, wherever the result holds it."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from forgetting import some
from penult.adapters.files.result_file import read_analysis
from penult.app.unnamed import LEFT_OUT, WARNED, names_in, own_words, without_names
from penult.model.analysis import Analysis, Notice
from penult.model.measured import Measured, NotMeasured
from penult.model.trial import measures_of
from penult.outputs.folder.result import analysis_to_json

TYPED = "Grete Beispiel vom Sportclub"


def texts(value: Any) -> Iterator[str]:
    """Yield every text of a JSON tree, keys too."""
    if isinstance(value, dict):
        yield from value
        value = list(value.values())
    if isinstance(value, list):
        for inner in value:
            yield from texts(inner)
    if isinstance(value, str):
        yield value


def written(analysis: Analysis) -> Any:
    return json.loads(analysis_to_json(analysis))


def tainted(words: str) -> Analysis:
    """A result that holds words in every field of text that there is."""
    one = some("A1", 1, seed=1)[0].analysis
    reason = NotMeasured(reason=f"{words} is hidden")
    return replace(
        one,
        clip=replace(one.clip, file=f"{words}.mp4", capture_rate_from=f"{words} said so"),
        run=replace(one.run, kind=words, athlete=words, sex=words),
        contacts=tuple(
            replace(c, strike=words, measures={**c.measures, "knee_angle_min_deg": reason}) for c in one.contacts
        ),
        steps=tuple(replace(s, measures={**s.measures, "step_length_m": reason}) for s in one.steps),
        penultimate={**one.penultimate, words.split(maxsplit=1)[0].lower(): Measured(value=1.0, u95=0.1)},
        takeoff={**one.takeoff, "takeoff_angle_deg": reason},
        warnings=(
            Notice(code="kind-disagrees", text=f"entered as {words}, but no take-off is seen in the clip"),
            Notice(code=words, text=words),
        ),
        method={
            "penult": words,
            "method": 3,
            "calibration": words,
            "machine": words,
            words: words,
            "libraries": {words: words, "numpy": "2.0.1"},
            "settings": {
                "athlete": words,
                "kind": words,
                "height_m": 1.7,
                "sex": words,
                "at": words,
                "mats": [{words: 1}],
            },
            "corrections": [{"kind": "kind-set", "word": words}],
        },
    )


@pytest.mark.parametrize("words", [TYPED, "Grete", "Ülkü", "drill for Grete"])
def test_no_typed_word_is_left_in_any_text(words: str) -> None:
    copy = without_names(tainted(words), "A")

    wanted = {w.casefold() for w in words.split()} - own_words()
    assert wanted
    found = [t for t in texts(written(copy)) if any(w in t.casefold() for w in wanted)]
    assert found == []
    assert copy.run.athlete == "A"
    assert copy.method["method"] == 3
    assert copy.method["settings"] == {"height_m": 1.7}
    assert copy.method["libraries"] == {"numpy": "2.0.1"}


def test_a_kind_made_of_ordinary_words_is_not_quoted_either() -> None:
    """Each of its words is one of ours as well; quoted as a whole they are the coach's."""
    copy = without_names(tainted("running on the other lane"), "A")

    assert [t for t in texts(written(copy)) if "running on the other lane" in t] == []
    assert copy.run.kind == "own kind"
    assert WARNED in {w.text for w in copy.warnings}


@given(st.text(alphabet=st.characters(whitelist_categories=("L", "N", "Zs")), min_size=1, max_size=30))
def test_any_words_in_a_reason_are_kept_only_if_all_are_ours(words: str) -> None:
    one = some("A1", 1, seed=1)[0].analysis
    copy = without_names(replace(one, checks={"stature_m": NotMeasured(reason=words)}), "A")

    reason = copy.checks["stature_m"] if copy.checks else NotMeasured(reason=LEFT_OUT)
    assert isinstance(reason, NotMeasured)
    if reason.reason != LEFT_OUT:
        assert {w for w in reason.reason.casefold().split() if w.isalpha() and w.isascii()} <= own_words()


def test_the_sentences_of_real_results_stay(samples: Path) -> None:
    """A copy that says nothing would be no use: values, reasons and warnings of the samples are all there."""
    read = 0
    for path in samples.glob("*/result/analysis.json"):
        analysis = read_analysis(path)
        copy = without_names(analysis, "A")
        assert measures_of(copy) == measures_of(analysis)
        assert [w.text for w in copy.warnings] == [w.text for w in analysis.warnings]
        read += 1
    if not read:
        pytest.skip("the samples hold no results")


def test_an_invented_season_stays(samples: Path) -> None:
    for one in some("A1", 3, seed=4):
        assert measures_of(without_names(one.analysis, "A")).keys() == measures_of(one.analysis).keys()


def test_words_that_every_page_holds_are_no_names() -> None:
    """A folder called 'films' or a lane called 'lane3' must not keep a copy from being written."""
    one = some("A1", 1, seed=1)[0].analysis
    found = names_in(
        replace(one, clip=replace(one.clip, file="clip.mp4")), ["hall", "films", "the hip", "Sportclub", ""]
    )

    assert "Sportclub" in found
    assert not {"hall", "the hip", "", "clip"} & set(found)
