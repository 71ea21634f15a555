"""No number moves without a word: the samples' numbers are kept with the method that measured them."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from golden import FILMS, KEPT, fault, moved, numbers
from penult.model.method import METHOD


@pytest.mark.slow
@pytest.mark.parametrize("film", FILMS)
def test_numbers_move_only_with_the_method(film: str, results: dict[str, Path]) -> None:
    """Fails when a number of the samples moves and METHOD did not; then raise it and run `python tests/golden.py --write`."""
    now = numbers(json.loads((results[film] / "analysis.json").read_text()))

    assert not fault(json.loads(KEPT.read_text())[film], now, METHOD)


BY = [3, "Linux", {"numpy": "2"}, "00"]


def test_a_moved_number_is_named_unless_the_method_was_raised() -> None:
    """The last digit counts where machine and libraries are the same; elsewhere a quarter of u95 is let pass."""
    kept = {"by": BY, "values": {"takeoff|-|takeoff_angle_deg": [20.0, 1.0], "steps|0|step_time_s": None}}
    one, other = (
        {**kept, "values": {**kept["values"], "takeoff|-|takeoff_angle_deg": [20.1, 1.0]}},
        [3, "Elsewhere", *BY[2:]],
    )

    assert fault(kept, kept, 3) == ""
    assert "takeoff_angle_deg" in fault(kept, one, 3)
    assert "--write" in fault(kept, one, 4)
    assert "less" in fault(kept, kept, 2)
    assert moved(kept, {**one, "by": other}) == []
    assert moved(kept, {"by": other, "values": {**kept["values"], "takeoff|-|takeoff_angle_deg": None}})
    assert moved(kept, {"by": other, "values": {**kept["values"], "takeoff|-|takeoff_angle_deg": [20.3, 1.0]}})
