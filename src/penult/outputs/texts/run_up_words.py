"""What many run-ups show, in sentences for page and terminal alike."""

from __future__ import annotations

from penult.model.comparison import Interval
from penult.model.measured import Measured, NotMeasured
from penult.model.run_ups import Between, ChangedMeasure, Day, PatternChange, RunUps, Scatter, Splits, Steering, Trend
from penult.model.trial import MeasureKey, Trial, measures_of
from penult.outputs.texts import words
from penult.outputs.texts.verdicts import amount, full_words, interval_text

_CM = 100.0


def contact_name(number: int) -> str:
    """Return a contact by its number: 'take-off contact', 'contact −4'."""
    return "take-off contact" if number == 0 else f"contact {words.MINUS}{-number}"


def between_text(b: Between, scale: float, unit: str) -> str:
    """Return a value with the ends of its 95 % interval: '25 cm (16 to 62)'."""
    places = max(0, min(words.decimals(scale * (b.high - b.low) / 2.0), 1))
    low, value, high = (words.number(scale * v, places) for v in (b.low, b.value, b.high))
    return f"{value}{words.spaced(unit)} ({low} to {high})"


def told_scatter(runs: RunUps) -> tuple[Scatter, ...]:
    """Return the contacts whose scatter is told: those that three run-ups and more show."""
    return tuple(s for s in runs.scatter if isinstance(s.sd_m, Between))


def scatter_text(scatter: Scatter) -> str:
    """Return the scatter of one contact, or a dash with its reason."""
    sd = scatter.sd_m
    return between_text(sd, _CM, "cm") if isinstance(sd, Between) else f"{words.DASH} ({sd.reason})"


def steering_text(found: Steering | NotMeasured) -> str:
    """Return from where the athlete steers, with how sure that is."""
    if isinstance(found, NotMeasured):
        return f"Steering: not measured: {found.reason}."
    likely = f"between {found.likely[0]} and {found.likely[-1]}".replace("-", words.MINUS)
    text = (
        f"Steering begins at {contact_name(found.from_number)}: the scatter is largest there and falls from there on "
        f"(probability {100.0 * found.probability:.0f} %; with 95 % {likely}; {found.runs} run-ups)."
    )
    if found.first_seen in found.likely:
        text += f" {words.capitalised(contact_name(found.first_seen))} is the first that is seen: it may begin earlier still."
    return text


def shares_text(runs: RunUps) -> str:
    """Return which steps make up for the error, most first."""
    if isinstance(runs.shares, NotMeasured):
        return f"Shares of the adjustment: not measured: {runs.shares.reason}."
    most = sorted(runs.shares, key=lambda s: -s.share.value)[:2]
    each = [f"{100.0 * s.share.value:.0f} % in the {words.step_words(s.number)}" for s in most]
    flight = [s.flight.value for s in most if s.flight]
    rest = f"; {100.0 * sum(flight):.0f} % of all by flight time in these two" if len(flight) == len(most) else ""
    return f"Made up for: {' and '.join(each)}{rest}."


def run_line(name: str, trial: Trial, splits: Splits) -> str:
    """Return one run in a line: toe to board, last three step lengths, speeds between places with the gate's beside."""
    found = measures_of(trial.analysis)
    toe = words.shown("toe_to_board_m", found.get(MeasureKey("takeoff", None, "toe_to_board_m"))).text
    steps = [words.shown("step_length_m", found.get(MeasureKey("steps", n, "step_length_m"))) for n in (-2, -1, 0)]
    speeds = [
        f"{-start:g}-{-end:g} m {speed_text(film)}{'' if gate is None else f' (gate {gate:.2f})'}"
        for (start, end), film, gate in zip(splits.zones_m, splits.film, splits.gate, strict=True)
    ]
    return f"{name}: toe {toe}; steps {', '.join(s.value or words.DASH for s in steps)} m; {', '.join(speeds)}"


def trend_text(trend: Trend | NotMeasured, of: str) -> str:
    """Return how the toe's distance to the board goes with the number of the run or the strides."""
    if isinstance(trend, NotMeasured):
        return f"Toe to board with {of}: not measured: {trend.reason}."
    slope = trend.slope
    verdict = "" if abs(slope.value) > slope.half_width else ": no drift can be told"
    return f"Toe to board with {of}: {interval_text(slope, 'toe_to_board_m')} for each more ({trend.runs} run-ups){verdict}."


def day_text(day: Day) -> str:
    """Return one day of a season in a line: toe to board, largest scatter and that at the board, speed before the last steps."""
    parts = [f"{counted_runs(day.runs)}"]
    if isinstance(day.to_board_m, Interval):
        parts.append(f"toe to board {interval_text(day.to_board_m, 'toe_to_board_m')}")
    if day.scatter_m:
        number, most = max(day.scatter_m, key=lambda s: s[1].value)
        parts.append(f"scatter {between_text(most, _CM, 'cm')} at {contact_name(number)}")
        at_board = dict(day.scatter_m).get(0)
        if at_board is not None and number != 0:
            parts.append(f"{between_text(at_board, _CM, 'cm')} at the board")
    if isinstance(day.speed_m_per_s, Interval):
        parts.append(f"speed {interval_text(day.speed_m_per_s, 'step_speed_m_per_s')}")
    if len(parts) == 1:
        parts.append("too few for a mean or a scatter")
    return f"{day.date}: {'; '.join(parts)}"


def counted_runs(count: int) -> str:
    """Return '1 run-up', '6 run-ups'."""
    return f"{count} run-up{'' if count == 1 else 's'}"


def change_text(change: PatternChange) -> str:
    """Return what changed beyond speed, or within what the pattern is unchanged."""
    head = f"{change.second} ({change.second_runs}) against {change.first} ({change.first_runs}), at equal speed"
    judged = [r for r in change.rows if isinstance(r.difference, Interval)]
    if not judged:
        reasons = {r.difference.reason for r in change.rows if isinstance(r.difference, NotMeasured)}
        return f"{head}: not measured: {'; '.join(sorted(reasons)) or 'no step is measured in both'}."
    clear = [r for r in judged if r.clear]
    if clear:
        each = [f"{full_words(r.key)} {_difference(r)}" for r in clear]
        return f"{head}: changed: {'; '.join(each)}. Nothing else can be told from no change."
    limits = []
    for name in ("step_length_m", "contact_time_s", "flight_time_s"):
        reach = [
            abs(r.difference.value) + r.difference.half_width
            for r in judged
            if r.key.name == name and isinstance(r.difference, Interval)
        ]
        if reach:
            limits.append(f"{amount(max(reach), name)} of {words.term(name).words}")
    return f"{head}: pattern unchanged within {', '.join(limits)}."


def speed_text(measure: Measured | NotMeasured) -> str:
    """Return a speed with its interval, or a dash."""
    return words.shown("step_speed_m_per_s", measure).text


def zone_words(zone: tuple[float, float]) -> str:
    """Return a zone as reports name it: '11 to 6 m before the line'."""
    start, end = zone
    if end <= 0.0:
        return f"{-start:g} to {-end:g} m before the line"
    return f"{words.number(start, 1)} to {words.number(end, 1)} m"


def _difference(row: ChangedMeasure) -> str:
    return interval_text(row.difference if isinstance(row.difference, Interval) else None, row.key.name)
