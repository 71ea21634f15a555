"""Three groups of clips and more side by side, as a page that can be sent and as a table."""

from __future__ import annotations

from typing import Any

from markupsafe import Markup

from penult.core.clips.chance import CHOSEN
from penult.model import catalogue
from penult.model.comparison import ComparedMeasure, Comparison, Several
from penult.model.trial import MeasureKey
from penult.outputs.charts.several_charts import MOST_BANDS, paths_chart, rows_chart, style_of, values_of
from penult.outputs.charts.svg import Drawing, escaped
from penult.outputs.pages import layout
from penult.outputs.pages.comparison import clips_csv, csv_bytes
from penult.outputs.pages.page_files import MARK
from penult.outputs.texts import drops, words
from penult.outputs.texts.plain import shown
from penult.outputs.texts.several_findings import several_findings
from penult.outputs.texts.verdicts import full_words, interval_text, value_text, verdict_text


def several_html(several: Several, *, source: str) -> str:
    """Return the page.

    Parameters
    ----------
    several : Several
        Trials with hip paths where there are any.
    source : str
        Where the results came from.

    Returns
    -------
    str
        A whole HTML document, drawings inside.
    """
    groups = several.groups
    notices = {n.text: n for c in several.pairs for n in c.notices}
    return layout.template("several.html.j2").render(
        mark=MARK,
        source=source,
        groups=groups,
        against=groups[several.against].name,
        findings=several_findings(several),
        legend=[_legend(i, g.name, len(g.trials)) for i, g in enumerate(groups)],
        paths=[Markup(paths_chart(groups, width=w)) for w in (760.0, 370.0)],
        bands=len(groups) <= MOST_BANDS,
        measures=_measures(several),
        table=_table(several),
        notices=list(notices.values()),
        words=words,
        shown=shown,
    )


def several_csv(several: Several) -> dict[str, bytes]:
    """Return `side_by_side.csv`, a row a measure and group in SI units and degrees, and `side_by_side_clips.csv`."""
    head = ["part", "number", "measure", "group", "clips", "mean", "difference", "ci95_low", "ci95_high", "verdict"]
    names = [g.name for i, g in enumerate(several.groups) if i != several.against]
    rows: list[list[Any]] = []
    for name, pair in zip(names, several.pairs, strict=True):
        for row in pair.rows:
            d = row.difference
            rows.append([
                row.key.part, "" if row.key.number is None else row.key.number, row.key.name, name, len(row.second.values),
                row.second.mean, *((d.value, d.low, d.high) if d else ("",) * 3), verdict_text(row.verdict, row.key.name),
            ])  # fmt: skip
    return {"side_by_side.csv": csv_bytes(head, rows), "side_by_side_clips.csv": clips_csv(several.groups)}


def keys_of(several: Several) -> list[MeasureKey]:
    """Return the main numbers in their order: those chosen beforehand, then those of a comparison."""
    wanted = dict.fromkeys((*CHOSEN, *(MeasureKey(*k) for k in catalogue.headlines("comparison"))))
    with_mats = any(drops.has_mats(t.analysis) for g in several.groups for t in g.trials)
    keys = [k for k in wanted if with_mats or k.name != drops.SUPPORT]
    return [k for k in keys if any(values_of(g, k) for g in several.groups)]


def _legend(place: int, name: str, clips: int) -> Markup:
    number, shape = style_of(place)
    picture = Drawing(34.0, 14.0, "legend")
    picture.line((1.0, 7.0), (33.0, 7.0), f"trend k{number}")
    picture.mark((17.0, 7.0), shape, f"k{number} session", size=4.6)
    return Markup(
        f'<span class="key">{picture.svg()}<bdi>{escaped(name)}</bdi> <small>{words.counted(clips, "clip")}</small></span>'
    )


def _measures(several: Several) -> list[dict[str, Any]]:
    out = []
    for key in keys_of(several):
        charts = [Markup(rows_chart(several.groups, key, width=w)) for w in (540.0, 370.0)]
        out.append({"title": words.capitalised(full_words(key)), "unit": words.term(key.name).unit, "charts": charts})
    return out


def _table(several: Several) -> list[tuple[str, list[dict[str, Any]]]]:
    rows = []
    for key in keys_of(several):
        pairs = iter(several.pairs)
        cells = [
            _reference_cell(several, key) if i == several.against else _cell(next(pairs), key)
            for i in range(len(several.groups))
        ]
        rows.append((words.capitalised(full_words(key)), cells))
    return rows


def _reference_cell(several: Several, key: MeasureKey) -> dict[str, Any]:
    row = several.pairs[0].row(key)
    return {
        "mean": _mean(row, second=False),
        "count": len(row.first.values) if row else 0,
        "difference": "",
        "verdict": "",
        "is_clear": False,
    }


def _cell(pair: Comparison, key: MeasureKey) -> dict[str, Any]:
    row = pair.row(key)
    if row is None:
        return {"mean": words.DASH, "count": 0, "difference": "", "verdict": "", "is_clear": False}
    return {
        "mean": _mean(row, second=True),
        "count": len(row.second.values),
        "difference": interval_text(row.difference, key.name) if row.difference else "",
        "verdict": verdict_text(row.verdict, key.name),
        "is_clear": row.verdict.kind in ("clearly different", "apart in these runs"),
    }


def _mean(row: ComparedMeasure | None, *, second: bool) -> str:
    side = None if row is None else row.second if second else row.first
    if row is None or side is None or side.mean is None:
        return words.DASH
    half = row.difference.half_width if row.difference else max((m.u95 for _, m in side.values), default=0.0)
    return value_text(side.mean, half, row.key.name)
