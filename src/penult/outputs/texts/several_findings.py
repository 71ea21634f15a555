"""What stands out among three groups of clips and more, in plain sentences: each against the one they are held against."""

from __future__ import annotations

from penult.core.clips.chance import CHOSEN
from penult.model.comparison import ComparedMeasure, Comparison, Several
from penult.outputs.texts import drops, words
from penult.outputs.texts.findings import directed, subject
from penult.outputs.texts.verdicts import interval_text, matters_text

_MOST_SAID = 4


def several_findings(several: Several) -> list[str]:
    """Return a sentence for each group whose hips differ most surely, then what else was chosen beforehand; never a verdict."""
    name = several.groups[several.against].name
    mats = any(drops.has_mats(t.analysis) for g in several.groups for t in g.trials)
    first = drops.SUPPORT if mats else drops.RUNWAY
    said = [_sentence(row, pair, name) for pair, row in _rows(several, {first}) if _is_told(row)]
    if not said:
        sure = _rows(several, {first})
        if not sure:
            return []
        pair, row = sure[0]
        above = f" {drops.NAMES[first]}" if mats else ""
        found = f"{pair.second.name} {interval_text(row.difference, row.key.name)}{above}"
        said = [f"No hip drop differs from {name} by more than chance; the surest: {found}."]
    others = {k.name for k in CHOSEN} - {drops.RUNWAY, drops.SUPPORT}
    said += [_sentence(row, pair, name) for pair, row in _rows(several, others) if _is_told(row)]
    more = len(said) - _MOST_SAID
    return said if more <= 0 else [*said[:_MOST_SAID], f"{more} more stand out in the table."]


def _rows(several: Several, names: set[str]) -> list[tuple[Comparison, ComparedMeasure]]:
    """Return the rows of chosen measures with a difference, the surest first."""
    found = [
        (pair, row)
        for pair in several.pairs
        for row in pair.rows
        if row.key in CHOSEN and row.key.name in names and row.difference is not None
    ]
    return sorted(found, key=lambda pr: pr[1].false_share if pr[1].false_share is not None else 1.0)


def _is_told(row: ComparedMeasure) -> bool:
    return row.verdict.kind in ("clearly different", "apart in these runs")


def _sentence(row: ComparedMeasure, pair: Comparison, name: str) -> str:
    if row.difference is None:
        return ""
    how = directed(row.key.name, row.difference)
    text = f"{words.capitalised(subject(row.key))} was {how} in {pair.second.name} than in {name}"
    sure = (
        "in these runs; what is usual is not known yet"
        if row.verdict.kind == "apart in these runs"
        else "and that is real (95\u00a0% interval)"
    )
    matters = matters_text(row)
    other = _other_drop(row, pair)
    return f"{text}, {sure}{'; ' + matters if matters else ''}.{' ' + other if other else ''}"


def _other_drop(row: ComparedMeasure, pair: Comparison) -> str:
    """Say the drop above the runway beside the one above what each foot stood on: neither stands alone on mats."""
    if row.key.name != drops.SUPPORT:
        return ""
    other = pair.row(row.key._replace(name=drops.RUNWAY))
    if other is None or other.difference is None:
        return ""
    if _is_told(other):
        return (
            f"{words.capitalised(drops.NAMES[drops.RUNWAY])} it was {directed(drops.RUNWAY, other.difference)} there."
        )
    found = interval_text(other.difference, drops.RUNWAY)
    return f"{words.capitalised(drops.NAMES[drops.RUNWAY])} no difference was seen ({found})."
