"""Four languages: every text in each, with the same places to fill in; numbers, units and dates by each one's rules."""

from __future__ import annotations

import re
import shutil
import subprocess
from pathlib import Path

import pytest

import languages
from penult.app.showing import language_here
from penult.model.measured import Measured, NotMeasured
from penult.model.showing import LANGUAGES, Language, Showing, showing_of
from penult.outputs.pages.sheet import day_said
from penult.outputs.texts.tongue import Tongue


def test_the_source_has_texts_and_the_catalogues_have_no_others() -> None:
    texts = languages.texts_in_source()

    assert len(texts) > 45
    for language in languages.LANGUAGES:
        assert set(languages.read_po(languages.po_path(language))) - {""} == set(texts), language


@pytest.mark.parametrize("language", languages.LANGUAGES)
def test_every_text_is_translated_with_the_same_places(language: str) -> None:
    for text, said in languages.read_po(languages.po_path(language)).items():
        if text:
            assert said, f"{language}: {text!r} is not translated"
            assert sorted(re.findall(r"\{\w+\}", said)) == sorted(re.findall(r"\{\w+\}", text)), (language, text)


@pytest.mark.parametrize("language", languages.LANGUAGES)
def test_the_shipped_mo_is_what_its_po_makes_and_is_read_by_the_standard_library(language: Language) -> None:
    path = languages.po_path(language)
    texts = languages.read_po(path)

    assert path.with_suffix(".mo").read_bytes() == languages.mo_bytes(texts)
    for text, said in texts.items():
        if text and "{" not in text:
            assert Tongue(language=language).say(text) == said


@pytest.mark.parametrize("language", languages.LANGUAGES)
def test_gettext_s_own_compiler_takes_the_catalogue(language: str, tmp_path: Path) -> None:
    """`msgfmt --check-format` of GNU gettext, where it is installed."""
    msgfmt = shutil.which("msgfmt")
    if msgfmt is None:
        pytest.skip("no msgfmt on this machine")
    done = subprocess.run(
        [msgfmt, "--check-format", "-o", str(tmp_path / "x.mo"), str(languages.po_path(language))],
        capture_output=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr


@pytest.mark.parametrize(
    ("language", "step", "drop", "time"),
    [
        ("en", "2.148 ± 0.012 m", "−1.2 ± 0.9 cm", "0.112 ± 0.003 s"),
        ("de", "2,148 ± 0,012 m", "−1,2 ± 0,9 cm", "0,112 ± 0,003 s"),
        ("fr", "2,148 ± 0,012 m", "−1,2 ± 0,9 cm", "0,112 ± 0,003 s"),
        ("es", "2,148 ± 0,012 m", "−1,2 ± 0,9 cm", "0,112 ± 0,003 s"),
    ],
)
def test_numbers_follow_the_language(language: Language, step: str, drop: str, time: str) -> None:
    tongue = Tongue(language=language)

    assert tongue.amount("step_length_m", Measured(value=2.148, u95=0.012)).text == step
    assert tongue.amount("penultimate_hip_drop_m", Measured(value=-0.012, u95=0.009)).text == drop
    assert tongue.amount("contact_time_s", Measured(value=0.1121, u95=0.003), unit="s").text == time
    assert tongue.amount("contact_time_s", NotMeasured(reason="dark")).text == ""


@pytest.mark.parametrize(
    ("metres", "u95_m", "said"),
    [
        (2.1336, 0.0254, "7 ft 0.0 ± 1.0 in"),  # 84 inches
        (2.1310, 0.0254, "6 ft 11.9 ± 1.0 in"),  # 83.898
        (2.13350, 0.0254, "7 ft 0.0 ± 1.0 in"),  # 83.996, which rounds to the next foot
        (13.42, 0.08, "44 ft 0 ± 3 in"),  # 528.3
        (-0.3048, 0.0254, "−1 ft 0.0 ± 1.0 in"),
    ],
)
def test_feet_and_inches(metres: float, u95_m: float, said: str) -> None:
    """A foot is 12 inches of exactly 25.4 mm."""
    assert Tongue(units="feet").amount("step_length_m", Measured(value=metres, u95=u95_m)).text == said


def test_short_lengths_are_inches_and_nothing_else_changes() -> None:
    feet = Tongue(units="feet", language="de")

    assert feet.amount("penultimate_hip_drop_m", Measured(value=0.0381, u95=0.0127)).text == "1,5 ± 0,5 in"
    assert feet.amount("takeoff_angle_deg", Measured(value=19.2, u95=0.8)).text == "19,2 ± 0,8°"
    assert feet.amount("approach_speed_m_per_s", Measured(value=8.2, u95=0.2)).text == "8,2 ± 0,2 m/s"


def test_dates_follow_the_language() -> None:
    said = {language: day_said("2026-11-28", Tongue(language=language)) for language in LANGUAGES}

    assert said == {"en": "2026-11-28", "de": "28.11.2026", "fr": "28/11/2026", "es": "28/11/2026"}


@pytest.mark.parametrize(
    ("surroundings", "language"),
    [
        ({"LANG": "de_DE.UTF-8"}, "de"),
        ({"LANG": "de_AT", "LC_ALL": "fr_CH.UTF-8"}, "fr"),
        ({"LANGUAGE": "nl:es:de", "LANG": "en_GB.UTF-8"}, "es"),
        ({"LANG": "C.UTF-8"}, "en"),
        ({"LANG": "nl_NL.UTF-8"}, "en"),
        ({"LC_MESSAGES": "es_ES"}, "es"),
    ],
)
def test_the_computer_s_language_is_taken_as_gettext_does(surroundings: dict[str, str], language: str) -> None:
    assert language_here(surroundings) == language


def test_how_a_result_is_shown_goes_with_it_and_the_usual_is_not_written() -> None:
    other = Showing(film="portrait", language="fr", units="feet")

    assert Showing().plain() is None
    assert showing_of({"showing": other.plain()}) == other
    assert showing_of({}) == Showing()
    assert showing_of({"showing": {"film": "round", "language": 3}}) == Showing()
